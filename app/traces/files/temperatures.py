"""One column of temperatures: exact numbers, and every cell that is none listed."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.core.refusals import Unacceptable
from app.traces.files.decoding import FIELD
from app.traces.files.grid import Grid, Mask, Places
from app.traces.files.markers import (
    KIND_WORDS,
    FindingKind,
    find_marker,
    list_sentinels,
    possible_range,
)
from app.traces.files.numbers import (
    align,
    find_number,
    has_other_mark,
    parse_plain_numbers,
    to_scaled,
)
from app.traces.files.reading import ColumnGuess, Finding, TemperatureColumn
from app.traces.rules import DecimalMark

MAX_DECIMALS: Final = 6
_MOST_WHOLE_DIGITS: Final = 9
_LONGEST_QUOTE: Final = 40


class DecimalMarksMixed(Unacceptable):
    """A number is written with the other decimal mark than the rest of the file."""

    code = "traces.decimal_marks_mixed"


class UnitsMixed(Unacceptable):
    """A cell says another unit than its column."""

    code = "traces.units_mixed"


@dataclass(frozen=True)
class _Cell:
    """What a cell that is no plain number turned out to be: a kind, or a number."""

    kind: FindingKind | None
    integer: int = 0
    decimals: int = 0


@dataclass
class _Column:
    grid: Grid
    guess: ColumnGuess
    rows: Places
    mark: DecimalMark
    findings: list[Finding]

    @property
    def where(self) -> str:
        header = f" “{self.guess.header}”" if self.guess.header else ""
        return f"column {self.guess.index + 1}{header}"

    def find(self, where: Mask | Places, kind: FindingKind, words: str) -> None:
        """List the samples marked or numbered in `where`; `words` follow the count."""
        places = np.flatnonzero(where) if where.dtype == np.bool_ else where
        if not places.size:
            return
        first, last = (int(self.grid.lines[self.rows[places[k]]]) for k in (0, -1))
        rows = f"row {first}" if first == last else f"rows {first} to {last}"
        self.findings.append(
            Finding(
                self.guess.index,
                kind,
                first,
                last,
                len(places),
                f"{self.where[0].upper()}{self.where[1:]}: {len(places)} × {words} ({rows}).",
            )
        )

    def read_cell(self, text: str, row: int) -> _Cell:
        """Return what the cell's text is. Raises DecimalMarksMixed, UnitsMixed."""
        number = find_number(text, self.mark)
        if number is None:
            kind = find_marker(text)
            if kind is None and has_other_mark(text, self.mark):
                raise DecimalMarksMixed(
                    f"Row {self.grid.lines[row]}, {self.where}: “{text[:_LONGEST_QUOTE]}” is not "
                    f"written with the decimal mark “{self.mark.value}” of the other numbers.",
                    field=FIELD,
                )
            return _Cell(kind or FindingKind.UNREADABLE)
        if number.unit is not None and number.unit is not self.guess.unit:
            said = self.guess.unit.words if self.guess.unit else "no unit"
            raise UnitsMixed(
                f"Row {self.grid.lines[row]}, {self.where}: “{text[:_LONGEST_QUOTE]}” is in "
                f"{number.unit.words}; the column was taken as {said}.",
                field=FIELD,
            )
        integer, decimals, rounded = to_scaled(
            number.value, max_decimals=MAX_DECIMALS, max_whole=_MOST_WHOLE_DIGITS
        )
        return _Cell(FindingKind.ROUNDED if rounded else None, integer, decimals)


def read_temperatures(
    grid: Grid, *, rows: Places, guess: ColumnGuess, mark: DecimalMark
) -> tuple[TemperatureColumn, list[Finding]]:
    """Read the column in these rows of the grid.

    Decimals are the most that any of its numbers has, 6 at most. Cells that hold no temperature
    are missing and listed. Raises DecimalMarksMixed, UnitsMixed.
    """
    column = _Column(grid, guess, rows, mark, [])
    starts, ends = grid.column(guess.index, rows)
    plain = parse_plain_numbers(grid.buffer, starts=starts, ends=ends, mark=mark)
    integers, decimals = plain.integers, plain.decimals
    good = plain.is_number & (decimals <= MAX_DECIMALS)
    column.find(plain.is_empty, FindingKind.EMPTY, "no value")
    _read_left(
        column, integers, decimals, good, np.flatnonzero(~good & ~plain.is_empty), starts, ends
    )
    # Beyond nine digits nothing is a temperature, and what follows could not be scaled.
    beyond = good & (np.abs(integers) // np.power(np.int64(10), decimals) >= 10**_MOST_WHOLE_DIGITS)
    integers[~good | beyond] = 0
    decimals[~good | beyond] = 0
    most = int(decimals.max(initial=0))
    values = align(integers, decimals, to_decimals=most)
    values, missing = _set_missing(column, values, ~good, beyond, decimals=most)
    values.setflags(write=False)
    missing.setflags(write=False)
    return (
        TemperatureColumn(guess.index, guess.header, guess.unit, most, values, missing),
        column.findings,
    )


def _read_left(
    column: _Column,
    integers: NDArray[np.int64],
    decimals: NDArray[np.int64],
    good: Mask,
    left: Places,
    starts: Places,
    ends: Places,
) -> None:
    """Read the cells that are no plain numbers, in place; a text is looked at once."""
    seen: dict[str, _Cell] = {}
    found: dict[FindingKind, list[int]] = {}
    quotes: dict[FindingKind, str] = {}
    for place in left.tolist():
        text = column.grid.slice_text(int(starts[place]), int(ends[place]))
        cell = seen.get(text)
        if cell is None:
            cell = seen[text] = column.read_cell(text, int(column.rows[place]))
        if cell.kind is not None:
            found.setdefault(cell.kind, []).append(place)
            quotes.setdefault(cell.kind, text[:_LONGEST_QUOTE])
        if cell.kind in {None, FindingKind.ROUNDED}:
            integers[place], decimals[place], good[place] = cell.integer, cell.decimals, True
    for kind, places in found.items():
        if kind is FindingKind.ROUNDED:
            words = f"more than {MAX_DECIMALS} decimals, like “{quotes[kind]}”, rounded to that"
        elif kind is FindingKind.UNREADABLE:
            words = f"neither a number nor a known mark, first “{quotes[kind]}”"
        else:
            words = f"“{quotes[kind]}”, {KIND_WORDS[kind]}"
        column.find(np.array(places, dtype=np.int64), kind, words)


def _set_missing(
    column: _Column,
    values: NDArray[np.int64],
    missing: Mask,
    beyond: Mask,
    *,
    decimals: int,
) -> tuple[NDArray[np.int64], Mask]:
    """Return values and missing mask without the numbers that stand for no reading."""
    unit = column.guess.unit
    for number, (written, words) in list_sentinels(unit, decimals=decimals).items():
        same = (values == number) & ~missing & ~beyond
        column.find(same, FindingKind.SENTINEL, f"{written}, {words}")
        missing |= same
    lowest, highest = possible_range(unit)
    scale = 10**decimals
    outside = beyond | (~missing & ((values < lowest * scale) | (values > highest * scale)))
    unit_words = unit.words if unit else "in any unit"
    column.find(
        outside,
        FindingKind.IMPOSSIBLE,
        f"a number outside {lowest:g} to {highest:g} {unit_words}, which no sensor gives",
    )
    missing = missing | outside
    return np.where(missing, 0, values), missing
