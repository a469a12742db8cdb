"""Lengths keep what was typed and convert without rounding."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.recipes.body.lengths import LengthUnit, TypedLength, parse_length, spell_decimal


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("0.001 in", "0.0254"),  # the inch is 25.4 mm exactly, international agreement of 1959
        ("1 thou", "0.0254"),
        ("0.020 in", "0.508"),
        ("20 thou", "0.508"),
        ("20 mil", "0.508"),
        ('1"', "25.4"),
        ("0.5mm", "0.5"),
        ("0,5 mm", "0.5"),
        ("-0.0005 in", "-0.0127"),
        ("9999.999999 in", "253999.9999746"),
    ],
)
def test_a_typed_length_is_exactly_so_many_mm(typed: str, mm: str) -> None:
    assert parse_length(typed).mm == Decimal(mm)


def test_thousandths_are_exact_where_binary_numbers_are_not() -> None:
    assert 3 * 0.0254 != 0.0762
    assert parse_length("3 thou").mm == Decimal("0.0762")


@given(st.integers(min_value=0, max_value=9999))
def test_any_thousandth_converts_back_without_loss(thousandths: int) -> None:
    length = TypedLength(value=str(thousandths), unit=LengthUnit.THOU)
    assert length.mm / Decimal("0.0254") == thousandths


def test_what_was_typed_is_kept_to_the_last_zero() -> None:
    length = parse_length("0.020 in")
    assert length.model_dump(mode="json") == {"value": "0.020", "unit": "in"}
    assert length.spell() == "0.020 in (0.508 mm)"
    assert parse_length("0.50 mm").spell() == "0.50 mm"


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "20",
        "mm",
        "20 furlong",
        "1e3 mm",
        "1.2.3 mm",
        "٣ mm",
        "NaN mm",
        "20 thou x",
        "5 " + "m" * 99,
    ],
)
def test_a_length_without_number_or_unit_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match=r"must be a number and mm|should match pattern"):
        parse_length(typed)


@pytest.mark.parametrize("value", ["12345", "1.1234567", "", ".5", "5.", "+", "1e3", "٣", "1\n"])
def test_digits_beyond_four_and_six_are_refused(value: str) -> None:
    with pytest.raises(ValueError, match="value"):
        TypedLength(value=value, unit=LengthUnit.MM)


@pytest.mark.parametrize(
    ("value", "spelt"),
    [("0.5080", "0.508"), ("100", "100"), ("-0", "0"), ("0.000", "0"), ("1E+2", "100")],
)
def test_decimals_are_spelt_plainly(value: str, spelt: str) -> None:
    assert spell_decimal(Decimal(value)) == spelt
