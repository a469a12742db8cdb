"""A layout file as a grid: its delimiter, its titles, its rows, and why they were taken so."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Generic, TypeVar

from app.boards.files.cells import Comment, RefusedLine, Row, cut_lines, refuse_line, split_cells
from app.boards.files.choices import Delimiter, GridChoices
from app.boards.files.columns import F, Titles, count_titles
from app.boards.files.text import FileText, read_text
from app.boards.rules import (
    LINE_LENGTH_MAX,
    ChoiceUnusable,
    FileEmpty,
    FileHeaderOnly,
)

_LINES_LOOKED_AT: Final = 100
# One recognised title may be a value by accident; two are a row of titles.
_TITLES_MIN: Final = 2

T = TypeVar("T")


@dataclass(frozen=True)
class Guess(Generic[T]):
    """A value and why it was taken; is_assumed when nothing in the file speaks for it."""

    value: T
    reason: str
    is_assumed: bool = False


@dataclass(frozen=True)
class Grid:
    """The cells of a file. header_line is 0 where there are no titles."""

    encoding: str
    delimiter: Guess[Delimiter]
    header_line: int
    header: tuple[str, ...]
    preamble: tuple[Row, ...]
    rows: tuple[Row, ...]
    comments: tuple[Comment, ...]
    refused: tuple[RefusedLine, ...]
    findings: tuple[str, ...]

    @property
    def width(self) -> int:
        """How many columns there are to choose from."""
        return max([len(self.header), *(len(row.cells) for row in self.rows)])


def read_grid(content: bytes, *, titles: Titles[F], choices: GridChoices) -> Grid:
    """Read a file into rows beneath a row of titles, if it has one.

    Raises the refusals of read_text, and FileEmpty, FileHeaderOnly, FileTooWide, ChoiceUnusable.
    """
    file = read_text(content)
    delimiter = _settle_delimiter(file, titles=titles, chosen=choices.delimiter)
    cut = cut_lines(file.lines, delimiter=delimiter.value)
    if not cut.rows and not cut.refused:
        raise FileEmpty("The file holds nothing but comments.", field="file")
    header_line, header = _settle_header(
        cut.rows,
        cut.comments,
        titles=titles,
        delimiter=delimiter.value,
        chosen=choices.header_line,
    )
    is_comment = any(comment.line_number == header_line for comment in cut.comments)
    # Titles in a comment end no preamble: what stands above them would be refused, not lost.
    first = 0 if is_comment else header_line
    rows = tuple(row for row in cut.rows if row.line_number > first)
    if not rows and not cut.refused:
        raise FileHeaderOnly(
            f"The file has titles on line {header_line} and no line beneath them.", field="file"
        )
    fitting, too_wide = _part_by_width(rows, width=len(header))
    return Grid(
        encoding=file.encoding,
        delimiter=delimiter,
        header_line=header_line,
        header=header,
        preamble=tuple(row for row in cut.rows if row.line_number < first),
        rows=fitting,
        comments=cut.comments,
        refused=cut.refused + too_wide,
        findings=file.findings,
    )


def _settle_delimiter(
    file: FileText, *, titles: Titles[F], chosen: Delimiter | None
) -> Guess[Delimiter]:
    if chosen is not None:
        return Guess(chosen, "as chosen")
    lines = [line for line in file.lines if line.strip()][:_LINES_LOOKED_AT]
    best: tuple[tuple[int, float, int], Delimiter] | None = None
    for delimiter in Delimiter:
        score = _score(lines, titles=titles, delimiter=delimiter)
        if best is None or score > best[0]:
            best = (score, delimiter)
    if best is None or best[0][2] < _TITLES_MIN:
        return Guess(Delimiter.COMMA, "no line comes apart: commas were assumed", is_assumed=True)
    (known, share, width), delimiter = best
    if known:
        return Guess(delimiter, f"{known} titles are recognised when it parts the cells")
    return Guess(delimiter, f"{share:.0%} of the lines come apart into {width} cells")


def _score(
    lines: Sequence[str], *, titles: Titles[F], delimiter: Delimiter
) -> tuple[int, float, int]:
    known = 0
    widths: Counter[int] = Counter()
    for line in lines:
        bare = line.strip().lstrip("#")[:LINE_LENGTH_MAX]
        cells = split_cells(bare, delimiter=delimiter) or []
        known = max(known, count_titles(cells, titles))
        if not line.lstrip().startswith("#"):
            widths[len(cells)] += 1
    width, lines_of_width = widths.most_common(1)[0] if widths else (0, 0)
    share = lines_of_width / max(len(lines), 1) if width >= _TITLES_MIN else 0.0
    return known, round(share, 3), width


def _settle_header(
    rows: Sequence[Row],
    comments: Sequence[Comment],
    *,
    titles: Titles[F],
    delimiter: Delimiter,
    chosen: int | None,
) -> tuple[int, tuple[str, ...]]:
    if chosen == 0:
        return 0, ()
    as_rows = [
        Row(comment.line_number, tuple(split_cells(comment.text, delimiter=delimiter) or ()))
        for comment in comments
    ]
    if chosen is not None:
        for row in (*rows, *as_rows):
            if row.line_number == chosen:
                return chosen, row.cells
        raise ChoiceUnusable(
            f"Line {chosen} was chosen for the titles, and no cells stand there.",
            field="header_line",
        )
    # Titles stand in a line of their own, or in a comment above the first line of parts.
    for candidates in (rows[:_LINES_LOOKED_AT], as_rows[:_LINES_LOOKED_AT]):
        scored = [(count_titles(row.cells, titles), -row.line_number, row) for row in candidates]
        best = max(scored, key=lambda one: one[:2], default=None)
        if best is not None and best[0] >= _TITLES_MIN:
            return best[2].line_number, best[2].cells
    return 0, ()


def _part_by_width(
    rows: Sequence[Row], *, width: int
) -> tuple[tuple[Row, ...], tuple[RefusedLine, ...]]:
    """Refuse rows with more cells than titles: a stray delimiter has moved their columns."""
    if not width:
        return tuple(rows), ()
    fitting: list[Row] = []
    refused: list[RefusedLine] = []
    for row in rows:
        if any(row.cells[width:]):
            reason = (
                f"the line has {len(row.cells)} cells and the titles {width}:"
                " a cell that holds the delimiter must be quoted"
            )
            refused.append(refuse_line(row.line_number, reason, row.cells))
        else:
            fitting.append(row)
    return tuple(fitting), tuple(refused)
