"""What a corrected placement file changes against the one before it."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from app.boards.files.layouts import PlacementLine
from app.boards.files.numbers import spell_decimal
from app.boards.rules import Side, sort_key_of_designator

# Programs write the same place with noise in the sixth decimal; below these nothing has moved.
MOVED_MM_MIN: Final = Decimal("0.001")
TURNED_DEG_MIN: Final = Decimal("0.01")
_FULL_TURN_DEG: Final = Decimal(360)


@dataclass(frozen=True)
class Moved:
    """A part whose centre is elsewhere."""

    designator: str
    from_mm: tuple[Decimal, Decimal]
    to_mm: tuple[Decimal, Decimal]


@dataclass(frozen=True)
class Turned:
    """A part whose rotation changed."""

    designator: str
    from_deg: Decimal
    to_deg: Decimal


@dataclass(frozen=True)
class Swapped:
    """A part that changed sides."""

    designator: str
    from_side: Side
    to_side: Side


@dataclass(frozen=True)
class Renamed:
    """A part whose value or package reads differently."""

    designator: str
    before: str
    after: str


@dataclass(frozen=True)
class LayoutDifference:
    """All that two placements differ in, each list ordered C2 before C10."""

    added: tuple[PlacementLine, ...]
    removed: tuple[PlacementLine, ...]
    moved: tuple[Moved, ...]
    turned: tuple[Turned, ...]
    swapped: tuple[Swapped, ...]
    value_changed: tuple[Renamed, ...]
    package_changed: tuple[Renamed, ...]
    unchanged_count: int

    @property
    def is_empty(self) -> bool:
        """Whether both placements say the same."""
        return not self.sentences

    @property
    def sentences(self) -> tuple[str, ...]:
        """Tell every change in a sentence."""
        return (
            *(f"{line.designator} was added." for line in self.added),
            *(f"{line.designator} was removed." for line in self.removed),
            *(
                f"{one.designator} moved from {_spell_place(one.from_mm)} to"
                f" {_spell_place(one.to_mm)} mm."
                for one in self.moved
            ),
            *(
                f"{one.designator} turned from {spell_decimal(one.from_deg)}° to"
                f" {spell_decimal(one.to_deg)}°."
                for one in self.turned
            ),
            *(
                f"{one.designator} changed from the {one.from_side} to the {one.to_side} side."
                for one in self.swapped
            ),
            *(
                f"{one.designator}: the value changed from “{one.before}” to “{one.after}”."
                for one in self.value_changed
            ),
            *(
                f"{one.designator}: the package changed from “{one.before}” to “{one.after}”."
                for one in self.package_changed
            ),
        )


def compare_layouts(old: Sequence[PlacementLine], new: Sequence[PlacementLine]) -> LayoutDifference:
    """Compare two placements by designator.

    A part has moved from 0.001 mm in x or y on, and turned from 0.01 degrees on, the short way
    round. Of lines that repeat a designator the first counts.
    """
    before = _index(old)
    after = _index(new)
    both = sorted(before.keys() & after.keys(), key=sort_key_of_designator)
    pairs = [(before[designator], after[designator]) for designator in both]
    return LayoutDifference(
        added=_pick(after, after.keys() - before.keys()),
        removed=_pick(before, before.keys() - after.keys()),
        moved=tuple(
            Moved(a.designator, (a.x_mm, a.y_mm), (b.x_mm, b.y_mm))
            for a, b in pairs
            if _has_moved(a, b)
        ),
        turned=tuple(
            Turned(a.designator, a.rotation_deg, b.rotation_deg)
            for a, b in pairs
            if _has_turned(a, b)
        ),
        swapped=tuple(
            Swapped(a.designator, a.side, b.side) for a, b in pairs if a.side is not b.side
        ),
        value_changed=tuple(
            Renamed(a.designator, a.value, b.value) for a, b in pairs if a.value != b.value
        ),
        package_changed=tuple(
            Renamed(a.designator, a.package, b.package) for a, b in pairs if a.package != b.package
        ),
        unchanged_count=sum(_is_unchanged(a, b) for a, b in pairs),
    )


def _index(lines: Sequence[PlacementLine]) -> dict[str, PlacementLine]:
    found: dict[str, PlacementLine] = {}
    for line in lines:
        found.setdefault(line.designator, line)
    return found


def _pick(lines: dict[str, PlacementLine], keys: set[str]) -> tuple[PlacementLine, ...]:
    return tuple(lines[key] for key in sorted(keys, key=sort_key_of_designator))


def _has_moved(one: PlacementLine, other: PlacementLine) -> bool:
    return max(abs(one.x_mm - other.x_mm), abs(one.y_mm - other.y_mm)) >= MOVED_MM_MIN


def _has_turned(one: PlacementLine, other: PlacementLine) -> bool:
    apart_deg = abs(one.rotation_deg - other.rotation_deg) % _FULL_TURN_DEG
    return min(apart_deg, _FULL_TURN_DEG - apart_deg) >= TURNED_DEG_MIN


def _is_unchanged(one: PlacementLine, other: PlacementLine) -> bool:
    return (
        not _has_moved(one, other)
        and not _has_turned(one, other)
        and (one.side, one.value, one.package) == (other.side, other.value, other.package)
    )


def _spell_place(place_mm: tuple[Decimal, Decimal]) -> str:
    return f"({spell_decimal(place_mm[0])}, {spell_decimal(place_mm[1])})"
