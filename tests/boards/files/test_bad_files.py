"""Files that are no layout files, each refused by name."""

import gzip

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.boards.files import (
    BillChoices,
    BillField,
    DecimalMark,
    Delimiter,
    LengthUnit,
    PlacementChoices,
    PlacementField,
    read_bill_file,
    read_placement_file,
)
from app.boards.rules import Side
from app.core.refusals import Refusal

TITLES = b"Ref,Val,Package,X,Y,Rot,Side\n"
NOISE = bytes(number * number % 251 for number in range(5_000))

BAD: list[tuple[str, bytes, str, str]] = [
    ("nothing", b"", "file_empty", "empty"),
    ("blanks", b" \n\t\r\n ", "file_empty", "empty"),
    ("a byte order mark alone", b"\xef\xbb\xbf", "file_empty", "empty"),
    ("comments alone", b"# one\n# two\n", "file_empty", "comments"),
    ("titles alone", TITLES, "file_header_only", "line 1"),
    ("titles and empty cells", TITLES + b",,,,,,\n\n", "file_header_only", "line 1"),
    ("a PNG picture", b"\x89PNG\r\n\x1a\n" + NOISE, "file_not_text", "PNG"),
    ("a JPEG picture", b"\xff\xd8\xff\xe0" + NOISE, "file_not_text", "JPEG"),
    ("a PDF document", b"%PDF-1.7\n" + NOISE, "file_not_text", "PDF"),
    ("a workbook", b"PK\x03\x04" + NOISE, "file_not_text", "workbook"),
    ("an archive", gzip.compress(TITLES), "file_not_text", "gzip"),
    ("a database", b"SQLite format 3\x00" + NOISE, "file_not_text", "database"),
    ("a web page", b"<!doctype html><p>Ref,X,Y", "file_not_text", "HTML"),
    ("JSON", b'{"Ref": "U1"}', "file_not_text", "JSON"),
    ("noise", NOISE, "file_not_text", "no text"),
    ("a NUL", TITLES + b"U1,\x00,BGA,1,1,0,top\n", "file_not_text", "U+0000"),
    ("odd UTF-16", b"\xff\xfeR\x00e\x00f", "file_not_text", "UTF-16"),
    ("a half of a pair", b"\xff\xfe\x00\xd8a\x00", "file_not_text", "UTF-16"),
    ("no code page", b"Ref,X,Y\nU1,\x81,1\n", "file_not_text", "0x81"),
    ("control characters", b"Ref,X,Y\n" + b"\x01" * 50, "file_not_text", "control"),
    ("10 MB and a byte", b"a" * 10_000_001, "file_too_large", "10,000,000"),
    ("2 million lines", b"1,2\n" * 2_000_000, "file_too_long", "2,000,000 lines; at most 20,000"),
    ("20,001 lines", TITLES + b"U1,a,b,1,1,0,top\n" * 20_000, "file_too_long", "20,001"),
    ("201 columns", TITLES + b"1," * 200 + b"1\n", "file_too_wide", "201 cells; at most 200"),
]


@pytest.mark.parametrize(("content", "code", "told"), [pytest.param(*b[1:], id=b[0]) for b in BAD])
@pytest.mark.parametrize("read", [read_placement_file, read_bill_file])
def test_a_bad_file_is_refused_by_what_is_wrong_with_it(
    read: object, content: bytes, code: str, told: str
) -> None:
    reader = read_placement_file if read is read_placement_file else read_bill_file
    if reader is read_bill_file:
        content = content.replace(TITLES, b"Ref,Val,Package,Qty,MPN,A,B\n")
    with pytest.raises(Refusal) as refused:
        reader(content)
    assert refused.value.code == f"boards.{code}"
    assert told in refused.value.sentence
    assert refused.value.field == "file"


def test_20000_lines_are_read() -> None:
    rows = b"".join(b"U%d,a,b,1,1,0,top\n" % number for number in range(19_999))
    assert len(read_placement_file(TITLES + rows).lines) == 19_999


