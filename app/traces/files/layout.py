"""Where the header, the units and the samples stand in a file."""

import unicodedata
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from app.core.refusals import Unacceptable
from app.traces.files.cells import VALUE_CLASSES, CellClass, classify
from app.traces.files.decoding import FIELD
from app.traces.files.dialect import CHOSEN
from app.traces.files.grid import Grid
from app.traces.files.limits import ReadingLimits
from app.traces.files.units import find_unit_of_remark, is_unit_word
from app.traces.rules import DecimalMark, ReadingChoices, TemperatureUnit

_SAMPLE_ROWS: Final = 100
_FEWEST_SAMPLE_ROWS: Final = 10
_SAMPLE_CELLS: Final = 10_000
_LONGEST_HEADER: Final = 120
_LONGEST_PREAMBLE_LINE: Final = 300
_KEPT_PREAMBLE_LINES: Final = 50
_DESCRIBED_COLUMNS: Final = 3
_NUMBERS_OF_COLUMN: Final = 4


class OneColumn(Unacceptable):
    """There are no two cells in a row."""

    code = "traces.one_column"


class NoSamples(Unacceptable):
    """No row of the file is a time with temperatures."""

    code = "traces.no_samples"


class NoSuchRow(Unacceptable):
    """A choice names a row that the file does not have."""

    code = "traces.no_such_row"


@dataclass(frozen=True)
class Layout:
    """What stands where; `first_sample` counts the grid's rows, the others the file's (from 1).

    The header is in `header_row` to `header_last_row`; `why_header` and `why_units` say why it
    was looked for there. `skipped` are the first and the last row of samples above a row that a
    person chose, and how many there are.
    """

    width: int
    classes: tuple[CellClass, ...]
    headers: tuple[str, ...]
    units: tuple[str, ...]
    header_row: int | None
    header_last_row: int | None
    header_width: int | None
    why_header: str
    units_row: int | None
    why_units: str
    first_sample: int
    skipped: tuple[int, int, int] | None
    preamble: tuple[str, ...]
    preamble_unit: tuple[TemperatureUnit, str] | None


