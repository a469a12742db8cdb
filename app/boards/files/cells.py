"""Lines of text into rows of cells: delimiters, quotes, comments, and what comes apart nowhere."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from app.boards.files.choices import Delimiter
from app.boards.rules import (
    CELL_LENGTH_MAX,
    FILE_COLUMNS_MAX,
    LINE_LENGTH_MAX,
    FileTooWide,
)

MARKS: Final = {
    Delimiter.COMMA: ",",
    Delimiter.SEMICOLON: ";",
    Delimiter.TAB: "\t",
    Delimiter.PIPE: "|",
    Delimiter.BLANKS: " ",
}
_WORD: Final = re.compile(r'"([^"]*)"(?=\s|$)|(\S+)')
# A quoted cell may hold line ends; one that runs on for longer was never closed.
_LINES_IN_A_CELL_MAX: Final = 20


@dataclass(frozen=True)
class Row:
    """One line's cells, outer blanks cut; line_number counts from 1 as an editor does."""

    line_number: int
    cells: tuple[str, ...]

    def cell(self, index: int | None) -> str:
        """Return a cell, empty where the line is shorter or the column is left out."""
        return self.cells[index] if index is not None and index < len(self.cells) else ""


@dataclass(frozen=True)
class Comment:
    """A line that begins with #, without its signs."""

    line_number: int
    text: str


@dataclass(frozen=True)
class RefusedLine:
    """A line that was not taken over: its number, why, and how it begins."""

    line_number: int
    reason: str
    text: str


@dataclass(frozen=True)
class CutLines:
    """All lines of a file under one delimiter."""

    rows: tuple[Row, ...]
    comments: tuple[Comment, ...]
    refused: tuple[RefusedLine, ...]


def cut_lines(lines: Sequence[str], *, delimiter: Delimiter) -> CutLines:
    """Cut lines into rows; empty lines and lines of empty cells are passed over.

    Raises FileTooWide when a line has more than 200 cells.
    """
    rows: list[Row] = []
    comments: list[Comment] = []
    refused: list[RefusedLine] = []
    place = 0
    while place < len(lines):
        line, number = lines[place], place + 1
        place += 1
        if not line.strip() or (number == 1 and line.lower().startswith("sep=")):
            continue
        if line.lstrip().startswith("#"):
            comments.append(Comment(number, line.strip().lstrip("#").strip(" ")))
            continue
        if len(line) > LINE_LENGTH_MAX:
            reason = f"the line has {len(line):,} characters; at most {LINE_LENGTH_MAX:,} are read"
            refused.append(refuse_line(number, reason, line))
            continue
        cells = split_cells(line, delimiter=delimiter)
        if cells is None:
            cells, taken = _join_following(lines, place - 1, delimiter=delimiter)
            if cells is None:
                reason = "a quotation mark is opened and never closed"
                refused.append(refuse_line(number, reason, line))
                continue
            place += taken
        _check_width(cells, number)
        if any(cells):
            rows.append(Row(number, tuple(cells)))
    return CutLines(tuple(rows), tuple(comments), tuple(refused))


def split_cells(line: str, *, delimiter: Delimiter) -> list[str] | None:
    """Split one line; None when a quoted cell is still open at its end."""
    if delimiter is Delimiter.BLANKS:
        return [match[1] if match[1] is not None else match[2] for match in _WORD.finditer(line)]
    mark = MARKS[delimiter]
    if '"' not in line:
        return [cell.strip() for cell in line.split(mark)]
    cells: list[str] = []
    start = 0
    while True:
        quote = _find_opening_quote(line, start)
        if quote is None:
            content, after = "", start
        else:
            closed = _take_quoted(line, quote + 1)
            if closed is None:
                return None
            content, after = closed
        end = line.find(mark, after)
        rest = line[after:] if end < 0 else line[after:end]
        cells.append((content + rest).strip())
        if end < 0:
            return cells
        start = end + 1


def refuse_line(number: int, reason: str, line: str | Sequence[str]) -> RefusedLine:
    """Make the record of a refused line, its text cut to 200 characters."""
    text = line if isinstance(line, str) else " | ".join(line)
    return RefusedLine(number, reason, text[:CELL_LENGTH_MAX])


def spell_refused(count: int) -> str:
    """Say how many lines were refused."""
    return "1 line was refused." if count == 1 else f"{count:,} lines were refused."


def _find_opening_quote(line: str, start: int) -> int | None:
    place = start
    while place < len(line) and line[place] == " ":
        place += 1
    return place if line.startswith('"', place) else None


def _take_quoted(line: str, start: int) -> tuple[str, int] | None:
    """Return a quoted cell's content and the place behind its closing quote."""
    pieces: list[str] = []
    while True:
        quote = line.find('"', start)
        if quote < 0:
            return None
        if line.startswith('""', quote):
            pieces.append(line[start : quote + 1])
            start = quote + 2
            continue
        pieces.append(line[start:quote])
        return "".join(pieces), quote + 1


def _join_following(
    lines: Sequence[str], place: int, *, delimiter: Delimiter
) -> tuple[list[str] | None, int]:
    """Try whether an open quoted cell closes on one of the next lines."""
    joined = lines[place]
    for taken in range(1, _LINES_IN_A_CELL_MAX):
        if place + taken >= len(lines):
            break
        joined += "\n" + lines[place + taken]
        if len(joined) > LINE_LENGTH_MAX:
            break
        if '"' in lines[place + taken]:
            cells = split_cells(joined, delimiter=delimiter)
            if cells is not None:
                return [" ".join(cell.split()) for cell in cells], taken
    return None, 0


def _check_width(cells: Sequence[str], number: int) -> None:
    if len(cells) > FILE_COLUMNS_MAX:
        raise FileTooWide(
            f"Line {number} comes apart into {len(cells):,} cells;"
            f" at most {FILE_COLUMNS_MAX} are read.",
            field="file",
        )
