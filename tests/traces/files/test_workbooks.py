"""Excel workbooks: values as kept, and every way in which one is none."""

import io
import zipfile
from datetime import datetime, time, timedelta
from typing import Any

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.core.refusals import Refusal
from app.traces.files import FindingKind, ReadingLimits, read_logger_file

Rows = list[list[Any]]

HEADER: list[Any] = ["Time [s]", "T1 [C]"]
HALF = b"<v>0.5</v>"
ROWS: Rows = [HEADER, [0, 20.5], [0.5, 21.25], [1.0, 22]]


def make_workbook(*sheets: Rows) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for place, rows in enumerate(sheets):
        sheet = book.create_sheet(f"Sheet {place}")
        for row in rows:
            sheet.append(row)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def change_part(content: bytes, name: str, change: bytes | None, *, old: bytes = b"") -> bytes:
    """Replace `old` in one part by `change`, or the whole part; None takes the part out."""
    changed = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as archive,
        zipfile.ZipFile(changed, "w", zipfile.ZIP_DEFLATED) as into,
    ):
        for part in archive.namelist():
            if part != name:
                into.writestr(part, archive.read(part))
            elif change is not None:
                into.writestr(part, archive.read(part).replace(old, change) if old else change)
        if name not in archive.namelist() and change is not None:
            into.writestr(name, change)
    return changed.getvalue()


def refuse(content: bytes, limits: ReadingLimits | None = None) -> Refusal:
    with pytest.raises(Refusal) as refused:
        read_logger_file(content, limits=limits or ReadingLimits())
    return refused.value


def test_numbers_are_the_shortest_that_give_the_kept_ones_again() -> None:
    rows = [HEADER, [0, 0.1], [0.5, 20.5], [1, 21]]
    sheet = "xl/worksheets/sheet1.xml"
    # What a sum of three tenths is kept as; times have nine decimals at most.
    content = change_part(make_workbook(rows), sheet, b"<v>0.30000000000000004</v>", old=HALF)
    reading = read_logger_file(content)
    np.testing.assert_array_equal(reading.time.elapsed_s(), [0.0, 0.3, 1.0])
    assert reading.findings[0].kind is FindingKind.ROUNDED
    assert [reading.columns[0].spell(k) for k in range(3)] == ["0.1", "20.5", "21.0"]
    assert reading.encoding == "Excel workbook, sheet “Sheet 0”"
    assert reading.assumptions == ()


def test_a_workbook_and_the_same_table_as_text_are_read_alike() -> None:
    book = read_logger_file(make_workbook(ROWS))
    text = read_logger_file(b"Time [s]\tT1 [C]\n0\t20.5\n0.5\t21.25\n1\t22\n")
    np.testing.assert_array_equal(book.time.ticks, text.time.ticks)
    np.testing.assert_array_equal(book.columns[0].values, text.columns[0].values)
    assert book.guesses == text.guesses


def test_dates_with_times_are_absolute_to_the_millisecond() -> None:
    start = datetime(2026, 5, 4, 10, 0, 0, 250_000)  # noqa: DTZ001 a logger's own clock
    rows: Rows = [["When", "T1 [C]"]]
    rows += [[start + timedelta(milliseconds=500 * k), 20 + k] for k in range(3)]
    reading = read_logger_file(make_workbook(rows))
    assert reading.time.spell(0) == "2026-05-04T10:00:00.25"
    np.testing.assert_array_equal(reading.time.elapsed_s(), [0.0, 0.5, 1.0])
    assert reading.questions == ()


def test_clock_times_and_elapsed_times_are_read() -> None:
    clock: Rows = [["Time", "T1 [C]"], [time(9, 0, 0), 20], [time(9, 0, 1, 500_000), 21]]
    elapsed: Rows = [["Time", "T1 [C]"], [timedelta(0), 20], [timedelta(hours=30), 21]]
    assert read_logger_file(make_workbook(clock)).time.elapsed_s()[1] == 1.5
    assert read_logger_file(make_workbook(elapsed)).time.elapsed_s()[1] == 108_000.0


