"""What a corrected layout changes, designator by designator, placed or only billed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum

from app.boards.files.differences import compare_layouts
from app.boards.files.joins import JoinedPart
from app.boards.files.layouts import PlacementLine
from app.boards.files.numbers import spell_decimal
from app.boards.rules import sort_key_of_designator

NOT_PLACED = "not placed"


class ChangeKind(StrEnum):
    """The ways a designator can differ between two layouts."""

    ADDED = "added"
    REMOVED = "removed"
    MOVED = "moved"
    TURNED = "turned"
    SIDE = "side changed"
    VALUE = "value changed"
    PACKAGE = "package changed"
    PART_NUMBER = "part number changed"


@dataclass(frozen=True)
class LayoutPart:
    """One designator of a layout; `place` is None where only the bill names it."""

    designator: str
    value: str
    package: str
    part_number: str
    place: PlacementLine | None


@dataclass(frozen=True)
class Change:
    """One difference, both sides spelt."""

    kind: ChangeKind
    designator: str
    before: str
    after: str


def to_layout_part(part: JoinedPart) -> LayoutPart:
    """Return what a layout keeps of a joined part."""
    place = part.placement and replace(part.placement, value=part.value, package=part.package)
    return LayoutPart(part.designator, part.value, part.package, part.part_number, place)


def compare_parts(old: Sequence[LayoutPart], new: Sequence[LayoutPart]) -> tuple[Change, ...]:
    """Return every change from the old layout to the new one, C2 before C10.

    Places and rotations are compared as compare_layouts does it. A part that was only billed and
    is placed now has moved.
    """
    before = {part.designator: part for part in old}
    after = {part.designator: part for part in new}
    placed = compare_layouts(
        [part.place for part in old if part.place], [part.place for part in new if part.place]
    )
    changes = [
        *(
            Change(ChangeKind.ADDED, name, "", _spell_place(after[name].place))
            for name in after.keys() - before.keys()
        ),
        *(
            Change(ChangeKind.REMOVED, name, _spell_place(before[name].place), "")
            for name in before.keys() - after.keys()
        ),
        *(
            Change(ChangeKind.MOVED, one.designator, _spell_mm(*one.from_mm), _spell_mm(*one.to_mm))
            for one in placed.moved
        ),
        *(
            Change(
                ChangeKind.TURNED,
                one.designator,
                f"{spell_decimal(one.from_deg)}°",
                f"{spell_decimal(one.to_deg)}°",
            )
            for one in placed.turned
        ),
        *(
            Change(ChangeKind.SIDE, one.designator, str(one.from_side), str(one.to_side))
            for one in placed.swapped
        ),
    ]
    for name in before.keys() & after.keys():
        changes += _compare_words(before[name], after[name])
    order = list(ChangeKind)
    return tuple(
        sorted(
            changes, key=lambda one: (sort_key_of_designator(one.designator), order.index(one.kind))
        )
    )


def _compare_words(one: LayoutPart, other: LayoutPart) -> list[Change]:
    changes = [
        Change(kind, one.designator, before, after)
        for kind, before, after in (
            (ChangeKind.VALUE, one.value, other.value),
            (ChangeKind.PACKAGE, one.package, other.package),
            (ChangeKind.PART_NUMBER, one.part_number, other.part_number),
        )
        if before != after
    ]
    if (one.place is None) != (other.place is None):
        places = _spell_place(one.place), _spell_place(other.place)
        changes.append(Change(ChangeKind.MOVED, one.designator, *places))
    return changes


def _spell_place(place: PlacementLine | None) -> str:
    if place is None:
        return NOT_PLACED
    return f"{_spell_mm(place.x_mm, place.y_mm)}, {place.side}"


def _spell_mm(x_mm: Decimal, y_mm: Decimal) -> str:
    return f"({spell_decimal(x_mm)}, {spell_decimal(y_mm)}) mm"
