"""A text as rows of cells: their places in one buffer, without a Python object for each."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.core.refusals import TooLarge, Unacceptable
from app.traces.files.decoding import FIELD
from app.traces.files.dialect import is_separator_line
from app.traces.files.limits import ReadingLimits
from app.traces.rules import Delimiter

Bytes = NDArray[np.uint8]
Places = NDArray[np.int64]
Mask = NDArray[np.bool_]

_NEWLINE: Final = ord("\n")
_QUOTE: Final = ord('"')
_BLANKS: Final = (ord(" "), ord("\t"))
_KEPT_COMMENTS: Final = 200
_CHUNK: Final = 2**20
# So that the longest number can be looked at from any place without leaving the buffer.
PADDING: Final = 32


class LineTooLong(TooLarge):
    """One line is longer than is read."""

    code = "traces.line_too_long"


class TooManyColumns(TooLarge):
    """One row has more cells than are read."""

    code = "traces.too_many_columns"


class TooManyRows(TooLarge):
    """There are more rows than a trace may have."""

    code = "traces.too_many_rows"


class NoRows(Unacceptable):
    """There are only blank lines and remarks."""

    code = "traces.no_rows"


@dataclass(frozen=True, eq=False)
class Grid:
    """Rows of cells. Row k is line `lines[k]` of the file (from 1), with `counts[k]` cells.

    `cell_ends` holds where all cells end, one row after the other; each begins one place behind
    the end of that before it. `first_cells[k]` is the number of row k's first.
    """

    delimiter: Delimiter
    buffer: Bytes
    cell_ends: NDArray[np.int32]
    first_cells: Places
    counts: Places
    lines: Places
    comments: tuple[tuple[int, str], ...]
    ends_with_newline: bool

    @property
    def row_count(self) -> int:
        """How many rows hold something."""
        return len(self.lines)

    def text(self, row: int, column: int) -> str:
        """Return the cell's text without outer blanks and quotes; empty beyond the row's end."""
        if column >= self.counts[row]:
            return ""
        cell = self.first_cells[row] + column
        start = int(self.cell_ends[cell - 1]) + 1 if cell else 0
        return self.slice_text(start, int(self.cell_ends[cell]))

    def slice_text(self, start: int, end: int) -> str:
        """Return the text between two places without outer blanks and quotes."""
        text = self.buffer[start:end].tobytes().decode("utf-8", "replace").strip()
        if len(text) > 1 and text[0] == text[-1] == '"':
            text = text[1:-1].replace('""', '"').strip()
        return text

    def row_texts(self, row: int) -> list[str]:
        """Return the texts of all cells of the row."""
        return list(self.iterate_texts(row))

    def iterate_texts(self, row: int) -> Iterator[str]:
        """Yield the texts of the row's cells, for those who may stop early."""
        return (self.text(row, column) for column in range(int(self.counts[row])))

    def column(self, column: int, rows: Places) -> tuple[Places, Places]:
        """Return where the column's cells begin and end in these rows, blanks and quotes cut."""
        there = self.counts[rows] > column
        cells = np.where(there, self.first_cells[rows] + column, 0)
        before = np.where(cells > 0, self.cell_ends[np.maximum(cells - 1, 0)], -1)
        starts = np.where(there, before + 1, 0).astype(np.int64)
        ends = np.where(there, self.cell_ends[cells], 0).astype(np.int64)
        _cut_blanks(self.buffer, starts, ends)
        quoted = (
            (ends - starts > 1)
            & (self.buffer[starts] == _QUOTE)
            & (self.buffer[np.maximum(ends - 1, 0)] == _QUOTE)
        )
        if quoted.any():
            starts += quoted
            ends -= quoted
            _cut_blanks(self.buffer, starts, ends)
        return starts, ends


def split_grid(text: str, *, delimiter: Delimiter, limits: ReadingLimits) -> Grid:
    """Split the text into rows of cells; blank rows are left out, remarks are set aside.

    A line that begins with # is a remark, and one that begins with ; where that is not the
    delimiter. Raises LineTooLong, TooManyColumns, TooManyRows, NoRows.
    """
    ends_with_newline = text.endswith("\n")
    padding = "\n" * (PADDING if ends_with_newline else PADDING + 1)
    encoded = (text + padding).encode("utf-8")
    buffer = np.frombuffer(encoded, dtype=np.uint8)
    used = buffer[: len(encoded) - PADDING]
    line_ends = _find_line_ends(used)
    line_starts = np.concatenate(([0], line_ends[:-1] + 1))
    _check_lengths(line_ends - line_starts, limits=limits)

    marks, kept, cell_ends = _find_cells(
        used,
        line_starts=line_starts,
        line_ends=line_ends,
        delimiter=delimiter,
        has_quotes=b'"' in encoded,
    )
    comments, is_comment = _find_comments(
        buffer, line_starts=line_starts, line_ends=line_ends, delimiter=delimiter, kept=kept
    )
    kept &= ~is_comment
    _check_counts(marks, kept, limits=limits)

    cells = marks.astype(np.int64) + 1
    firsts = np.cumsum(cells) - cells
    return Grid(
        delimiter=delimiter,
        buffer=buffer,
        cell_ends=cell_ends,
        first_cells=firsts[kept],
        counts=cells[kept],
        lines=np.flatnonzero(kept) + 1,
        comments=comments,
        ends_with_newline=ends_with_newline,
    )


