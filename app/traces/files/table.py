"""A file's bytes as a table of cells: text or workbook, delimiter and decimal mark."""

from dataclasses import dataclass

from app.traces.files.decoding import Decoded, check_text, decode
from app.traces.files.dialect import find_decimal_mark, find_delimiter
from app.traces.files.grid import Grid, split_grid
from app.traces.files.layout import find_width, sample_rows
from app.traces.files.limits import ReadingLimits
from app.traces.files.reading import Taken
from app.traces.files.workbook import Workbook, is_workbook, read_workbook
from app.traces.rules import DecimalMark, Delimiter, ReadingChoices


@dataclass(frozen=True, eq=False)
class Table:
    """The cells, how they were told apart, and `texts` of some rows of samples."""

    encoding: str
    sheet: str | None
    sheets: tuple[str, ...]
    assumptions: tuple[str, ...]
    grid: Grid
    width: int
    texts: list[list[str]]
    mark: DecimalMark
    taken: tuple[Taken, ...]


def open_table(content: bytes, *, choices: ReadingChoices, limits: ReadingLimits) -> Table:
    """Return the file's table; what is not chosen is guessed. Raises refusals `traces.…`."""
    book, decoded = open_text(content, choices=choices, limits=limits)
    taken = [Taken("encoding", decoded.encoding, decoded.why)]
    if book is None:
        delimiter, why = find_delimiter(decoded.text, choices=choices)
        taken.append(Taken("delimiter", delimiter.words, why))
    else:
        delimiter = Delimiter.TAB
        taken.append(Taken("sheet", book.sheet, book.why))
    grid = split_grid(decoded.text, delimiter=delimiter, limits=limits)
    width = find_width(grid)
    texts = [grid.row_texts(row) for row in sample_rows(grid, width)]
    if book is not None and book.has_numbers:
        mark, why = DecimalMark.POINT, "the sheet holds numbers, not their texts"
    else:
        mark, why = find_decimal_mark(
            [cell for row in texts for cell in row],
            text=decoded.text,
            delimiter=delimiter,
            choices=choices,
        )
    taken.append(Taken("decimal_mark", mark.name.lower(), why))
    return Table(
        encoding=decoded.encoding,
        sheet=book.sheet if book else None,
        sheets=book.sheets if book else (),
        assumptions=book.assumptions if book else (),
        grid=grid,
        width=width,
        texts=texts,
        mark=mark,
        taken=tuple(taken),
    )


def open_text(
    content: bytes,
    *,
    choices: ReadingChoices,
    limits: ReadingLimits,
    at_most: int | None = None,
) -> tuple[Workbook | None, Decoded]:
    """Return the file's text, and its workbook where it is one. Raises refusals `traces.…`.

    `at_most` bytes of a text are looked at; of a workbook always all.
    """
    if not is_workbook(content):
        return None, decode(_cut(content, at_most), limits=limits)
    book = read_workbook(content, limits=limits, sheet=choices.sheet)
    return book, check_text(book.decoded)


def _cut(content: bytes, at_most: int | None) -> bytes:
    """Return the beginning up to a line end; of UTF-16 the beginning as it is."""
    if at_most is None or len(content) <= at_most:
        return content
    head = content[:at_most]
    return head if b"\x00" in head[:64] else head[: head.rfind(b"\n") + 1] or head
