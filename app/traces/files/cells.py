"""What one cell looks like on its own."""

import re
from enum import Enum, auto
from typing import Final

from app.traces.files.markers import find_marker
from app.traces.files.numbers import find_number
from app.traces.rules import DecimalMark

_CLOCK: Final = re.compile(
    r"\d{1,4}:\d{1,2}(?::\d{1,2})?(?:[.,]\d{1,9}|:\d{3})?(?:\s*[ap]\.?m\.?)?", re.IGNORECASE
)
_DATE: Final = re.compile(r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}([./-])\d{1,2}\1(?:\d{4}|\d{2})")
_DATE_TIME: Final = re.compile(r"[\d./-]{6,10}(?:T|,?\s+)\d{1,2}:\d{1,2}.*", re.IGNORECASE)


class CellClass(Enum):
    """The kinds of cells that a column's role is guessed from."""

    EMPTY = auto()
    MARKER = auto()
    NUMBER = auto()
    CLOCK = auto()
    DATE = auto()
    DATE_TIME = auto()
    TEXT = auto()


VALUE_CLASSES: Final = frozenset(
    {CellClass.NUMBER, CellClass.CLOCK, CellClass.DATE, CellClass.DATE_TIME}
)


_PATTERNS: Final = (
    (_CLOCK, CellClass.CLOCK),
    (_DATE_TIME, CellClass.DATE_TIME),
    (_DATE, CellClass.DATE),
)


def classify(text: str, mark: DecimalMark) -> CellClass:
    """Return the class of the cell; a number is one by the file's decimal mark only."""
    if not text:
        return CellClass.EMPTY
    if find_number(text, mark) is not None:
        return CellClass.NUMBER
    for pattern, kind in _PATTERNS:
        if pattern.fullmatch(text):
            return kind
    return CellClass.TEXT if find_marker(text) is None else CellClass.MARKER
