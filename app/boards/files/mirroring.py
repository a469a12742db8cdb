"""Bottom sides whose X was written as seen from below: negative, and mirrored back."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.boards.files.layouts import PlacementLine
from app.boards.rules import Side


@dataclass(frozen=True)
class Mirroring:
    """The lines with X as seen from the top on both sides, and what was done about it."""

    lines: tuple[PlacementLine, ...]
    is_mirrored: bool
    sentence: str | None


def settle_mirroring(lines: Sequence[PlacementLine], *, chosen: bool | None) -> Mirroring:
    """Mirror the bottom side's X when all of it is negative and no X of the top side is.

    A choice goes before what the numbers say. Rotations stay as the file gives them.
    """
    top_mm = [line.x_mm for line in lines if line.side is Side.TOP]
    bottom_mm = [line.x_mm for line in lines if line.side is Side.BOTTOM]
    looks_mirrored = (
        bool(bottom_mm)
        and max(bottom_mm) <= 0
        and min(bottom_mm) < 0
        and min(top_mm, default=0) >= 0
    )
    is_mirrored = bool(bottom_mm) and (looks_mirrored if chosen is None else chosen)
    if not is_mirrored:
        sentence = None
        if looks_mirrored:
            sentence = (
                f"The X of all {len(bottom_mm)} parts on the bottom side is negative and was kept,"
                " as chosen."
            )
        return Mirroring(tuple(lines), is_mirrored=False, sentence=sentence)
    mirrored = tuple(
        replace(line, x_mm=-line.x_mm if line.x_mm else line.x_mm)
        if line.side is Side.BOTTOM
        else line
        for line in lines
    )
    cause = "as chosen" if chosen else "since all of it is negative and none on the top side is"
    sentence = (
        f"The X of the {len(bottom_mm)} parts on the bottom side was mirrored to the view from"
        f" the top, {cause}; their rotations were kept."
    )
    return Mirroring(mirrored, is_mirrored=True, sentence=sentence)
