"""Excel workbooks (.xlsx) as the text of one sheet: values as kept, no formula evaluated."""

import io
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

import openpyxl

from app.core.refusals import TooLarge, Unacceptable
from app.traces.files.decoding import FIELD, Decoded
from app.traces.files.grid import LineTooLong, TooManyColumns, too_many_rows
from app.traces.files.limits import ReadingLimits
from app.traces.files.workbook_parts import WorkbookTooLarge, check_parts

SIGNATURE: Final = b"PK\x03\x04"
_MOST_PARTS: Final = 1_000
_MOST_SHEETS: Final = 50
_SHOWN_SHEETS: Final = 6
# Parts of real workbooks shrink to a tenth or a thirtieth (common practice, no source).
_LARGEST_RATIO: Final = 200
_SMALL_BYTES: Final = 1024 * 1024
_BOOK: Final = "xl/workbook.xml"
_MACROS: Final = "vbaproject.bin"
_DAY_S: Final = 86_400
_HOUR_S: Final = 3_600
_MINUTE_S: Final = 60
_FEWEST_ROWS: Final = 2
_MOST_CELLS: Final = 20_000_000
_EXACT_WHOLE: Final = 10**15
_BLANKS: Final = str.maketrans(dict.fromkeys("\t\n\r\v\f", " "))


class MacrosInside(Unacceptable):
    """The workbook holds macros."""

    code = "traces.macros_inside"


class WorkbookUnreadable(Unacceptable):
    """The archive says that it is a workbook, and cannot be read as one."""

    code = "traces.workbook_unreadable"


class NoSuchSheet(Unacceptable):
    """A choice names a sheet that the workbook does not have."""

    code = "traces.no_such_sheet"


@dataclass(frozen=True)
class Workbook:
    """The text of a sheet, tabs between the cells, and what was taken for granted about it.

    `why` says why this sheet of `sheets` was read.
    """

    decoded: Decoded
    has_numbers: bool
    assumptions: tuple[str, ...]
    sheet: str
    sheets: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class _Sheet:
    title: str
    text: str
    has_numbers: bool
    is_table: bool


def is_workbook(content: bytes) -> bool:
    """Whether the bytes are an archive with a workbook's main part in it; nothing is unpacked."""
    if not content.startswith(SIGNATURE):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return _BOOK in archive.namelist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError):
        return False


def read_workbook(content: bytes, *, limits: ReadingLimits, sheet: str | None = None) -> Workbook:
    """Return the sheet of this name, or the first with two rows of values, as text with tabs.

    Numbers are the shortest that give the kept value again, dates and times ISO to the
    millisecond; a formula is its kept result, and empty where none is kept. Links to other files
    are not followed. Raises WorkbookTooLarge, MacrosInside, WorkbookUnreadable, NoSuchSheet,
    TooManyRows, TooManyColumns and LineTooLong.
    """
    if len(content) > limits.max_bytes:
        raise WorkbookTooLarge(
            f"The file has {len(content):,} bytes; {limits.max_bytes:,} is the limit.", field=FIELD
        )
    try:
        _check_archive(content, limits=limits)
        with warnings.catch_warnings():
            # The library warns of styles and extensions that it leaves out; values are whole.
            warnings.simplefilter("ignore")
            return _read(content, limits=limits, chosen=sheet)
    except (TooLarge, Unacceptable):
        raise
    # The library raises whatever the XML of a spoilt part leads it to.
    except Exception as error:
        raise WorkbookUnreadable(
            f"The workbook cannot be read: {type(error).__name__}. Save it anew, or as CSV.",
            field=FIELD,
        ) from error


