"""Lists of reference designators as bills write them: C1, C19, C25 or R1-R4."""

import re
from dataclasses import dataclass
from typing import Final

from app.boards.files.values import trim_invisible
from app.boards.rules import (
    RANGE_LENGTH_MAX,
    DesignatorUnusable,
    parse_designator,
    spell_cut,
)

_DESIGNATOR: Final = re.compile(r"[A-Za-z]{1,6}[0-9]{1,6}[A-Za-z]?")
_END: Final = r"([^\W\d]{1,16})([0-9]{1,9})"
_RANGE: Final = re.compile(rf"{_END}-{_END}")
# A hyphen parts a range with or without blanks; dots, dashes and the tilde do the same.
_RANGE_MARK: Final = re.compile(r" ?(?:\.{2,3}|[…–—−~]) ?| - ")


def is_designator_like(text: str) -> bool:
    """Tell whether a cell looks like one designator: letters, then digits."""
    return len(text) <= RANGE_LENGTH_MAX and _DESIGNATOR.fullmatch(text) is not None


def are_designators_like(text: str) -> bool:
    """Tell whether a cell looks like a list of designators."""
    words = [word for word in re.split(r"[,;\s]+", text) if word]
    if not words:
        return False
    return all(
        is_designator_like(word) or _RANGE.fullmatch(_RANGE_MARK.sub("-", word)) for word in words
    )


def parse_designators(text: str, *, at_most: int = RANGE_LENGTH_MAX) -> tuple[str, ...]:
    """Return the designators of one cell, ranges written out, in the order of the cell.

    Commas, semicolons and blanks part them. A range has the same letters at both ends and at
    most 2,000 members, a cell at most `at_most`. Raises DesignatorUnusable, before anything is
    written out.
    """
    spaced = _RANGE_MARK.sub("-", " ".join(text.split()))
    words = [visible for word in re.split(r"[,;| ]+", spaced) if (visible := trim_invisible(word))]
    groups = [_parse_range(word) for word in words]
    count = sum(len(group.numbers) for group in groups)
    if count > at_most:
        raise DesignatorUnusable(
            f"the line names {count:,} designators, and {at_most:,} is what is left of the limit"
            if at_most < RANGE_LENGTH_MAX
            else f"the line names {count:,} designators, and {at_most:,} is the limit"
        )
    return tuple(name for group in groups for name in group.spell())


@dataclass(frozen=True)
class _Group:
    """Designators that differ by their numbers alone; one that is no range stands for itself."""

    prefix: str
    numbers: range
    width: int

    def spell(self) -> list[str]:
        if not self.width:
            return [self.prefix]
        return [f"{self.prefix}{number:0{self.width}d}" for number in self.numbers]


def _parse_range(word: str) -> _Group:
    match = _RANGE.fullmatch(word)
    if match is None or match[1].upper() != match[3].upper():
        return _Group(parse_designator(word), range(1), 0)
    letters, first, last = match[1], int(match[2]), int(match[4])
    numbers = range(first, last + 1)
    if not numbers:
        raise DesignatorUnusable(f"the range {spell_cut(word)} runs backwards")
    if len(numbers) > RANGE_LENGTH_MAX:
        raise DesignatorUnusable(
            f"the range {spell_cut(word)} has {len(numbers):,} members, and"
            f" {RANGE_LENGTH_MAX:,} is the limit"
        )
    # The longest member is checked for all; digits neither grow nor compose.
    prefix = parse_designator(f"{letters}{match[4]}").removesuffix(match[4])
    # Where the first end is padded with zeros (R001-R012), its members are.
    return _Group(prefix, numbers, len(match[2]) if match[2].startswith("0") else 1)
