"""The picture of a stored layout, to scale where body sizes are known."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from app.boards.figures import draw_placement_svg
from app.boards.files import guess_body_mm
from app.boards.rules import Side
from app.boards.tables import Assembly, Placement


@dataclass(frozen=True)
class _Placed:
    designator: str
    package: str
    x_mm: float
    y_mm: float
    rotation_deg: float
    side: str


def draw_side(
    assembly: Assembly,
    placements: Sequence[Placement],
    *,
    side: Side,
    marked: Collection[str] = (),
) -> str:
    """Draw one side of an assembly as SVG text, with the `marked` designators framed.

    A body's size is its part's, else what its package's name says; others are small crosses.
    `placements` come with their parts.
    """
    placed = [
        _Placed(row.designator, row.package, row.x_mm, row.y_mm, row.rotation_deg or 0.0, row.side)
        for row in placements
        if row.x_mm is not None and row.y_mm is not None and row.side is not None
    ]
    sizes = {}
    for row in placements:
        size = find_body_mm(row)
        if size is not None:
            sizes[row.designator] = size
    outline_mm = None
    if assembly.length_mm is not None and assembly.width_mm is not None:
        outline_mm = (assembly.length_mm, assembly.width_mm)
    return draw_placement_svg(placed, side=side, outline_mm=outline_mm, marked=marked, sizes=sizes)


def find_body_mm(placement: Placement) -> tuple[float, float] | None:
    """Return the body's length and width in mm: the part's, else by the package's name."""
    part = placement.part
    if part is not None and part.length_mm is not None and part.width_mm is not None:
        return part.length_mm, part.width_mm
    return guess_body_mm(placement.package)