def _find_line_ends(used: Bytes) -> Places:
    pieces = range(0, len(used), _CHUNK)
    return np.concatenate(
        [np.flatnonzero(used[start : start + _CHUNK] == _NEWLINE) + start for start in pieces]
    )


def _find_cells(
    used: Bytes, *, line_starts: Places, line_ends: Places, delimiter: Delimiter, has_quotes: bool
) -> tuple[NDArray[np.int32], Mask, NDArray[np.int32]]:
    """Return each line's delimiters, whether it holds anything, and where all cells end.

    Lines are taken some at a time: what is computed for each byte then stays small.
    """
    marks = np.empty(len(line_ends), dtype=np.int32)
    kept = np.empty(len(line_ends), dtype=np.bool_)
    ends: list[NDArray[np.int32]] = []
    first = 0
    while first < len(line_ends):
        begin = int(line_starts[first])
        last = max(first + 1, int(np.searchsorted(line_ends, begin + _CHUNK)))
        piece = used[begin : int(line_ends[last - 1]) + 1]
        starts = line_starts[first:last] - begin
        is_mark = piece == ord(delimiter.value)
        if has_quotes:
            is_mark &= ~_inside_quotes(piece, starts, line_ends[first:last] - begin)
        marks[first:last] = np.add.reduceat(is_mark, starts, dtype=np.int32)
        kept[first:last] = _has_content(piece, starts, delimiter)
        is_mark |= piece == _NEWLINE
        ends.append((np.flatnonzero(is_mark) + begin).astype(np.int32))
        first = last
    return marks, kept, np.concatenate(ends)


def _check_lengths(lengths: Places, *, limits: ReadingLimits) -> None:
    longest = int(np.argmax(lengths))
    if lengths[longest] > limits.max_line_length:
        raise LineTooLong(
            f"Row {longest + 1} is {lengths[longest]:,} bytes long; "
            f"{limits.max_line_length:,} is the limit.",
            field=FIELD,
        )


def _check_counts(marks: NDArray[np.int32], kept: Mask, *, limits: ReadingLimits) -> None:
    rows = int(kept.sum())
    if rows == 0:
        raise NoRows("There is no row in the file besides blank lines and remarks.", field=FIELD)
    widest = int(np.argmax(np.where(kept, marks, -1)))
    if marks[widest] >= limits.max_columns:
        raise TooManyColumns(
            f"Row {widest + 1} has {marks[widest] + 1:,} columns; "
            f"{limits.max_columns:,} is the limit.",
            field=FIELD,
        )
    if rows > limits.max_rows + limits.max_preamble_rows:
        raise too_many_rows(rows, limits=limits)


def too_many_rows(rows: int, *, limits: ReadingLimits) -> TooManyRows:
    """Return the refusal of a file with this many rows."""
    return TooManyRows(
        f"The file has {rows:,} rows; {limits.max_rows:,} is the limit. "
        "Cut it to the time of the run, or record at a longer interval.",
        field=FIELD,
    )


def _inside_quotes(used: Bytes, line_starts: Places, line_ends: Places) -> Mask:
    """Mark what stands between quotes of one line; a line with an odd quote has none."""
    is_quote = used == _QUOTE
    odd = np.logical_xor.reduceat(is_quote, line_starts)
    if odd.any():
        is_quote &= ~np.repeat(odd, line_ends - line_starts + 1)
    inside: Mask = (np.cumsum(is_quote, dtype=np.uint8) & 1).astype(np.bool_)
    return inside


def _has_content(used: Bytes, line_starts: Places, delimiter: Delimiter) -> Mask:
    holds = np.ones(256, dtype=np.bool_)
    holds[[ord(c) for c in ' \t\n"' + delimiter.value]] = False
    content: Mask = np.logical_or.reduceat(holds[used], line_starts)
    return content


def _find_comments(
    buffer: Bytes, *, line_starts: Places, line_ends: Places, delimiter: Delimiter, kept: Mask
) -> tuple[tuple[tuple[int, str], ...], Mask]:
    leads = line_starts.copy()
    ends = line_ends.copy()
    _cut_blanks(buffer, leads, ends)
    first = buffer[leads]
    is_comment = first == ord("#")
    if delimiter is not Delimiter.SEMICOLON:
        is_comment |= first == ord(";")
    is_comment &= kept
    first_line = buffer[: line_ends[0]].tobytes().decode("utf-8", "replace")
    if is_separator_line(first_line):
        is_comment[0] = True
    comments = tuple(
        (int(line) + 1, buffer[leads[line] : ends[line]].tobytes().decode("utf-8", "replace"))
        for line in np.flatnonzero(is_comment)[:_KEPT_COMMENTS]
    )
    return comments, is_comment


def _cut_blanks(buffer: Bytes, starts: Places, ends: Places) -> None:
    """Move the places inwards past blanks and tabs, in place."""
    for places, step, seen in ((starts, 1, 0), (ends, -1, -1)):
        left = np.flatnonzero(starts < ends)
        while left.size:
            sign = buffer[places[left] + seen]
            left = left[(sign == _BLANKS[0]) | (sign == _BLANKS[1])]
            places[left] += step
            left = left[starts[left] < ends[left]]
