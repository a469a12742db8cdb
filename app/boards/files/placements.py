"""Placement files: where every part sits, in the CSV that layout programs write."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from app.boards.files.bodies import is_package_like
from app.boards.files.cells import RefusedLine, Row, refuse_line, spell_refused
from app.boards.files.choices import (
    DecimalMark,
    Delimiter,
    LengthUnit,
    PlacementChoices,
    PlacementField,
)
from app.boards.files.columns import (
    ColumnGuess,
    ContentTest,
    guess_by_content,
    guess_by_title,
    settle_columns,
)
from app.boards.files.designators import is_designator_like
from app.boards.files.grid import Grid, Guess, read_grid
from app.boards.files.layouts import Duplicate, PlacementLine, list_duplicate_findings
from app.boards.files.mirroring import settle_mirroring
from app.boards.files.numbers import (
    CannotRead,
    find_unit_in_cell,
    guess_decimal_mark,
    guess_unit,
    is_number,
    parse_length_mm,
    parse_rotation_deg,
    spell_decimal,
)
from app.boards.files.sides import (
    find_side,
    find_side_by_word,
    is_side,
    read_numbered_layers,
)
from app.boards.files.titles import PLACEMENT_TITLES
from app.boards.files.values import parse_cell
from app.boards.rules import DesignatorUnusable, Side, parse_designator, spell_cut

_NEEDED: Final = (PlacementField.DESIGNATOR, PlacementField.X, PlacementField.Y)
_CONTENT: Final[tuple[tuple[PlacementField, ContentTest], ...]] = (
    (PlacementField.DESIGNATOR, is_designator_like),
    (PlacementField.SIDE, is_side),
    (PlacementField.X, is_number),
    (PlacementField.Y, is_number),
    (PlacementField.ROTATION, is_number),
    (PlacementField.PACKAGE, is_package_like),
    (PlacementField.VALUE, bool),
)
_SIDE_IN_TEXT: Final = re.compile(r"\b(?:side|layer)\s?[:=]\s?([\w.]{1,20})", re.IGNORECASE)
# Wider than boards are; coordinates in thousandths of an inch look like this when read as mm.
_WIDE_MM: Final = 1_000
_SAMPLE_ROWS: Final = 8


@dataclass(frozen=True)
class PlacementReading:
    """A placement file as read: its lines, what was refused, and how everything was taken.

    `choices` spells out every guess: reading the file again with them gives the same lines.
    `missing` names the fields without which no line could be read.
    """

    encoding: str
    delimiter: Guess[Delimiter]
    decimal_mark: Guess[DecimalMark]
    unit: Guess[LengthUnit]
    header_line: int
    header: tuple[str, ...]
    columns: tuple[ColumnGuess[PlacementField], ...]
    sample: tuple[Row, ...]
    width: int
    lines: tuple[PlacementLine, ...]
    refused: tuple[RefusedLine, ...]
    duplicates: tuple[Duplicate, ...]
    missing: tuple[PlacementField, ...]
    is_bottom_mirrored: bool
    findings: tuple[str, ...]
    choices: PlacementChoices


@dataclass(frozen=True)
class _Way:
    """How one row is read."""

    columns: dict[PlacementField, ColumnGuess[PlacementField]]
    unit: LengthUnit
    mark: DecimalMark
    layers: dict[int, Side]
    side_if_absent: Side

    def cell(self, row: Row, field: PlacementField) -> str:
        return row.cell(self.columns[field].index)


def read_placement_file(
    content: bytes, *, choices: PlacementChoices | None = None
) -> PlacementReading:
    """Read a placement file: delimiter, titles, unit, decimal mark and sides as guessed or chosen.

    Every line that cannot be read is kept as refused with its number and the reason; a file that
    lacks a needed column is read without lines and says which in `missing`. Raises FileTooLarge,
    FileTooLong, FileTooWide, FileEmpty, FileHeaderOnly, FileNotText, UnitsDisagree and
    ChoiceUnusable.
    """
    chosen = choices or PlacementChoices()
    grid = read_grid(content, titles=PLACEMENT_TITLES, choices=chosen)
    columns = _settle(grid, chosen)
    x, y = columns[PlacementField.X], columns[PlacementField.Y]
    coordinates = [cell for row in grid.rows for cell in (row.cell(x.index), row.cell(y.index))]
    mark = guess_decimal_mark(coordinates, chosen=chosen.decimal_mark)
    unit = guess_unit(
        titles=(x.title, y.title),
        cells=coordinates,
        comments=grid.comments,
        preamble=grid.preamble,
        chosen=chosen.unit,
    )
    sides = [row.cell(columns[PlacementField.SIDE].index) for row in grid.rows]
    absent, absent_sentence = _settle_absent_side(grid, columns, chosen=chosen.side_if_absent)
    way = _Way(columns, unit.value, mark.value, read_numbered_layers(sides), absent)
    missing = tuple(field for field in _NEEDED if columns[field].index is None)
    lines, refused, duplicates = _read_rows(() if missing else grid.rows, way)
    mirroring = settle_mirroring(lines, chosen=chosen.mirror_bottom_x)
    all_refused = tuple(sorted((*grid.refused, *refused), key=lambda line: line.line_number))
    findings = [
        *grid.findings,
        *(f"No column was recognised for the {field}: choose it." for field in missing),
        *_list_unit_findings(unit, lines, coordinates),
        *_list_layer_findings(way.layers),
        *([absent_sentence] if absent_sentence else []),
        *_list_rotation_findings(columns, lines),
        *([mirroring.sentence] if mirroring.sentence else []),
        *list_duplicate_findings(duplicates),
    ]
    if all_refused:
        findings.append(spell_refused(len(all_refused)))
    return PlacementReading(
        encoding=grid.encoding,
        delimiter=grid.delimiter,
        decimal_mark=mark,
        unit=unit,
        header_line=grid.header_line,
        header=grid.header,
        columns=tuple(columns.values()),
        sample=grid.rows[:_SAMPLE_ROWS],
        width=grid.width,
        lines=mirroring.lines,
        refused=all_refused,
        duplicates=duplicates,
        missing=missing,
        is_bottom_mirrored=mirroring.is_mirrored,
        findings=tuple(findings),
        choices=PlacementChoices(
            delimiter=grid.delimiter.value,
            header_line=grid.header_line,
            decimal_mark=mark.value,
            unit=unit.value,
            columns={field: guess.index for field, guess in columns.items()},
            mirror_bottom_x=mirroring.is_mirrored,
            side_if_absent=absent,
        ),
    )


def _settle(
    grid: Grid, chosen: PlacementChoices
) -> dict[PlacementField, ColumnGuess[PlacementField]]:
    guessed = (
        guess_by_title(grid.header, PLACEMENT_TITLES)
        if grid.header
        else guess_by_content(grid.rows, _CONTENT, free=set(range(grid.width)))
    )
    return settle_columns(
        tuple(PlacementField), guessed, chosen.columns, header=grid.header, width=grid.width
    )


def _settle_absent_side(
    grid: Grid,
    columns: dict[PlacementField, ColumnGuess[PlacementField]],
    *,
    chosen: Side | None,
) -> tuple[Side, str | None]:
    """Return the side of lines without one: chosen, told in a comment, or assumed to be the top."""
    has_column = columns[PlacementField.SIDE].index is not None
    if chosen is not None:
        return chosen, None
    for number, text in (
        *((comment.line_number, comment.text) for comment in grid.comments),
        *((row.line_number, " ".join(row.cells)) for row in grid.preamble),
    ):
        match = _SIDE_IN_TEXT.search(" ".join(text.split()))
        side = find_side_by_word(match[1]) if match else None
        if side is not None:
            sentence = f"All parts are on the {side} side, as line {number} says."
            return side, None if has_column else sentence
    sentence = "No column gives the side: all parts were taken to be on the top side."
    return Side.TOP, None if has_column else sentence


def _read_rows(
    rows: Sequence[Row], way: _Way
) -> tuple[list[PlacementLine], list[RefusedLine], tuple[Duplicate, ...]]:
    lines: list[PlacementLine] = []
    refused: list[RefusedLine] = []
    duplicates: list[Duplicate] = []
    first_lines: dict[str, int] = {}
    for row in rows:
        try:
            line = _read_row(row, way)
        except _LineRefused as reason:
            refused.append(refuse_line(row.line_number, str(reason), row.cells))
            continue
        first = first_lines.setdefault(line.designator, row.line_number)
        if first == row.line_number:
            lines.append(line)
            continue
        duplicates.append(Duplicate(line.designator, first, row.line_number))
        reason_text = f"{line.designator} stands on line {first} already"
        refused.append(refuse_line(row.line_number, reason_text, row.cells))
    return lines, refused, tuple(duplicates)


class _LineRefused(Exception):
    pass


def _read_row(row: Row, way: _Way) -> PlacementLine:
    try:
        designator = parse_designator(_read_words(row, PlacementField.DESIGNATOR, way))
    except DesignatorUnusable as refusal:
        raise _LineRefused(refusal.sentence.removesuffix(".")) from None
    return PlacementLine(
        line_number=row.line_number,
        designator=designator,
        value=_read_words(row, PlacementField.VALUE, way),
        package=_read_words(row, PlacementField.PACKAGE, way),
        x_mm=_read_length(row, PlacementField.X, way),
        y_mm=_read_length(row, PlacementField.Y, way),
        rotation_deg=_read_rotation(row, way),
        side=_read_side(row, way),
    )


def _read_words(row: Row, field: PlacementField, way: _Way) -> str:
    try:
        return parse_cell(way.cell(row, field))
    except ValueError as reason:
        raise _LineRefused(f"{field}: {reason}") from None


def _read_length(row: Row, field: PlacementField, way: _Way) -> Decimal:
    try:
        return parse_length_mm(way.cell(row, field), unit=way.unit, mark=way.mark)
    except CannotRead as reason:
        raise _LineRefused(f"{field}: {reason}") from None


def _read_rotation(row: Row, way: _Way) -> Decimal:
    if way.columns[PlacementField.ROTATION].index is None:
        return Decimal(0)
    try:
        return parse_rotation_deg(way.cell(row, PlacementField.ROTATION), mark=way.mark)
    except CannotRead as reason:
        raise _LineRefused(f"rotation: {reason}") from None


def _read_side(row: Row, way: _Way) -> Side:
    if way.columns[PlacementField.SIDE].index is None:
        return way.side_if_absent
    text = way.cell(row, PlacementField.SIDE)
    side = find_side(text, layers=way.layers)
    if side is None:
        raise _LineRefused(
            f"side: {spell_cut(text)} is neither top nor bottom" if text else "side: it is empty"
        )
    return side


def _list_unit_findings(
    unit: Guess[LengthUnit], lines: Sequence[PlacementLine], cells: Sequence[str]
) -> list[str]:
    findings: list[str] = []
    if unit.is_assumed:
        findings.append("No unit stands in the file: millimetres were assumed.")
    others = sum(find_unit_in_cell(cell) not in {None, unit.value} for cell in cells)
    if others:
        findings.append(
            f"{others} coordinates carry a unit of their own other than {unit.value},"
            " and were read in theirs."
        )
    if not lines:
        return findings
    spread_mm = max(
        max(line.x_mm for line in lines) - min(line.x_mm for line in lines),
        max(line.y_mm for line in lines) - min(line.y_mm for line in lines),
    )
    if spread_mm > _WIDE_MM:
        findings.append(
            f"The parts spread over {spell_decimal(spread_mm)} mm, which is wide for a board:"
            f" is {unit.value} the unit?"
        )
    return findings


def _list_layer_findings(layers: dict[int, Side]) -> list[str]:
    if not layers:
        return []
    taken = " and ".join(f"layer {number} as the {side} side" for number, side in layers.items())
    return [f"Numbers stand for the sides: {taken} was taken."]


def _list_rotation_findings(
    columns: dict[PlacementField, ColumnGuess[PlacementField]], lines: Sequence[PlacementLine]
) -> list[str]:
    if lines and columns[PlacementField.ROTATION].index is None:
        return ["No column gives the rotation: 0 degrees was taken for all parts."]
    return []
