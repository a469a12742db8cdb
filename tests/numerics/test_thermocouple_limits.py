"""Tolerances of thermocouples.

Type K: public restatements of IEC 60584-1:2013 and ASTM E230/E230M-12 by makers of thermocouples.
Types J, T, N: from memory, confirm against your copy.
"""

import pytest

from app.numerics.thermocouple_limits import (
    TOLERANCES,
    OutsideTolerance,
    Status,
    ThermocoupleType,
    ToleranceClass,
    get_tolerance,
)

K, J, T, N = ThermocoupleType
ONE, TWO, SPECIAL, STANDARD = ToleranceClass


@pytest.mark.parametrize(
    ("kind", "of_class", "temperature_c", "tolerance_k"),
    [
        (K, ONE, 245.0, 1.5),
        (K, ONE, 375.0, 1.5),
        (K, ONE, 500.0, 2.0),
        (K, TWO, 245.0, 2.5),
        (K, TWO, 400.0, 3.0),
        (K, SPECIAL, 245.0, 1.1),
        (K, SPECIAL, 300.0, 1.2),
        (K, STANDARD, 245.0, 2.2),
        (K, STANDARD, 300.0, 2.25),
        (T, ONE, 245.0, 0.98),
        (T, ONE, 100.0, 0.5),
        (T, TWO, 245.0, 1.8375),
        (J, ONE, 245.0, 1.5),
        (N, TWO, 245.0, 2.5),
        (K, ONE, -40.0, 1.5),
    ],
)
def test_the_tolerance_is_the_greater_of_both_terms(
    kind: ThermocoupleType, of_class: ToleranceClass, temperature_c: float, tolerance_k: float
) -> None:
    assert get_tolerance(kind, of_class).at(temperature_c) == pytest.approx(tolerance_k)


def test_every_type_has_every_class_and_says_how_it_is_known() -> None:
    assert set(TOLERANCES) == {(kind, cls) for kind in ThermocoupleType for cls in ToleranceClass}
    for (kind, _), tolerance in TOLERANCES.items():
        assert tolerance.status is (Status.RESTATED if kind is K else Status.MEMORY)


@pytest.mark.parametrize("temperature_c", [-41.0, 1_000.5])
def test_beyond_the_range_of_the_class_there_is_no_tolerance(temperature_c: float) -> None:
    with pytest.raises(OutsideTolerance, match="from -40 °C to 1000 °C"):
        get_tolerance(K, ONE).at(temperature_c)