def _check_archive(content: bytes, *, limits: ReadingLimits) -> None:
    """Refuse what would unpack to too much, by the sizes that unpacking then keeps to."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = archive.infolist()
    if len(parts) > _MOST_PARTS:
        raise WorkbookTooLarge(
            f"The workbook has {len(parts):,} parts; {_MOST_PARTS:,} is the limit.", field=FIELD
        )
    unpacked = sum(part.file_size for part in parts)
    if unpacked > limits.max_unpacked_bytes:
        raise WorkbookTooLarge(
            f"The workbook unpacks to {unpacked:,} bytes; {limits.max_unpacked_bytes:,} is the "
            "limit.",
            field=FIELD,
        )
    if unpacked > max(_SMALL_BYTES, _LARGEST_RATIO * len(content)):
        raise WorkbookTooLarge(
            f"The workbook unpacks to {unpacked / len(content):.0f} times its size; "
            f"{_LARGEST_RATIO} is the limit.",
            field=FIELD,
        )
    if any(part.filename.casefold().endswith(_MACROS) for part in parts):
        raise MacrosInside(
            "The workbook holds macros; save it without them (.xlsx), or as CSV.", field=FIELD
        )
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        check_parts(archive, limits=limits)


def _read(content: bytes, *, limits: ReadingLimits, chosen: str | None) -> Workbook:
    book = openpyxl.load_workbook(
        io.BytesIO(content), read_only=True, data_only=True, keep_links=False
    )
    try:
        sheets = book.worksheets[:_MOST_SHEETS]
        names = tuple(" ".join(sheet.title.split()) for sheet in sheets)
        if chosen is not None:
            sheets = [one for one, name in zip(sheets, names, strict=True) if name == chosen]
            if not sheets:
                raise _refuse_sheet(chosen, names)
        first: _Sheet | None = None
        for sheet in sheets:
            # What a sheet says of its own size would be filled up with empty cells.
            sheet.reset_dimensions()
            found = _read_sheet(sheet.title, sheet.iter_rows(values_only=True), limits=limits)
            first = first or found
            if found.is_table:
                first = found
                break
    finally:
        book.close()
    if first is None:
        raise WorkbookUnreadable("The workbook has no sheet of cells.", field=FIELD)
    said: tuple[str, ...] = ()
    if chosen is not None:
        why = "you chose it"
    elif len(names) == 1:
        why = "the workbook has no other"
    else:
        why = "the first with rows of numbers" if first.is_table else "none has rows of numbers"
        said = (f"The sheet “{first.title}” was read, {why}; the workbook has {len(names)}.",)
    return Workbook(
        Decoded(
            first.text, f"Excel workbook, sheet “{first.title}”", "the file is an Excel workbook"
        ),
        has_numbers=first.has_numbers,
        assumptions=said,
        sheet=first.title,
        sheets=names,
        why=why,
    )


def _refuse_sheet(chosen: str, names: tuple[str, ...]) -> NoSuchSheet:
    shown = ", ".join(f"“{name}”" for name in names[:_SHOWN_SHEETS])
    return NoSuchSheet(
        f"The workbook has no sheet “{chosen}”; it has {shown}"
        f"{' and others' if len(names) > _SHOWN_SHEETS else ''}.",
        field="choices.sheet",
    )


def _read_sheet(title: str, rows: Iterator[Sequence[object]], *, limits: ReadingLimits) -> _Sheet:
    lines: list[str] = []
    size = cells = with_values = 0
    has_numbers = False
    for number, row in enumerate(rows, start=1):
        if number > limits.max_rows + limits.max_preamble_rows:
            raise too_many_rows(number, limits=limits)
        cells += len(row)
        if cells > _MOST_CELLS:
            raise WorkbookTooLarge(
                f"The sheet “{title}” spans more than {_MOST_CELLS:,} cells up to row {number}; "
                "that is the limit. Delete the empty columns that are formatted.",
                field=FIELD,
            )
        width = max((k for k, cell in enumerate(row, start=1) if cell is not None), default=0)
        if width > limits.max_columns:
            raise TooManyColumns(
                f"Row {number} has {width:,} columns; {limits.max_columns:,} is the limit.",
                field=FIELD,
            )
        line = "\t".join(map(_spell, row[:width]))
        if len(line) > limits.max_line_length:
            raise LineTooLong(
                f"Row {number} is longer than {limits.max_line_length:,} characters, which is the "
                "limit.",
                field=FIELD,
            )
        size += len(line) + 1
        if size > limits.max_unpacked_bytes:
            raise WorkbookTooLarge(
                f"The sheet “{title}” has more than {limits.max_unpacked_bytes:,} characters, "
                "which is the limit.",
                field=FIELD,
            )
        values = sum(isinstance(cell, int | float | date | time | timedelta) for cell in row)
        has_numbers = has_numbers or any(isinstance(cell, float) for cell in row)
        with_values += values > 1
        lines.append(line)
    while lines and not lines[-1]:
        lines.pop()
    return _Sheet(
        " ".join(title.split()),
        "".join(f"{line}\n" for line in lines),
        has_numbers,
        is_table=with_values >= _FEWEST_ROWS,
    )


def _spell(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return str(cell).upper()
    if isinstance(cell, int | float):
        return _spell_number(cell)
    if isinstance(cell, date | time | timedelta):
        return _spell_moment(cell)
    text = str(cell).translate(_BLANKS).strip()
    # A lone quote would swallow the cells behind it.
    return '"' + text.replace('"', '""') + '"' if '"' in text else text


def _spell_number(number: float) -> str:
    # 20.0 is kept as 20, as the sheet shows it.
    is_whole = isinstance(number, float) and number.is_integer() and abs(number) < _EXACT_WHOLE
    return repr(int(number)) if is_whole else repr(number)


def _spell_moment(moment: date | time | timedelta) -> str:
    if isinstance(moment, timedelta):
        return _spell_elapsed(moment)
    return _cut_zeros(
        moment.isoformat(sep=" ") if isinstance(moment, datetime) else moment.isoformat()
    )


def _cut_zeros(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text


def _spell_elapsed(elapsed: timedelta) -> str:
    seconds = elapsed.days * _DAY_S + elapsed.seconds
    if seconds < 0:
        return f"{seconds + elapsed.microseconds / 1e6} s"
    clock = (
        f"{seconds // _HOUR_S:02d}:{seconds % _HOUR_S // _MINUTE_S:02d}:{seconds % _MINUTE_S:02d}"
    )
    return _cut_zeros(f"{clock}.{elapsed.microseconds:06d}")
