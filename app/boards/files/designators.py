"""Lists of reference designators as bills write them: C1, C19, C25 or R1-R4."""

import re
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


def parse_designators(text: str) -> tuple[str, ...]:
    """Return the designators of one cell, ranges written out, in the order of the cell.

    Commas, semicolons and blanks part them. A range has the same letters at both ends and at
    most 2,000 members. Raises DesignatorUnusable.
    """
    found: list[str] = []
    spaced = _RANGE_MARK.sub("-", " ".join(text.split()))
    for word in re.split(r"[,;| ]+", spaced):
        if visible := trim_invisible(word):
            found.extend(_expand(visible))
        if len(found) > RANGE_LENGTH_MAX:
            raise DesignatorUnusable(
                f"the line names more than {RANGE_LENGTH_MAX:,} designators, which is the limit"
            )
    return tuple(found)


def _expand(word: str) -> list[str]:
    match = _RANGE.fullmatch(word)
    if match is None or match[1].upper() != match[3].upper():
        return [parse_designator(word)]
    letters, first, last = match[1], int(match[2]), int(match[4])
    count = last - first + 1
    if count < 1:
        raise DesignatorUnusable(f"the range {spell_cut(word)} runs backwards")
    if count > RANGE_LENGTH_MAX:
        raise DesignatorUnusable(
            f"the range {spell_cut(word)} has {count:,} members, and"
            f" {RANGE_LENGTH_MAX:,} is the limit"
        )
    # Where the first end is padded with zeros (R001-R012), its members are.
    width = len(match[2]) if match[2].startswith("0") else 0
    return [parse_designator(f"{letters}{number:0{width}d}") for number in range(first, last + 1)]
