"""Bills of materials: groups, ranges and quantities."""

import pytest

from app.boards.files import BillChoices, BillField, BillReading, Delimiter, read_bill_file
from app.boards.files.designators import parse_designators
from app.boards.rules import DesignatorUnusable

PLAIN = """"Item","Qty","Reference(s)","Value","Footprint","PN"
"1","3","C1, C19, C25","10nF","Capacitors:C_0201_0603Metric","LAKE-C-10N"
"2","1","U3","gauge","csBGA285","LAKE-U-285"
"3","2","H1, H2","Hole","","DNP"
"""


def _read(text: str, choices: BillChoices | None = None) -> BillReading:
    return read_bill_file(text.encode(), choices=choices)


@pytest.mark.parametrize(
    ("cell", "names"),
    [
        ("C1, C19, C25", "C1 C19 C25"),
        ("C1 C2", "C1 C2"),
        ("C1;C2", "C1 C2"),
        ("R1-R4", "R1 R2 R3 R4"),
        ("R1..R4", "R1 R2 R3 R4"),
        ("R1...R3", "R1 R2 R3"),
        ("R1 – R4", "R1 R2 R3 R4"),
        ("R1 - R4", "R1 R2 R3 R4"),
        ("R9–R11,R20", "R9 R10 R11 R20"),
        ("r1-R2", "R1 R2"),
        ("R008-R011", "R008 R009 R010 R011"),
        ("R4-R4", "R4"),
        ("R0-R2", "R0 R1 R2"),
        ("R8-R0011", "R8 R9 R10 R11"),
        ("J1-A", "J1-A"),
        ("R1-C4", "R1-C4"),
        ("", ""),
        (" , ", ""),
    ],
)
def test_groups_and_ranges_are_written_out(cell: str, names: str) -> None:
    assert parse_designators(cell) == tuple(names.split())


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("R4-R1", "runs backwards"),
        ("R1-R2001", "2,001 members"),
        ("R1-R999999999", "2,000 is the limit"),
        ("R1-R2000, C1", "names 2,001 designators, and 2,000 is the limit"),
        ("R" * 33, "at most 32"),
    ],
)
def test_ranges_are_bounded(cell: str, told: str) -> None:
    with pytest.raises(DesignatorUnusable) as refused:
        parse_designators(cell)
    assert told in refused.value.sentence


def test_a_range_of_2000_is_allowed() -> None:
    assert len(parse_designators("R1-R2000")) == 2000


def test_a_bill_names_at_most_20000_designators_twice_named_ones_counted() -> None:
    reading = _read("Refs;Value\n" + "R1-R1999;1k\n" * 10 + "R1-R11;1k\nC1-C10;1k\nC1;1k\n")
    assert [line.line_number for line in reading.refused] == [12, 14]
    assert "11 designators, and 10 is what is left of the limit" in reading.refused[0].reason
    assert [len(line.designators) for line in reading.lines] == [1999, 10]


def test_a_plain_bill_is_read_whole() -> None:
    reading = _read(PLAIN)
    first, second, third = reading.lines
    assert first.designators == ("C1", "C19", "C25")
    assert (first.quantity, first.value, first.part_number) == (3, "10nF", "LAKE-C-10N")
    assert second.package == "csBGA285"
    assert (second.is_not_fitted, third.is_not_fitted) == (False, True)
    assert (reading.refused, reading.findings, reading.missing) == ((), (), ())


def test_a_quantity_that_is_not_the_count_is_told_with_its_line() -> None:
    reading = _read("Qty;Refs;Value\n3;R1-R4;1k\nfour;R5-R8;1k\n4.0;R9-R12;1k\n")
    assert reading.findings == (
        "Line 2 gives the quantity 3 and names 4 designators.",
        "Line 3: the quantity “four” is no whole number.",
    )
    assert [line.quantity for line in reading.lines] == [3, None, 4]


def test_a_designator_on_two_lines_names_both_and_stays_with_the_first() -> None:
    reading = _read("Refs;Value\nR1 R2;1k\nR2 R3;2k\nR1;3k\n")
    assert [line.designators for line in reading.lines] == [("R1", "R2"), ("R3",)]
    assert [(d.designator, d.first_line_number, d.line_number) for d in reading.duplicates] == [
        ("R2", 2, 3),
        ("R1", 2, 4),
    ]
    assert "R2 stands on line 2 and again on line 3; the first was kept." in reading.findings


def test_a_designator_twice_on_one_line_is_told() -> None:
    assert "R1 stands twice on line 2." in _read("Refs;Value\nR1 R1;1k\n").findings


def test_lines_without_designators_are_refused_with_their_numbers() -> None:
    reading = _read("Qty,Designator,Value\n1,U1,gauge\n4,,screw\n1,R9-R1,1k\n")
    assert [(line.line_number, line.reason) for line in reading.refused] == [
        (3, "no designator stands on the line"),
        (4, "the range “R9-R1” runs backwards"),
    ]


def test_a_title_row_that_begins_with_a_number_sign_is_no_lost_comment() -> None:
    reading = _read("#,Reference,Qty,Value\n1,U1,1,gauge\n")
    assert reading.header_line == 1
    assert reading.lines[0].designators == ("U1",)


def test_columns_are_corrected_by_choice() -> None:
    text = "Refs;Value;Ours;Theirs\nU1;gauge;A-1;B-1\n"
    assert _read(text).lines[0].part_number == ""
    choices = BillChoices(columns={BillField.PART_NUMBER: 3})
    assert _read(text, choices).lines[0].part_number == "B-1"


def test_a_bill_without_titles_is_known_by_what_stands_in_it() -> None:
    reading = _read('"C1, C2",2,C_0402_1005Metric,10nF\nU1,1,BGA-64_8x8mm,gauge\n')
    assert [line.designators for line in reading.lines] == [("C1", "C2"), ("U1",)]
    assert [line.quantity for line in reading.lines] == [2, 1]
    assert reading.lines[1].value == "gauge"


def test_a_bill_without_a_column_of_designators_says_so() -> None:
    reading = _read("Value,Quantity,MPN\n10nF,3,LAKE\n")
    assert reading.missing == (BillField.DESIGNATORS,)
    assert reading.findings[0] == "No column was recognised for the designators: choose it."


def test_invisible_characters_around_a_cell_are_cut() -> None:
    reading = _read("Refs,Value,MPN\n\u200eU1\u200e,gauge,\u200eLAKE-1\u200e\n")
    assert (reading.lines[0].designators, reading.lines[0].part_number) == (("U1",), "LAKE-1")


def test_characters_that_turn_the_direction_are_cut_around_a_cell_and_refused_in_it() -> None:
    reading = _read("Refs,Value,MPN\n\u202dU1\u202c,gauge, \u2068LAKE-1\u2069 \n")
    assert (reading.lines[0].designators, reading.lines[0].part_number) == (("U1",), "LAKE-1")
    reading = _read("Refs,Value,MPN\nU1,gauge,LAKE\u202e-1\nU\u20672,gauge,LAKE-1\n")
    assert [line.line_number for line in reading.refused] == [2, 3]
    assert "U+202E" in reading.refused[0].reason
    assert "U+2067" in reading.refused[1].reason


def test_the_choices_of_a_reading_give_the_same_reading_again() -> None:
    first = _read(PLAIN)
    spelt = BillChoices.model_validate_json(first.choices.model_dump_json())
    assert spelt.delimiter is Delimiter.COMMA
    assert _read(PLAIN, spelt).lines == first.lines
