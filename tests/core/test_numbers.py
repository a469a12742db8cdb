"""A stored number is shown in full, and reads back as itself."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.numbers import spell_number


@pytest.mark.parametrize(
    ("value", "spelt"),
    [
        (None, ""),
        (0.0, "0"),
        (-0.0, "0"),
        (260.0, "260"),
        (260, "260"),
        (1.27, "1.27"),
        (-40.5, "-40.5"),
        (0.1 + 0.2, "0.30000000000000004"),
        (1e22, "10000000000000000000000"),
        (1e-7, "0.0000001"),
        (100.0, "100"),
    ],
)
def test_a_number_is_spelt_without_exponent_and_empty_zeros(
    value: float | None, spelt: str
) -> None:
    assert spell_number(value) == spelt


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_reads_back_as_itself(value: float) -> None:
    spelt = spell_number(value)
    assert float(spelt) == value
    assert set(spelt) <= set("-.0123456789")
    assert not spelt.endswith(".")
