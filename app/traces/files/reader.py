"""A logger's file from bytes to a reading: the order in which the other modules are asked."""

from dataclasses import replace
from typing import Final

import numpy as np

from app.core.refusals import Unacceptable
from app.traces.files.cells import CellClass, classify
from app.traces.files.decoding import FIELD
from app.traces.files.grid import Grid, Places
from app.traces.files.guess import guess_columns
from app.traces.files.layout import Layout, classify_columns, find_layout
from app.traces.files.limits import DEFAULT_LIMITS, ReadingLimits
from app.traces.files.markers import FindingKind
from app.traces.files.millivolts import compute_temperatures, make_fixed_junction
from app.traces.files.reading import Finding, LoggerReading, Taken, TemperatureColumn
from app.traces.files.table import open_table
from app.traces.files.temperatures import read_temperatures
from app.traces.files.timeline import check_several, read_timeline
from app.traces.rules import ColumnRole, DecimalMark, ReadingChoices

# Header and units stand among these rows above the samples.
_NEAREST_ROWS: Final = 20
_NO_CHOICES: Final = ReadingChoices()


class NoTemperatures(Unacceptable):
    """Not one cell of the temperature columns holds a temperature."""

    code = "traces.no_temperatures"


class RowTooWide(Unacceptable):
    """A row has values beyond the last column, which may be a decimal mark taken as delimiter."""

    code = "traces.row_too_wide"


def read_logger_file(
    content: bytes,
    *,
    choices: ReadingChoices | None = None,
    limits: ReadingLimits = DEFAULT_LIMITS,
) -> LoggerReading:
    """Read a logger's text file or Excel workbook: time and temperatures exactly as written.

    What is not chosen is guessed, and each guess says why. Nothing is converted here but
    millivolts; a unit that the file does not state stays None and is asked for. Raises refusals
    `traces.…` that name row, column and limit, and nothing else.
    """
    chosen = choices or _NO_CHOICES
    table = open_table(content, choices=chosen, limits=limits)
    grid, mark, texts, width = table.grid, table.mark, table.texts, table.width
    layout = find_layout(
        grid,
        width=width,
        classes=classify_columns(texts, mark=mark),
        mark=mark,
        choices=chosen,
        limits=limits,
    )
    rows, cut_off = _sample_rows(grid, layout)
    check_several(grid, rows)
    guesses = guess_columns(
        layout,
        samples=texts,
        mark=mark,
        choices=chosen,
        limits=limits,
        is_filled=lambda column: _is_filled(grid, column, rows),
    )
    wide = _check_widths(grid, layout, rows, mark=mark, choices=chosen)
    timeline = read_timeline(
        grid,
        rows=rows,
        plan=guesses.time,
        mark=mark,
        choices=chosen,
        names=frozenset(
            tuple(grid.row_texts(row))
            for row in range(max(0, layout.first_sample - _NEAREST_ROWS), layout.first_sample)
        ),
        limits=limits,
    )
    columns: list[TemperatureColumn] = []
    findings = [*_find_skipped(layout), *cut_off, *wide, *timeline.findings]
    findings += _find_short_rows(grid, timeline.rows, layout)
    junctions: dict[int, TemperatureColumn] = {}
    for guess in guesses.cold_junctions:
        junctions[guess.index], found = read_temperatures(
            grid, rows=timeline.rows, guess=guess, mark=mark
        )
        # As a channel of its own it tells of the same again.
        findings += found if guess.role is ColumnRole.COLD_JUNCTION else []
    for guess in guesses.temperatures:
        # Millivolts are numbers in no unit of temperature until they are computed.
        is_emf = guess.thermocouple is not None
        written = replace(guess, unit=None) if is_emf else guess
        column, found = read_temperatures(grid, rows=timeline.rows, guess=written, mark=mark)
        findings += found
        if guess.thermocouple is not None:
            junction = (
                make_fixed_junction(guess.cold_junction_c, count=len(timeline.rows))
                if guess.cold_junction_c is not None
                else junctions[guess.cold_junction or 0]
            )
            column, found = compute_temperatures(
                column, junction, kind=guess.thermocouple, rows=grid.lines[timeline.rows]
            )
            findings += found
        columns.append(column)
    if all(column.missing.all() for column in columns):
        raise NoTemperatures(
            f"No cell of the {len(columns)} temperature columns from row "
            f"{grid.lines[timeline.rows[0]]} to {grid.lines[timeline.rows[-1]]} holds a "
            f"temperature. {' '.join(f.sentence for f in findings[:3])}".rstrip(),
            field=FIELD,
        )
    return LoggerReading(
        encoding=table.encoding,
        sheet=table.sheet,
        sheets=table.sheets,
        delimiter=grid.delimiter,
        decimal_mark=mark,
        header_row=layout.header_row,
        header_last_row=layout.header_last_row,
        units_row=layout.units_row,
        preamble=layout.preamble,
        rows=grid.lines[timeline.rows],
        time=timeline.axis,
        columns=tuple(columns),
        guesses=guesses.columns,
        taken=(*table.taken, *_describe_layout(layout), *timeline.taken),
        findings=tuple(findings),
        assumptions=(
            *table.assumptions,
            *guesses.assumptions,
            *timeline.assumptions,
        ),
        questions=(*guesses.questions, *timeline.questions),
    )


