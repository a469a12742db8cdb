"""Cells that hold words: values, package names, part numbers."""

import unicodedata
from typing import Final

from app.boards.rules import CELL_LENGTH_MAX
from app.core.text import TURNS_OF_DIRECTION, parse_line

NOT_FITTED_WORDS: Final = frozenset(
    {"DNP", "DNF", "DNI", "DNM", "NF", "NOFIT", "NOTFITTED", "DONOTPOPULATE", "DONOTPLACE"}
)
_LEFT_AT_ENDS: Final = " " + "".join(sorted(TURNS_OF_DIRECTION))


def parse_cell(text: str) -> str:
    """Return a cell as one line of at most 200 characters, without invisible ones at its ends.

    Raises ValueError with the part of a sentence that follows the column's name.
    """
    # At a cell's ends they are no more than what a program left there; inside they are refused.
    line = trim_invisible(parse_line(text.strip(_LEFT_AT_ENDS)))
    if len(line) > CELL_LENGTH_MAX:
        raise ValueError(f"has {len(line):,} characters, and {CELL_LENGTH_MAX} is the limit")
    return line


def trim_invisible(text: str) -> str:
    """Cut blanks and invisible characters, such as marks of writing direction, from both ends."""
    start, end = 0, len(text)
    while start < end and _is_invisible(text[start]):
        start += 1
    while end > start and _is_invisible(text[end - 1]):
        end -= 1
    return text[start:end]


def is_not_fitted(cell: str) -> bool:
    """Tell whether a cell marks its line as not fitted (DNP and its like)."""
    return "".join(c for c in cell[:40].upper() if c.isalnum()) in NOT_FITTED_WORDS


def _is_invisible(character: str) -> bool:
    return character.isspace() or unicodedata.category(character) == "Cf"
