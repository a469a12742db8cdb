"""Apertures of a foil, and whether paste will leave them."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Final, Self

from pydantic import Field, model_validator

from app.core.text import OptionalLine
from app.recipes.body.fields import (
    AsNumber,
    Part,
    refuse_at,
)
from app.recipes.body.lengths import TypedLength, within_mm

LEAST_AREA_RATIO: Final = Decimal("0.66")
LEAST_ASPECT_RATIO: Final = Decimal("1.5")
RATIO_SOURCE: Final = "IPC-7525B, as seen in a public restatement"


class ApertureShape(StrEnum):
    """The shapes whose ratios are defined."""

    RECT = "rect"
    SQUARE = "square"
    ROUND = "round"


ApertureSide = Annotated[TypedLength, within_mm("0.05", "30")]


class Aperture(Part):
    """Openings of one size, 0.05 to 30 mm: `length` is a round one's diameter, a square's side.

    `width` belongs to rectangles alone. `count` is 1 to 5000.
    """

    name: OptionalLine = ""
    shape: ApertureShape
    length: ApertureSide
    width: ApertureSide | None = None
    count: Annotated[int, Field(ge=1, le=5000), AsNumber]

    @model_validator(mode="after")
    def _check_width(self) -> Self:
        if (self.shape is ApertureShape.RECT) != (self.width is not None):
            refuse_at("width", sentence="must be given for rect, and for rect alone")
        return self


@dataclass(frozen=True)
class ApertureRatios:
    """Areas in mm², ratios without unit, exact but for π, and whether each reaches its limit."""

    open_area_mm2: Decimal
    wall_area_mm2: Decimal
    area_ratio: Decimal
    aspect_ratio: Decimal
    area_ratio_holds: bool
    aspect_ratio_holds: bool


# π to Decimal's default 28 digits; it cancels in the ratios and counts in the areas alone.
_PI: Final = Decimal("3.141592653589793238462643383")


def compute_ratios(aperture: Aperture, foil_thickness: TypedLength) -> ApertureRatios:
    """Return area ratio (opening / wall) and aspect ratio (shorter side / foil) of an aperture.

    Rectangle L × W in foil T: L·W / (2·(L+W)·T) and W / T; circle or square of D: D / (4·T) and
    D / T. Limits 0.66 and 1.5: IPC-7525B, as seen in a public restatement. The aspect ratio is the
    deciding one for slots longer than five widths (from memory); both are always given.
    ValueError when the foil has no thickness.
    """
    thickness = foil_thickness.mm
    if thickness <= 0:
        raise ValueError("foil_thickness must be more than 0 mm")
    length = aperture.length.mm
    width = length if aperture.width is None else aperture.width.mm
    if aperture.shape is ApertureShape.ROUND:
        opening = _PI * length * length / 4
        wall = _PI * length * thickness
        area_ratio = length / (4 * thickness)
    else:
        opening = length * width
        wall = 2 * (length + width) * thickness
        area_ratio = opening / wall
    aspect_ratio = min(length, width) / thickness
    return ApertureRatios(
        open_area_mm2=opening,
        wall_area_mm2=wall,
        area_ratio=area_ratio,
        aspect_ratio=aspect_ratio,
        area_ratio_holds=area_ratio >= LEAST_AREA_RATIO,
        aspect_ratio_holds=aspect_ratio >= LEAST_ASPECT_RATIO,
    )