def _describe_layout(layout: Layout) -> tuple[Taken, Taken]:
    first, last = layout.header_row, layout.header_last_row
    header = "none" if first is None else f"row {first}"
    return (
        Taken(
            "header_row", header if first == last else f"rows {first} to {last}", layout.why_header
        ),
        Taken(
            "units_row", f"row {layout.units_row}" if layout.units_row else "none", layout.why_units
        ),
    )


def _sample_rows(grid: Grid, layout: Layout) -> tuple[Places, list[Finding]]:
    """Return the rows from the first sample on, without a last one that was cut off."""
    rows = np.arange(layout.first_sample, grid.row_count)
    last = grid.row_count - 1
    if (
        grid.ends_with_newline
        or len(rows) <= 1
        or grid.counts[last] >= min(int(grid.counts[last - 1]), layout.width)
    ):
        return rows, []
    line = int(grid.lines[last])
    sentence = (
        f"Row {line}, the last, has {grid.counts[last]} of {layout.width} cells and no line end: "
        "the file was cut off there, and the row was left out."
    )
    return rows[:-1], [Finding(None, FindingKind.CUT_OFF, line, line, 1, sentence)]


def _find_skipped(layout: Layout) -> list[Finding]:
    """List samples that stand above the header or the units row that a person chose."""
    if layout.skipped is None:
        return []
    first, last, count = layout.skipped
    sentence = (
        f"{count} rows from {first} to {last} hold samples above the row that was chosen as "
        "header or units row, and were left out."
    )
    return [Finding(None, FindingKind.SKIPPED, first, last, count, sentence)]


def _is_filled(grid: Grid, column: int, rows: Places) -> bool:
    starts, ends = grid.column(column, rows)
    return bool((ends > starts).any())


def _check_widths(
    grid: Grid, layout: Layout, rows: Places, *, mark: DecimalMark, choices: ReadingChoices
) -> list[Finding]:
    """Refuse values beyond the header's last name; list other cells beyond the last column."""
    named = layout.width if layout.header_width is None else layout.header_width
    chosen = {c.index for c in choices.columns if c.role is not ColumnRole.IGNORED}
    extra: list[int] = []
    for row in rows[grid.counts[rows] > min(named, layout.width)].tolist():
        cells = grid.row_texts(row)
        beyond = [(k, c) for k, c in enumerate(cells) if k >= min(named, layout.width) and c]
        for column, cell in beyond:
            if column in chosen:
                continue
            if classify(cell, mark) is CellClass.NUMBER:
                raise RowTooWide(
                    f"Row {grid.lines[row]} has “{cell[:40]}” in column {column + 1}, where "
                    f"{min(named, layout.width)} columns are expected. A decimal comma may have "
                    "been taken for a delimiter.",
                    field=FIELD,
                )
        if beyond and beyond[-1][0] >= layout.width:
            extra.append(row)
    if not extra:
        return []
    first, last = int(grid.lines[extra[0]]), int(grid.lines[extra[-1]])
    return [
        Finding(
            None,
            FindingKind.EXTRA_CELLS,
            first,
            last,
            len(extra),
            f"{len(extra)} rows from {first} to {last} have text beyond the last column, which "
            "was left out.",
        )
    ]


def _find_short_rows(grid: Grid, rows: Places, layout: Layout) -> list[Finding]:
    """List rows that lack cells of columns with names or values."""
    usual = int(np.bincount(grid.counts[rows]).argmax())
    short = rows[grid.counts[rows] < min(usual, layout.width)]
    if not short.size:
        return []
    first, last = int(grid.lines[short[0]]), int(grid.lines[short[-1]])
    return [
        Finding(
            None,
            FindingKind.SHORT_ROWS,
            first,
            last,
            len(short),
            f"{len(short)} rows from {first} to {last} have fewer cells than the others; what "
            "they lack is missing.",
        )
    ]
