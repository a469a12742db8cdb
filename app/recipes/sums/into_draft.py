"""Puts what a sum gives into the body of a draft: an aperture and its foil, or a height."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from typing import Any, Final

from pydantic import ValidationError

from app.core.faults import faults_of
from app.core.refusals import Conflict, Unacceptable
from app.numerics.solder_joint import Height
from app.recipes.body.lengths import (
    MM_OF_UNIT,
    LengthUnit,
    TypedLength,
    parse_length,
    spell_decimal,
)
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.site import PasteDeposit
from app.recipes.sums.asked import read_asked
from app.recipes.sums.joint import JointAsked, compute_heights_of
from app.recipes.sums.stencil import StencilAsked


class SumDoesNotFit(Conflict):
    """The draft has no place for what the sum gives."""

    code = "recipes.sum_does_not_fit"


class ApertureUnknown(Unacceptable):
    """The draft has no aperture of this number, and it is not the next one."""

    code = "recipes.aperture_unknown"


class Fineness(StrEnum):
    """In which unit and how finely a height is written into a draft."""

    MM = "mm"
    THOU = "thou"
    MM_FULL = "mm_full"
    THOU_FULL = "thou_full"

    @property
    def unit(self) -> LengthUnit:
        """The unit that the height is written in."""
        return LengthUnit.MM if self in {Fineness.MM, Fineness.MM_FULL} else LengthUnit.THOU

    @property
    def step(self) -> Decimal:
        """The last digit that is written: 0.001 mm or 0.01 thou, in full the sixth decimal."""
        return _STEPS[self]


_STEPS: Final = {
    Fineness.MM: Decimal("0.001"),
    Fineness.THOU: Decimal("0.01"),
    Fineness.MM_FULL: Decimal("0.000001"),
    Fineness.THOU_FULL: Decimal("0.000001"),
}
# A double carries some fifteen digits; what is below this is no rounding of ours.
_NOTHING: Final = Decimal("1e-9")


@dataclass(frozen=True)
class WrittenHeight:
    """A height and its tolerance as they are written, and what writing them changed.

    `tolerance` is None where none was given; else it is rounded up and takes in what the height
    was rounded by, so that it covers the worst case.
    """

    fineness: Fineness
    height: TypedLength
    tolerance: TypedLength | None
    rounded_by: Decimal

    @property
    def words(self) -> str:
        """Say what is written, in mm and in thousandths of an inch, and by how much it is round."""
        around = f" ± {_both(self.tolerance, ROUND_CEILING)}" if self.tolerance is not None else ""
        rounding = (
            f"rounded by {_spell_signed(self.rounded_by)} {self.fineness.unit}"
            if self.rounded_by
            else "not rounded"
        )
        more = ", which the tolerance takes in" if self.tolerance and self.rounded_by else ""
        return f"{_both(self.height)}{around}: {rounding}{more}"


def write_height(height: Height, fineness: Fineness) -> WrittenHeight:
    """Return a height with its worst tolerance as a draft takes them."""
    per_unit = MM_OF_UNIT[fineness.unit]
    exact = Decimal(height.mm) / per_unit
    written = exact.quantize(fineness.step, ROUND_HALF_EVEN)
    rounded_by = (written - exact).quantize(_NOTHING)
    tolerance: TypedLength | None = None
    if height.worst_mm > 0.0:
        around = (Decimal(height.worst_mm) / per_unit + abs(written - exact)).quantize(_NOTHING)
        tolerance = _type(around.quantize(fineness.step, ROUND_CEILING), fineness)
    return WrittenHeight(fineness, _type(written, fineness), tolerance, rounded_by)


def list_written_heights(texts: Mapping[str, str]) -> tuple[WrittenHeight, ...]:
    """Return the ways in which the placement height of a joint's sum can be written."""
    before = compute_heights_of(read_asked(JointAsked, texts)).before
    return tuple(write_height(before, fineness) for fineness in Fineness)


def put_aperture(body: RecipeBody, texts: Mapping[str, str], *, number: int) -> RecipeBody:
    """Return the body with one aperture, counted from 1, and the foil as in a stencil's sum.

    The number after the last adds an aperture. Raises SumDoesNotFit, ApertureUnknown.
    """
    asked = read_asked(StencilAsked, texts)
    deposit = body.deposit
    if not isinstance(deposit, PasteDeposit):
        raise SumDoesNotFit(
            "The draft puts down no paste: choose paste through a foil in its form and save it, "
            "then the aperture has a place."
        )
    there = len(deposit.apertures)
    if not 1 <= number <= there + 1:
        raise ApertureUnknown(
            f"The draft has {there} apertures; the number can be 1 to {there + 1}, not {number}.",
            field="aperture",
        )
    changed: dict[str, Any] = body.model_dump(mode="json")
    apertures = changed["deposit"]["apertures"]
    name = apertures[number - 1]["name"] if number <= there else ""
    aperture = {
        "name": name,
        "shape": asked.shape,
        "length": _dump(asked.length),
        "width": None if asked.width is None else _dump(asked.width),
        "count": asked.count,
    }
    apertures[number - 1 : number] = [aperture]
    changed["deposit"]["foil_thickness"] = _dump(asked.foil_thickness)
    return _validate(changed)


def put_height(body: RecipeBody, texts: Mapping[str, str], *, fineness: Fineness) -> RecipeBody:
    """Return the body with the placement height of a joint's sum and its worst tolerance.

    The part is then set down to a height and no longer by force. Raises SumDoesNotFit.
    """
    written = write_height(compute_heights_of(read_asked(JointAsked, texts)).before, fineness)
    changed: dict[str, Any] = body.model_dump(mode="json")
    changed["placement"] |= {
        "force_n": None,
        "height": written.height.model_dump(mode="json"),
        "height_tolerance": None
        if written.tolerance is None
        else written.tolerance.model_dump(mode="json"),
    }
    return _validate(changed)


def _validate(changed: Mapping[str, Any]) -> RecipeBody:
    try:
        return RecipeBody.model_validate(changed)
    except ValidationError as error:
        told = "; ".join(f"{one.field} {one.sentence}" for one in faults_of(error))
        raise SumDoesNotFit(f"The draft cannot take it: {told}.") from None


def _dump(text: str) -> dict[str, Any]:
    return parse_length(text).model_dump(mode="json")


def _type(value: Decimal, fineness: Fineness) -> TypedLength:
    return TypedLength(value=f"{value:f}", unit=fineness.unit)


def _both(length: TypedLength, rounding: str = ROUND_HALF_EVEN) -> str:
    """Spell a length as it is written, and in the other of mm and thousandths of an inch."""
    if length.unit is LengthUnit.MM:
        thou = (length.mm / MM_OF_UNIT[LengthUnit.THOU]).quantize(Decimal("0.01"), rounding)
        return f"{length.value} mm ({thou:f} thou)"
    return f"{length.value} thou ({length.mm.quantize(Decimal('0.0001'), rounding):f} mm)"


def _spell_signed(value: Decimal) -> str:
    return f"{'+' if value > 0 else '−'}{spell_decimal(abs(value))}"
