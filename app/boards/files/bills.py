"""Bills of materials in CSV: which part stands at which designators."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from app.boards.files.bodies import is_package_like
from app.boards.files.cells import RefusedLine, Row, refuse_line, spell_refused
from app.boards.files.choices import BillChoices, BillField, Delimiter
from app.boards.files.columns import (
    ColumnGuess,
    ContentTest,
    guess_by_content,
    guess_by_title,
    settle_columns,
)
from app.boards.files.designators import are_designators_like, parse_designators
from app.boards.files.grid import Guess, read_grid
from app.boards.files.layouts import BillLine, Duplicate, list_duplicate_findings
from app.boards.files.titles import BILL_TITLES
from app.boards.files.values import is_not_fitted, parse_cell
from app.boards.rules import FILE_LINES_MAX, RANGE_LENGTH_MAX, DesignatorUnusable, spell_cut

_QUANTITY: Final = re.compile(r"([0-9]{1,6})(?:[.,]0{1,6})?")
_CONTENT: Final[tuple[tuple[BillField, ContentTest], ...]] = (
    (BillField.DESIGNATORS, are_designators_like),
    (BillField.QUANTITY, lambda text: _QUANTITY.fullmatch(text) is not None),
    (BillField.PACKAGE, is_package_like),
    (BillField.VALUE, bool),
)
_SAMPLE_ROWS: Final = 8


@dataclass(frozen=True)
class BillReading:
    """A bill as read: its lines, what was refused, and how everything was taken.

    `choices` spells out every guess: reading the file again with them gives the same lines.
    """

    encoding: str
    delimiter: Guess[Delimiter]
    header_line: int
    header: tuple[str, ...]
    columns: tuple[ColumnGuess[BillField], ...]
    sample: tuple[Row, ...]
    width: int
    lines: tuple[BillLine, ...]
    refused: tuple[RefusedLine, ...]
    duplicates: tuple[Duplicate, ...]
    missing: tuple[BillField, ...]
    findings: tuple[str, ...]
    choices: BillChoices


def read_bill_file(content: bytes, *, choices: BillChoices | None = None) -> BillReading:
    """Read a bill of materials: grouped designators and ranges, checked against the quantity.

    A designator that stands on two lines stays with the first. Raises the refusals of
    read_placement_file except UnitsDisagree.
    """
    chosen = choices or BillChoices()
    grid = read_grid(content, titles=BILL_TITLES, choices=chosen)
    guessed = (
        guess_by_title(grid.header, BILL_TITLES)
        if grid.header
        else guess_by_content(grid.rows, _CONTENT, free=set(range(grid.width)))
    )
    columns = settle_columns(
        tuple(BillField), guessed, chosen.columns, header=grid.header, width=grid.width
    )
    index = {field: guess.index for field, guess in columns.items()}
    missing = (BillField.DESIGNATORS,) if index[BillField.DESIGNATORS] is None else ()
    rows = () if missing else grid.rows
    lines, refused, duplicates, quantity_findings = _read_rows(rows, index)
    all_refused = tuple(sorted((*grid.refused, *refused), key=lambda line: line.line_number))
    findings = [
        *grid.findings,
        *(f"No column was recognised for the {field}: choose it." for field in missing),
        *quantity_findings,
        *list_duplicate_findings(duplicates),
    ]
    if all_refused:
        findings.append(spell_refused(len(all_refused)))
    return BillReading(
        encoding=grid.encoding,
        delimiter=grid.delimiter,
        header_line=grid.header_line,
        header=grid.header,
        columns=tuple(columns.values()),
        sample=grid.rows[:_SAMPLE_ROWS],
        width=grid.width,
        lines=lines,
        refused=all_refused,
        duplicates=duplicates,
        missing=missing,
        findings=tuple(findings),
        choices=BillChoices(
            delimiter=grid.delimiter.value, header_line=grid.header_line, columns=index
        ),
    )


def _read_rows(
    rows: Sequence[Row], index: dict[BillField, int | None]
) -> tuple[tuple[BillLine, ...], list[RefusedLine], tuple[Duplicate, ...], list[str]]:
    lines: list[BillLine] = []
    refused: list[RefusedLine] = []
    duplicates: list[Duplicate] = []
    findings: list[str] = []
    first_lines: dict[str, int] = {}
    named_count = 0
    for row in rows:
        try:
            named = parse_designators(
                row.cell(index[BillField.DESIGNATORS]),
                at_most=min(RANGE_LENGTH_MAX, FILE_LINES_MAX - named_count),
            )
            named_count += len(named)
            words = {field: _read_words(row, field, index) for field in _WORD_FIELDS}
        except DesignatorUnusable as refusal:
            reason = refusal.sentence.removesuffix(".")
            refused.append(refuse_line(row.line_number, reason, row.cells))
            continue
        except ValueError as reason_found:
            refused.append(refuse_line(row.line_number, str(reason_found), row.cells))
            continue
        if not named:
            reason = "no designator stands on the line"
            refused.append(refuse_line(row.line_number, reason, row.cells))
            continue
        quantity, finding = _read_quantity(row, index, count=len(named))
        if finding:
            findings.append(finding)
        kept: list[str] = []
        for designator in named:
            first = first_lines.get(designator)
            if first is None:
                first_lines[designator] = row.line_number
                kept.append(designator)
            else:
                duplicates.append(Duplicate(designator, first, row.line_number))
        if kept:
            lines.append(
                BillLine(
                    line_number=row.line_number,
                    designators=tuple(kept),
                    quantity=quantity,
                    value=words[BillField.VALUE],
                    package=words[BillField.PACKAGE],
                    part_number=_drop_mark(words[BillField.PART_NUMBER]),
                    is_not_fitted=any(map(is_not_fitted, row.cells)),
                )
            )
    return tuple(lines), refused, tuple(duplicates), findings


_WORD_FIELDS: Final = (BillField.VALUE, BillField.PACKAGE, BillField.PART_NUMBER)


def _read_words(row: Row, field: BillField, index: dict[BillField, int | None]) -> str:
    try:
        return parse_cell(row.cell(index[field]))
    except ValueError as reason:
        raise ValueError(f"{field}: {reason}") from None


def _drop_mark(part_number: str) -> str:
    """Return no part number where a mark such as DNP stands in its place."""
    return "" if is_not_fitted(part_number) else part_number


def _read_quantity(
    row: Row, index: dict[BillField, int | None], *, count: int
) -> tuple[int | None, str | None]:
    text = row.cell(index[BillField.QUANTITY])
    if not text:
        return None, None
    match = _QUANTITY.fullmatch(text)
    if match is None:
        return None, f"Line {row.line_number}: the quantity {spell_cut(text)} is no whole number."
    quantity = int(match[1])
    if quantity == count:
        return quantity, None
    return quantity, (
        f"Line {row.line_number} gives the quantity {quantity} and names {count} designators."
    )
