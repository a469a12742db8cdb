"""A first look at a file that may not be readable yet: its first rows and its columns."""

from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from app.core.refusals import Refusal
from app.traces.files.dialect import find_delimiter
from app.traces.files.grid import Grid, split_grid
from app.traces.files.layout import spell_header
from app.traces.files.limits import DEFAULT_LIMITS
from app.traces.files.table import open_text
from app.traces.rules import Delimiter, ReadingChoices

_LOOK_BYTES: Final = 256 * 1024
_SHOWN_ROWS: Final = 10
_SHOWN_CELLS: Final = 12
_SHOWN_SAMPLES: Final = 3
_LONGEST_CELL: Final = 40


@dataclass(frozen=True)
class FirstRow:
    """A row of the file by its number (from 1), its first cells, and how many more it has."""

    number: int
    cells: tuple[str, ...]
    more: int


@dataclass(frozen=True)
class Outline:
    """The first rows, the last values of each column, and a workbook's sheets."""

    rows: tuple[FirstRow, ...]
    columns: tuple[tuple[str, ...], ...]
    sheets: tuple[str, ...]


def find_outline(content: bytes, *, choices: ReadingChoices) -> Outline | None:
    """Return what the file looks like by these choices, or without them; None where by neither.

    Of a long text the beginning alone is looked at.
    """
    for said in (choices, ReadingChoices()):
        with suppress(Refusal):
            return _look(content, choices=said)
    return None


def _look(content: bytes, *, choices: ReadingChoices) -> Outline:
    book, decoded = open_text(content, choices=choices, limits=DEFAULT_LIMITS, at_most=_LOOK_BYTES)
    delimiter = Delimiter.TAB if book else find_delimiter(decoded.text, choices=choices)[0]
    grid = split_grid(decoded.text, delimiter=delimiter, limits=DEFAULT_LIMITS)
    return Outline(
        rows=tuple(_show(grid, row) for row in range(min(grid.row_count, _SHOWN_ROWS))),
        columns=tuple(_sample(grid, column) for column in range(int(grid.counts.max()))),
        sheets=book.sheets if book else (),
    )


def _show(grid: Grid, row: int) -> FirstRow:
    cells = grid.row_texts(row)
    shown = tuple(spell_header(cell)[:_LONGEST_CELL] for cell in cells[:_SHOWN_CELLS])
    return FirstRow(int(grid.lines[row]), shown, max(0, len(cells) - _SHOWN_CELLS))


def _sample(grid: Grid, column: int) -> tuple[str, ...]:
    """Return values of the column's last rows, where samples stand rather than names."""
    rows = range(max(0, grid.row_count - _SHOWN_SAMPLES), grid.row_count)
    cells = (spell_header(grid.text(row, column)) for row in rows)
    return tuple(cell[:_LONGEST_CELL] for cell in cells if cell)