def test_rows_are_the_sheets_own_and_blank_ones_count() -> None:
    reading = read_logger_file(make_workbook([["Run 7"], [], *ROWS]))
    assert reading.rows.tolist() == [4, 5, 6]
    assert reading.header_row == 3


def test_the_first_sheet_with_rows_of_numbers_is_read_and_named() -> None:
    reading = read_logger_file(make_workbook([["Notes"], ["by the window"]], ROWS, ROWS))
    assert reading.sample_count == 3
    assert "“Sheet 1” was read" in reading.assumptions[0]
    assert "has 3" in reading.assumptions[0]


def test_a_formula_is_its_kept_result_and_empty_without_one() -> None:
    content = make_workbook([HEADER, [0, 20], [1, "=B2+1"], [2, 22]])
    reading = read_logger_file(content)
    assert reading.columns[0].missing.tolist() == [False, True, False]
    result = (b"<f>B2+1</f><v/>", b"<f>B2+1</f><v />", b"<f>B2+1</f><v></v>")
    kept = content
    for empty in result:
        kept = change_part(kept, "xl/worksheets/sheet1.xml", b"<f>B2+1</f><v>77</v>", old=empty)
    assert read_logger_file(kept).columns[0].spell(1) == "77"


def test_words_and_quotes_in_cells_stay_in_their_cells() -> None:
    content = make_workbook([["Time [s]", 'T"1 [C]'], [0, 20], [1, "OPEN"], [2, 'x"\ty'], [3, 9]])
    reading = read_logger_file(content)
    assert reading.columns[0].header == 'T"1 [C]'
    assert reading.columns[0].missing.tolist() == [False, True, True, False]


def test_an_archive_that_unpacks_to_too_much_is_refused_before_it_is_unpacked() -> None:
    bomb = change_part(make_workbook(ROWS), "xl/media/fill.bin", b"\0" * 30_000_000)
    refusal = refuse(bomb)
    assert refusal.code == "traces.workbook_too_large"
    assert "times its size; 200 is the limit" in refusal.sentence
    small = ReadingLimits(max_unpacked_bytes=10_000_000)
    assert "10,000,000 is the limit" in refuse(bomb, small).sentence


SHEET = "xl/worksheets/sheet1.xml"
OPEN_SHEET = (
    b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
)
CLOSE_SHEET = b"</sheetData></worksheet>"


@pytest.mark.parametrize(
    ("part", "text", "what"),
    [
        (SHEET, OPEN_SHEET + b"<row/>" * 30_001 + CLOSE_SHEET, "more than 30,000 elements"),
        (SHEET, OPEN_SHEET + b"<row>" * 100, "more than 64 deep"),
        (
            SHEET,
            OPEN_SHEET + b"<row>" + b"<c/>" * 241 + b"</row>" + CLOSE_SHEET,
            "a row of more than 30 cells",
        ),
        (
            SHEET,
            b'<x:worksheet xmlns:x="urn:x"><x:a><x:b>' + b"<x:c/>" * 241 + b"</x:b></x:a>",
            "a row of more than 30 cells",
        ),
        ("xl/styles.xml", b"<styleSheet>" + b"<xf/>" * 2_001, "more than 2,000 elements"),
        ("xl/hidden.bin", b"<styleSheet>" + b"<xf/>" * 2_001, "more than 2,000 elements"),
    ],
)
def test_a_small_archive_that_would_take_minutes_to_read_is_refused_at_once(
    part: str, text: bytes, what: str
) -> None:
    limits = ReadingLimits(max_columns=30, max_workbook_elements=30_000, max_part_elements=2_000)
    assert read_logger_file(make_workbook(ROWS), limits=limits).sample_count == 3
    refusal = refuse(change_part(make_workbook(ROWS), part, text), limits)
    assert refusal.code == "traces.workbook_too_large"
    assert what in refusal.sentence