def test_a_line_of_10_megabytes_is_refused_with_the_limit() -> None:
    reading = read_placement_file(TITLES + b"U1,a,b,1,1,0,top\n" + b"x" * 9_000_000)
    assert len(reading.lines) == 1
    assert "at most 20,000 are read" in reading.refused[0].reason
    assert len(reading.refused[0].text) == 200


def test_a_quote_that_is_never_closed_refuses_its_line_alone() -> None:
    rows = b"".join(b"U%d,a,b,1,1,0,top\n" % number for number in range(100))
    reading = read_placement_file(TITLES + b'C1,"a,b,1,1,0,top\n' + rows)
    assert [line.line_number for line in reading.refused] == [2]
    assert len(reading.lines) == 100


CELLS = st.one_of(
    st.sampled_from(
        ["U1", "C1-C9", "R1..R9", "top", "B", "1", "16", "1.5", "-2,5", "3mil", "1e9", "NaN", "inf"]
    ),
    st.sampled_from(["Ref", "PosX(mm)", "PosY(mil)", "Rot", "Side", "Qty", "Value", "", '"', "#"]),
    st.text(max_size=12),
)
TABLES = st.builds(
    lambda rows, mark, end, codec: end.join(mark.join(row) for row in rows).encode(
        codec, "surrogatepass" if codec != "cp1252" else "replace"
    ),
    st.lists(st.lists(CELLS, max_size=9), max_size=12),
    st.sampled_from([",", ";", "\t", "|", "  ", '","']),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from(["utf-8", "utf-16", "cp1252"]),
)
FILES = st.one_of(st.binary(max_size=400), TABLES, st.text(max_size=300).map(str.encode))
COLUMNS = st.one_of(st.none(), st.integers(0, 9))
HEADER_LINES = st.one_of(st.none(), st.integers(0, 5))
DELIMITERS = st.one_of(st.none(), st.sampled_from(Delimiter))
PLACEMENT_CHOICES = st.builds(
    PlacementChoices,
    delimiter=DELIMITERS,
    header_line=HEADER_LINES,
    decimal_mark=st.one_of(st.none(), st.sampled_from(DecimalMark)),
    unit=st.one_of(st.none(), st.sampled_from(LengthUnit)),
    columns=st.dictionaries(st.sampled_from(PlacementField), COLUMNS, max_size=3),
    mirror_bottom_x=st.one_of(st.none(), st.booleans()),
    side_if_absent=st.one_of(st.none(), st.sampled_from(Side)),
)
BILL_CHOICES = st.builds(
    BillChoices,
    delimiter=DELIMITERS,
    header_line=HEADER_LINES,
    columns=st.dictionaries(st.sampled_from(BillField), COLUMNS, max_size=3),
)


@settings(max_examples=400)
@given(FILES, st.one_of(st.none(), PLACEMENT_CHOICES))
def test_whatever_is_sent_as_a_placement_gives_a_reading_or_a_refusal(
    content: bytes, choices: PlacementChoices | None
) -> None:
    try:
        reading = read_placement_file(content, choices=choices)
    except Refusal:
        return
    assert read_placement_file(content, choices=reading.choices).lines == reading.lines
    assert all(abs(line.x_mm) <= 5_000 and 0 <= line.rotation_deg < 360 for line in reading.lines)
    assert len({line.designator for line in reading.lines}) == len(reading.lines)


@settings(max_examples=400)
@given(FILES, st.one_of(st.none(), BILL_CHOICES))
def test_whatever_is_sent_as_a_bill_gives_a_reading_or_a_refusal(
    content: bytes, choices: BillChoices | None
) -> None:
    try:
        reading = read_bill_file(content, choices=choices)
    except Refusal:
        return
    assert read_bill_file(content, choices=reading.choices).lines == reading.lines
    named = [name for line in reading.lines for name in line.designators]
    assert len(set(named)) == len(named)