def find_width(grid: Grid) -> int:
    """Return how many cells the samples' rows have: the count that fills most of the second half.

    Raises OneColumn.
    """
    tail = grid.counts[grid.row_count // 2 :]
    filled = np.bincount(tail) * np.arange(int(tail.max()) + 1)
    filled[:2] = 0
    width = int(np.argmax(filled))
    if width == 0:
        raise OneColumn(
            f"Row {grid.lines[-1]} has one column; a time column and at least one temperature "
            "column are needed, with comma, semicolon, tab or | between them.",
            field=FIELD,
        )
    return width


def sample_rows(grid: Grid, width: int) -> list[int]:
    """Return some rows of the second half that have this many cells: 200 at most, fewer of wide."""
    half = grid.row_count // 2
    rows = np.flatnonzero(grid.counts[half:] == width) + half
    most = min(_SAMPLE_ROWS, max(_FEWEST_SAMPLE_ROWS, _SAMPLE_CELLS // width))
    step = max(1, len(rows) // most)
    return [int(row) for row in rows[::step][: 2 * most]]


def classify_columns(samples: list[list[str]], *, mark: DecimalMark) -> tuple[CellClass, ...]:
    """Return the most frequent class of each column; empty cells and markers count last.

    A quarter of numbers among text makes a column of numbers: the text is then listed, not lost.
    """
    return tuple(_most_frequent(column, mark) for column in zip(*samples, strict=True))


def _most_frequent(cells: tuple[str, ...], mark: DecimalMark) -> CellClass:
    counts = Counter(classify(cell, mark) for cell in cells)
    empty, markers = counts.pop(CellClass.EMPTY, 0), counts.pop(CellClass.MARKER, 0)
    if counts[CellClass.NUMBER] * _NUMBERS_OF_COLUMN >= counts.total() > 0:
        return CellClass.NUMBER
    if counts:
        return counts.most_common(1)[0][0]
    return CellClass.MARKER if markers or not empty else CellClass.EMPTY


def find_layout(
    grid: Grid,
    *,
    width: int,
    classes: tuple[CellClass, ...],
    mark: DecimalMark,
    choices: ReadingChoices,
    limits: ReadingLimits,
) -> Layout:
    """Find the header, the units row and the first sample. Raises NoSamples, NoSuchRow."""
    if not any(kind in VALUE_CLASSES for kind in classes):
        raise NoSamples(
            f"No row from row {grid.lines[grid.row_count // 2]} on holds a number or a time; "
            "there is nothing to read as samples.",
            field=FIELD,
        )
    chosen = _find_chosen_rows(grid, choices)
    first = _find_first_sample(
        grid,
        start=max((row + 1 for row in (*chosen.names, *chosen.units)), default=0),
        classes=classes,
        mark=mark,
        limits=limits,
    )
    units, why_units = _find_units_row(grid, first=first, chosen=chosen, choices=choices)
    header = _find_header(
        grid, first=first, width=width, units=units, chosen=chosen, choices=choices
    )
    preamble = _list_preamble(grid, first=first, header_rows=header.rows)
    return Layout(
        width=width,
        classes=classes,
        headers=header.names,
        units=_join_headers(grid, [units] if units is not None else [], width=width),
        header_row=header.rows[0] if header.rows else None,
        header_last_row=header.rows[-1] if header.rows else None,
        header_width=header.width,
        why_header=header.why,
        units_row=int(grid.lines[units]) if units is not None else None,
        why_units=why_units,
        first_sample=first,
        skipped=_find_skipped(grid, first=first, chosen=chosen, classes=classes, mark=mark),
        preamble=preamble,
        preamble_unit=_find_preamble_unit(preamble),
    )


@dataclass(frozen=True)
class _Chosen:
    """The grid's rows that a person chose as header and as units row."""

    names: tuple[int, ...]
    units: tuple[int, ...]


@dataclass(frozen=True)
class _Header:
    """Names of the columns, the file's rows they stand in, how wide those are, and why these."""

    names: tuple[str, ...]
    rows: tuple[int, ...]
    width: int | None
    why: str


def _find_header(
    grid: Grid,
    *,
    first: int,
    width: int,
    units: int | None,
    chosen: _Chosen,
    choices: ReadingChoices,
) -> _Header:
    if choices.header_row == 0:
        return _Header(("",) * width, (), None, f"{CHOSEN}: no row names the columns")
    rows = list(chosen.names)
    why = CHOSEN
    if not rows:
        rows = [row for row in _find_names(grid, first=first, width=width) if row != units]
        several = "they hold text in nearly all columns" if len(rows) > 1 else "it holds text"
        why = f"{several}, right above the samples that begin in row {grid.lines[first]}"
    if rows:
        lines = tuple(int(grid.lines[row]) for row in rows)
        names = _join_headers(grid, rows, width=width)
        return _Header(names, lines, max(_filled(grid, row) for row in rows), why)
    names, line = _header_from_remarks(grid, first=first, width=width)
    if line is not None:
        return _Header(names, (line,), width, "the remark has as many names as there are columns")
    return _Header(names, (), None, "no row above the samples holds several texts")


def _find_units_row(
    grid: Grid, *, first: int, chosen: _Chosen, choices: ReadingChoices
) -> tuple[int | None, str]:
    if choices.units_row is not None:
        return (chosen.units[0] if chosen.units else None), CHOSEN
    start = chosen.names[-1] + 1 if chosen.names else 0
    for row in range(first - 1, start - 1, -1):
        if _is_units_row(grid, row):
            return row, "all it holds are units"
    return None, "no row above the samples holds units alone"


def _find_chosen_rows(grid: Grid, choices: ReadingChoices) -> _Chosen:
    names: tuple[int, ...] = ()
    if choices.header_row:
        last = choices.header_last_row or choices.header_row
        _check_row(grid, choices.header_row, field="choices.header_row")
        _check_row(grid, last, field="choices.header_last_row")
        between = (grid.lines >= choices.header_row) & (grid.lines <= last)
        names = tuple(np.flatnonzero(between).tolist())
    units: tuple[int, ...] = ()
    if choices.units_row:
        _check_row(grid, choices.units_row, field="choices.units_row")
        units = tuple(np.flatnonzero(grid.lines == choices.units_row).tolist())
    return _Chosen(names, units)


def _find_skipped(
    grid: Grid, *, first: int, chosen: _Chosen, classes: tuple[CellClass, ...], mark: DecimalMark
) -> tuple[int, int, int] | None:
    if not (chosen.names or chosen.units):
        return None
    rows = [
        int(grid.lines[row])
        for row in range(first)
        if _is_sample(grid.iterate_texts(row), classes=classes, mark=mark)
    ]
    return (rows[0], rows[-1], len(rows)) if rows else None


def _check_row(grid: Grid, row: int, *, field: str) -> None:
    if row not in grid.lines:
        raise NoSuchRow(
            f"Row {row} is not there, or is a blank line or a remark; the file has rows "
            f"{grid.lines[0]} to {grid.lines[-1]}.",
            field=field,
        )


def _find_first_sample(
    grid: Grid,
    *,
    start: int,
    classes: tuple[CellClass, ...],
    mark: DecimalMark,
    limits: ReadingLimits,
) -> int:
    """Return the grid's row of the first sample from `start` on."""
    for row in range(start, min(grid.row_count, start + limits.max_preamble_rows)):
        if _is_sample(grid.iterate_texts(row), classes=classes, mark=mark):
            return row
    raise NoSamples(
        f"There is no row of samples between row {grid.lines[min(start, grid.row_count - 1)]} "
        f"and row {grid.lines[min(grid.row_count, start + limits.max_preamble_rows) - 1]}.",
        field=FIELD,
    )


def _is_sample(cells: Iterable[str], *, classes: tuple[CellClass, ...], mark: DecimalMark) -> bool:
    """Whether the row's cells are of their columns' classes, and a value is among the first two."""
    values = 0
    leading: CellClass | None = None
    for cell, kind in zip(cells, classes, strict=False):
        if kind not in VALUE_CLASSES:
            continue
        seen = classify(cell, mark)
        leading = leading or seen
        if seen is kind:
            values += 1
        elif seen not in {CellClass.EMPTY, CellClass.MARKER}:
            return False
    return values > 0 and leading is not CellClass.EMPTY


def _is_units_row(grid: Grid, row: int) -> bool:
    if grid.counts[row] <= 1:
        return False
    units = 0
    for cell in grid.iterate_texts(row):
        if cell and not is_unit_word(cell):
            return False
        units += bool(cell)
    return units > 0


def _filled(grid: Grid, row: int) -> int:
    """Return how many cells the row has up to its last one with text."""
    filled = [place for place, cell in enumerate(grid.row_texts(row), start=1) if cell]
    return filled[-1] if filled else 0


def _find_names(grid: Grid, *, first: int, width: int) -> list[int]:
    """Return the rows above the samples that name columns, from above."""
    rows: list[int] = []
    for row in range(first - 1, max(-1, first - 1 - _DESCRIBED_COLUMNS - 1), -1):
        filled = _filled(grid, row)
        if _is_units_row(grid, row):
            continue
        full = filled >= max(2, width - 1)
        # The nearest row with two names is the header; one above it adds to it only when it is
        # as wide, because lines like "Operator;Odile" stand there too.
        wanted = full and width >= _DESCRIBED_COLUMNS if rows else filled > 1
        if not wanted:
            break
        rows.insert(0, row)
    return rows


def _join_headers(grid: Grid, rows: list[int], *, width: int) -> tuple[str, ...]:
    return tuple(
        spell_header(" ".join(filter(None, (grid.text(row, column) for row in rows))))
        for column in range(width)
    )


def spell_header(text: str) -> str:
    """Return the text as one line of bounded length without control characters."""
    clean = "".join(c if unicodedata.category(c)[0] != "C" else " " for c in text)
    return unicodedata.normalize("NFC", " ".join(clean.split()))[:_LONGEST_HEADER]


def _header_from_remarks(
    grid: Grid, *, first: int, width: int
) -> tuple[tuple[str, ...], int | None]:
    """Return the names from the last remark above the samples that has as many cells."""
    above = [(line, text) for line, text in grid.comments if line < grid.lines[first]]
    for line, text in reversed(above):
        parts = text.lstrip("#; ").split(grid.delimiter.value)
        cells = [spell_header(part.strip(' "')) for part in parts]
        if len(cells) == width and all(cells):
            return tuple(cells), line
    return ("",) * width, None


def _list_preamble(grid: Grid, *, first: int, header_rows: tuple[int, ...]) -> tuple[str, ...]:
    # As many as are kept, beside those of the header.
    many = min(first, _KEPT_PREAMBLE_LINES + len(header_rows))
    lines = [
        (int(grid.lines[row]), " ".join(filter(None, grid.row_texts(row)))) for row in range(many)
    ]
    lines += [(line, text) for line, text in grid.comments if line < grid.lines[first]]
    kept = sorted(line for line in lines if line[0] not in header_rows)
    return tuple(
        f"{line}: {spell_header(text)[:_LONGEST_PREAMBLE_LINE]}"
        for line, text in kept[:_KEPT_PREAMBLE_LINES]
    )


def _find_preamble_unit(preamble: tuple[str, ...]) -> tuple[TemperatureUnit, str] | None:
    """Return the one unit that lines above the header which speak of a unit agree on."""
    said: dict[TemperatureUnit, str] = {}
    for line in preamble:
        row, _, text = line.partition(": ")
        unit = find_unit_of_remark(text)
        if unit is not None:
            said[unit] = row
    return next(iter(said.items())) if len(said) == 1 else None