def test_the_elements_of_all_parts_are_counted_together() -> None:
    sheets = [[HEADER, *([k, 20.5] for k in range(900))] for _ in range(4)]
    content = make_workbook(*sheets)
    assert read_logger_file(content).sample_count == 900
    # Two elements a cell and one a row are 4,500 a sheet.
    refusal = refuse(content, ReadingLimits(max_workbook_elements=12_000))
    assert refusal.code == "traces.workbook_too_large"
    assert "more than 12,000 elements with those before it" in refusal.sentence


def test_entities_that_multiply_are_refused() -> None:
    lines = b"".join(b'<!ENTITY e%d "%s">' % (k, b"&e%d;" % (k - 1) * 10) for k in range(1, 10))
    sheet = b'<!DOCTYPE s [<!ENTITY e0 "0123456789">' + lines + b"]><worksheet><sheetData><row>"
    sheet += b'<c t="str"><v>&e9;</v></c></row></sheetData></worksheet>'
    bomb = change_part(make_workbook(ROWS), "xl/worksheets/sheet1.xml", sheet)
    assert refuse(bomb).code == "traces.workbook_unreadable"


def test_macros_are_refused() -> None:
    refusal = refuse(change_part(make_workbook(ROWS), "xl/vbaProject.bin", b"macros"))
    assert refusal.code == "traces.macros_inside"


def test_rows_and_columns_beyond_the_limits_are_refused_with_the_limit() -> None:
    many = make_workbook([HEADER, *([k, 20.5] for k in range(60))])
    refusal = refuse(many, ReadingLimits(max_rows=40, max_preamble_rows=10))
    assert refusal.code == "traces.too_many_rows"
    assert "40 is the limit" in refusal.sentence
    wide = refuse(make_workbook([list(range(40))]), ReadingLimits(max_columns=30))
    assert (wide.code, "Row 1 has 40 columns" in wide.sentence) == ("traces.too_many_columns", True)


def test_a_sheet_that_says_it_is_vast_is_read_by_its_rows() -> None:
    said = b'<dimension ref="A1:XFD1048576"/>'
    content = change_part(
        make_workbook(ROWS), "xl/worksheets/sheet1.xml", said, old=b'<dimension ref="A1:B4"/>'
    )
    assert content != make_workbook(ROWS)
    assert read_logger_file(content).sample_count == 3


def test_a_row_of_a_vast_number_is_refused_by_the_limit() -> None:
    content = change_part(
        make_workbook(ROWS), "xl/worksheets/sheet1.xml", b'<row r="999999999"', old=b'<row r="4"'
    )
    assert refuse(content).code in {"traces.too_many_rows", "traces.workbook_unreadable"}


def test_archives_that_are_no_workbooks_and_broken_ones_are_refused() -> None:
    whole = make_workbook(ROWS)
    assert refuse(change_part(whole, "xl/workbook.xml", None)).code == "traces.not_text"
    assert refuse(whole[: len(whole) // 2]).code == "traces.not_text"
    broken = change_part(whole, "xl/worksheets/sheet1.xml", b"<worksheet><sheetData><row>")
    assert refuse(broken).code == "traces.workbook_unreadable"
    assert refuse(make_workbook([])).code == "traces.empty_file"


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_spoilt_workbooks_are_read_or_refused(data: st.DataObject) -> None:
    content = make_workbook(ROWS)
    parts = ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/styles.xml", "[Content_Types].xml"]
    name = data.draw(st.sampled_from(parts))
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        part = archive.read(name)
    start = data.draw(st.integers(0, len(part)))
    end = data.draw(st.integers(start, min(len(part), start + 30)))
    piece = data.draw(
        st.sampled_from([b"", b"<", b'"', b"\xff", b"9" * 30, b"&x;", b"1e999", b"NaN", b"A0"])
    )
    spoilt = change_part(content, name, part[:start] + piece + part[end:])
    try:
        reading = read_logger_file(spoilt)
    except Refusal as refusal:
        said = (refusal.code.split(".")[0], len(refusal.sentence) < 2_000)
    else:
        said = ("traces", reading.sample_count > 1)
    assert said == ("traces", True)
