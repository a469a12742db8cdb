"""Lengths that keep the digits and the unit that were typed, and convert without rounding."""

import re
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Any, Final

from pydantic import AfterValidator, Field, ValidationInfo, model_validator

from app.recipes.body.fields import Part, is_from_form

_TYPED: Final = re.compile(r"(?P<value>[+-]?[0-9.,]+)\s*(?P<unit>[a-z\"]+)", re.IGNORECASE)


class LengthUnit(StrEnum):
    """The units a length may be typed in; `thou` is a thousandth of an inch."""

    MM = "mm"
    IN = "in"
    THOU = "thou"


# The inch is 25.4 mm exactly since 1959, so 0.001 in = 0.0254 mm.
MM_OF_UNIT: Final = {
    LengthUnit.MM: Decimal(1),
    LengthUnit.IN: Decimal("25.4"),
    LengthUnit.THOU: Decimal("0.0254"),
}
_UNIT_WORDS: Final = {
    "mm": LengthUnit.MM,
    "in": LengthUnit.IN,
    "inch": LengthUnit.IN,
    '"': LengthUnit.IN,
    "thou": LengthUnit.THOU,
    "mil": LengthUnit.THOU,
    "mils": LengthUnit.THOU,
}


class TypedLength(Part):
    """A length as somebody typed it: `{"value": "0.020", "unit": "in"}`.

    The digits are text: trailing zeros say how finely it was meant. Up to 4 digits before and 6
    after the point or comma.
    """

    value: Annotated[str, Field(pattern=r"^[+-]?[0-9]{1,4}([.,][0-9]{1,6})?$", max_length=12)]
    unit: LengthUnit

    @model_validator(mode="before")
    @classmethod
    def _read_text(cls, given: Any, info: ValidationInfo) -> Any:
        if isinstance(given, str) and is_from_form(info):
            return split_length(given)
        if isinstance(given, dict) and is_from_form(info) and isinstance(given.get("unit"), str):
            return {**given, "unit": _UNIT_WORDS.get(given["unit"].lower(), given["unit"])}
        return given

    @property
    def mm(self) -> Decimal:
        """The length in millimetres, exact."""
        return Decimal(self.value.replace(",", ".")) * MM_OF_UNIT[self.unit]

    def spell(self) -> str:
        """Spell it as typed, with the millimetres beside unless they were typed."""
        typed = f"{self.value} {self.unit}"
        return typed if self.unit is LengthUnit.MM else f"{typed} ({spell_decimal(self.mm)} mm)"


def parse_length(text: str) -> TypedLength:
    """Read `0.020 in`, `20 thou`, `20 mil` or `0.5 mm`; the unit is never guessed.

    Raises ValueError (pydantic's included) with a sentence for people.
    """
    return TypedLength.model_validate(split_length(text))


def split_length(text: str) -> dict[str, str]:
    """Return the digits and the unit of a typed length; ValueError when one of them is missing."""
    found = _TYPED.fullmatch(text.strip()[:40])
    unit = _UNIT_WORDS.get(found["unit"].lower()) if found else None
    if found is None or unit is None:
        raise ValueError("must be a number and mm, in or thou, such as 0.5 mm or 20 thou")
    return {"value": found["value"], "unit": unit.value}


def spell_decimal(value: Decimal) -> str:
    """Spell a decimal plainly, without exponent or trailing zeros."""
    text = f"{value:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in {"-0", ""} else text


def within_mm(least: str, most: str) -> AfterValidator:
    """Refuse a length outside `least` to `most` millimetres, both included."""
    low, high = Decimal(least), Decimal(most)

    def check(length: TypedLength) -> TypedLength:
        if length.mm < low:
            raise ValueError(f"must be at least {least} mm, not {length.spell()}")
        if length.mm > high:
            raise ValueError(f"must be at most {most} mm, not {length.spell()}")
        return length

    return AfterValidator(check)
