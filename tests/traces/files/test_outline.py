"""What a file looks like, be it readable or not."""

import codecs

from app.core.refusals import Refusal
from app.traces.files import find_outline, read_logger_file
from app.traces.rules import Delimiter, ReadingChoices
from tests.traces.files.test_workbooks import make_workbook

NOTHING = ReadingChoices()


def test_the_first_rows_have_the_numbers_that_choices_name() -> None:
    outline = find_outline(b"# run 7\n\nName;Place\nT1;left\n0;20,5\n1;21,5\n", choices=NOTHING)
    assert outline is not None
    assert [(row.number, row.cells) for row in outline.rows][:2] == [
        (3, ("Name", "Place")),
        (4, ("T1", "left")),
    ]
    assert outline.columns[1] == ("left", "20,5", "21,5")


def test_a_file_that_cannot_be_read_as_chosen_is_shown_all_the_same() -> None:
    content = b"a,b\n5,20\n5,21\n5,22\n"
    outline = find_outline(content, choices=ReadingChoices(delimiter=Delimiter.PIPE))
    assert outline is not None
    assert len(outline.columns) == 1
    outline = find_outline(content, choices=NOTHING)
    assert outline is not None
    assert outline.columns == (("5", "5", "5"), ("20", "21", "22"))


def test_sheets_are_listed_also_when_the_chosen_one_is_not_there() -> None:
    book = make_workbook([["Time [s]", "A"], [0, 1], [1, 2]], [["x"]])
    outline = find_outline(book, choices=ReadingChoices(sheet="Sheet 7"))
    assert outline is not None
    assert outline.sheets == ("Sheet 0", "Sheet 1")


def test_of_a_long_file_the_beginning_is_looked_at() -> None:
    text = "Zeit;T1 [°C]\n" + "".join(f"{k};{20 + k % 9},5\n" for k in range(60_000))
    for content in (text.encode(), codecs.BOM_UTF16_LE + text.encode("utf-16-le")):
        outline = find_outline(content, choices=NOTHING)
        assert outline is not None
        assert outline.rows[0].cells == ("Zeit", "T1 [°C]")


def test_wide_rows_say_how_many_cells_are_not_shown() -> None:
    outline = find_outline((",".join("1" * 40) + "\n").encode() * 3, choices=NOTHING)
    assert outline is not None
    assert (len(outline.rows[0].cells), outline.rows[0].more) == (12, 28)


def test_what_is_no_text_has_no_outline() -> None:
    for content in (b"", b"\x89PNG\r\n\x1a\n\x00", b"\n\n", b"PK\x03\x04"):
        assert find_outline(content, choices=NOTHING) is None
        try:
            read_logger_file(content)
        except Refusal as refusal:
            assert refusal.field == "file"  # noqa: PT017
