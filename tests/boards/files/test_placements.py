"""Placement files of many shapes, all inventions, read into the same lines."""

from decimal import Decimal

import pytest

from app.boards.files import (
    DecimalMark,
    Delimiter,
    LengthUnit,
    PlacementChoices,
    PlacementField,
    PlacementReading,
    read_placement_file,
)
from app.boards.rules import ChoiceUnusable, Side, UnitsDisagree

PLAIN = """Ref,Val,Package,PosX,PosY,Rot,Side
"C1","100nF","C_0402_1005Metric",10.500000,20.250000,90.000000,top
"U1","gauge","BGA-64_8x8mm",30.000000,15.000000,180.000000,top
"R7","1k, 1%","R_0603_1608Metric",5.000000,6.000000,0.000000,bottom
"""


def _read(text: str, choices: PlacementChoices | None = None) -> PlacementReading:
    return read_placement_file(text.encode(), choices=choices)


def _places(reading: PlacementReading) -> dict[str, tuple[str, str]]:
    return {line.designator: (str(line.x_mm), str(line.y_mm)) for line in reading.lines}


def _first_mm(text: str, choices: PlacementChoices | None = None) -> Decimal:
    return _read(text, choices).lines[0].x_mm


def _told(reading: PlacementReading) -> str:
    return " ".join(reading.findings)


def test_a_plain_file_is_read_whole() -> None:
    reading = _read(PLAIN)
    assert [line.designator for line in reading.lines] == ["C1", "U1", "R7"]
    first, _, last = reading.lines
    assert (first.x_mm, first.y_mm, first.rotation_deg) == (
        Decimal("10.5"),
        Decimal("20.25"),
        Decimal(90),
    )
    assert (first.package, first.side, first.line_number) == ("C_0402_1005Metric", Side.TOP, 2)
    assert (last.value, last.side) == ("1k, 1%", Side.BOTTOM)
    assert reading.refused == ()
    assert reading.missing == ()


@pytest.mark.parametrize(
    ("mark", "delimiter"),
    [
        (",", Delimiter.COMMA),
        (";", Delimiter.SEMICOLON),
        ("\t", Delimiter.TAB),
        ("|", Delimiter.PIPE),
        ("    ", Delimiter.BLANKS),
    ],
)
def test_every_common_delimiter_is_found(mark: str, delimiter: Delimiter) -> None:
    rows = ["Ref Val Package X Y Rot Side", "C1 1u C0402 1.5 2.5 90 top", "C2 1u C0402 3 4 0 bot"]
    reading = _read("\n".join(row.replace(" ", mark) for row in rows))
    assert reading.delimiter.value is delimiter
    assert _places(reading) == {"C1": ("1.5", "2.5"), "C2": ("3.0", "4.0")}


@pytest.mark.parametrize(
    ("codec", "encoding"),
    [
        ("utf-8", "UTF-8"),
        ("utf-8-sig", "UTF-8"),
        ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"),
        ("utf-16-be", "UTF-16"),
        ("cp1252", "Windows-1252"),
    ],
)
def test_every_common_encoding_is_found(codec: str, encoding: str) -> None:
    text = PLAIN.replace("100nF", "1 µF")
    reading = read_placement_file(text.encode(codec))
    assert reading.encoding == encoding
    assert reading.lines[0].value == "1 µF"
    assert reading.columns[0].title == "Ref"


def test_windows_line_ends_and_old_line_ends_count_the_same_lines() -> None:
    plain = _read(PLAIN)
    assert _read(PLAIN.replace("\n", "\r\n")).lines == plain.lines
    assert _read(PLAIN.replace("\n", "\r")).lines == plain.lines


def test_titles_in_a_comment_are_titles_and_comments_tell_unit_and_side() -> None:
    reading = _read(
        "### Places of parts\n"
        "## Unit = mil, Angle = deg.\n"
        "## Side : bottom\n"
        "# Ref    Val    Package         PosX       PosY     Rot\n"
        "C1       1u     C_0402          1000.0     500.0    90.0\n"
        "# halfway\n"
        "C2       1u     C_0402          2000.0     500.0    90.0\n"
        "## End\n"
    )
    assert reading.header_line == 4
    assert reading.unit.value is LengthUnit.MIL
    assert "line 2" in reading.unit.reason
    assert [line.side for line in reading.lines] == [Side.BOTTOM, Side.BOTTOM]
    assert _places(reading)["C1"] == ("25.40000", "12.70000")
    assert reading.refused == ()


def test_lines_above_the_titles_are_a_preamble_that_may_tell_the_unit() -> None:
    reading = _read(
        "Pick list\nUnits used: inch\n\nDesignator,Layer,Center-X,Center-Y,Rotation\n"
        "U1,TopLayer,1.5,2,0\n"
    )
    assert reading.unit.value is LengthUnit.INCH
    assert reading.lines[0].x_mm == Decimal("38.10")
    assert reading.refused == ()


@pytest.mark.parametrize(
    ("title", "cell", "exact_mm"),
    [
        ("PosX(mm)", "12.5", "12.5"),
        ("Center-X(mil)", "492", "12.4968"),
        ("X [inch]", "0.1", "2.54"),
        ("X_mil", "1", "0.0254"),
        ("X", "12.5mm", "12.5"),
        ("X", "492mil", "12.4968"),
        ("X", "0.5in", "12.7"),
        ("X", '"1"""', "25.4"),
        ("X", "123456.789012mil", "3135.8024409048"),
    ],
)
def test_units_in_titles_and_cells_are_exact(title: str, cell: str, exact_mm: str) -> None:
    # 1 mil = 0.0254 mm and 1 inch = 25.4 mm exactly (international yard and pound agreement, 1959)
    y_title = title.replace("X", "Y")
    assert _first_mm(f"Ref,{title},{y_title},Rot\nU1,{cell},{cell},0\n") == Decimal(exact_mm)


def test_a_unit_in_a_cell_goes_before_the_title_and_is_told() -> None:
    reading = _read("Ref,X(mil),Y(mil)\nU1,1mm,100\n")
    assert _places(reading) == {"U1": ("1.0", "2.54000")}
    assert "1 coordinates carry a unit of their own other than mil" in _told(reading)


def test_without_a_unit_millimetres_are_assumed_and_told() -> None:
    reading = _read(PLAIN)
    assert reading.unit.value is LengthUnit.MM
    assert reading.unit.is_assumed
    assert "millimetres were assumed" in _told(reading)


def test_an_assumed_unit_is_corrected_by_a_choice() -> None:
    choices = PlacementChoices(unit=LengthUnit.MIL)
    assert _first_mm("Ref,X,Y\nU1,1000,0\n", choices) == Decimal("25.4")


def test_a_board_that_would_be_metres_wide_raises_the_question_of_the_unit() -> None:
    assert "is mm the unit?" in _told(_read("Ref,X,Y\nU1,0,0\nU2,2400,100\n"))


def test_titles_in_two_units_are_refused_until_one_is_chosen() -> None:
    text = "Ref,X(mm),Y(mil)\nU1,1,1\n"
    with pytest.raises(UnitsDisagree) as refused:
        _read(text)
    assert refused.value.field == "unit"
    assert _first_mm(text, PlacementChoices(unit=LengthUnit.MM)) == 1


def test_a_decimal_comma_is_found_and_told() -> None:
    reading = _read("Ref;X;Y;Rot\nU1;12,5;7,25;90,5\nU2;3,0;4;0\n")
    assert reading.decimal_mark.value is DecimalMark.COMMA
    assert _places(reading) == {"U1": ("12.5", "7.25"), "U2": ("3.0", "4.0")}
    assert reading.lines[0].rotation_deg == Decimal("90.5")


def test_a_quoted_decimal_comma_stands_between_commas() -> None:
    assert _first_mm('Ref,X,Y\nU1,"12,5","7,25"\n') == Decimal("12.5")


def test_a_line_under_the_other_decimal_mark_is_refused_not_guessed() -> None:
    reading = _read("Ref;X;Y\nU1;1,5;2,5\nU2;1,5;2,5\nU3;1.5;2,5\n")
    assert [line.designator for line in reading.lines] == ["U1", "U2"]
    assert (
        reading.refused[0].reason
        == "x: “1.5” is written with a point, and the decimal mark is the comma"
    )


def test_marks_between_thousands_are_refused() -> None:
    reading = _read('Ref,X,Y\nU1,"1,234.5",2.5\n')
    assert "without marks between thousands" in reading.refused[0].reason


@pytest.mark.parametrize(
    ("top", "bottom"),
    [
        ("top", "bottom"),
        ("Top", "Bot"),
        ("T", "B"),
        ("front", "back"),
        ("F.Cu", "B.Cu"),
        ("TopLayer", "BottomLayer"),
        ("Component Side", "Solder Side"),
        ("1", "2"),
        ("1", "16"),
        ("0", "1"),
    ],
)
def test_sides_are_known_by_word_and_by_number(top: str, bottom: str) -> None:
    reading = _read(f"Ref,X,Y,Layer\nU1,1,1,{top}\nU2,2,2,{bottom}\n")
    assert [line.side for line in reading.lines] == [Side.TOP, Side.BOTTOM]
    assert ("Numbers stand for the sides" in _told(reading)) is top.isdigit()


def test_a_third_layer_is_neither_side() -> None:
    reading = _read("Ref,X,Y,Layer\nU1,1,1,1\nU2,2,2,2\nU3,2,2,3\n")
    assert reading.refused[0].reason == "side: “1” is neither top nor bottom"
    assert reading.lines == ()


def test_without_a_side_column_the_top_is_assumed_told_and_corrected() -> None:
    text = "Ref,X,Y\nU1,1,1\n"
    reading = _read(text)
    assert reading.lines[0].side is Side.TOP
    assert "taken to be on the top side" in _told(reading)
    below = _read(text, PlacementChoices(side_if_absent=Side.BOTTOM))
    assert below.lines[0].side is Side.BOTTOM


MIRRORED = "Ref,X,Y,Rot,Side\nU1,10,1,0,top\nC1,-20,2,90,bottom\nC2,-0.5,3,0,bottom\n"


def test_a_bottom_side_all_negative_is_mirrored_and_told() -> None:
    reading = _read(MIRRORED)
    assert reading.is_bottom_mirrored
    assert [line.x_mm for line in reading.lines] == [10, 20, Decimal("0.5")]
    assert reading.lines[1].rotation_deg == 90
    assert "was mirrored" in _told(reading)


def test_mirroring_is_undone_by_a_choice_and_told() -> None:
    reading = _read(MIRRORED, PlacementChoices(mirror_bottom_x=False))
    assert [line.x_mm for line in reading.lines] == [10, -20, Decimal("-0.5")]
    assert "was kept, as chosen" in _told(reading)


def test_an_origin_elsewhere_is_no_mirrored_bottom() -> None:
    reading = _read("Ref,X,Y,Side\nU1,-10,1,top\nC1,-20,2,bottom\n")
    assert not reading.is_bottom_mirrored
    assert [line.x_mm for line in reading.lines] == [-10, -20]


def test_mirroring_can_be_chosen_where_nothing_speaks_for_it() -> None:
    text = "Ref,X,Y,Side\nU1,10,1,top\nC1,20,2,bottom\n"
    reading = _read(text, PlacementChoices(mirror_bottom_x=True))
    assert [line.x_mm for line in reading.lines] == [10, -20]
    assert "as chosen" in _told(reading)


@pytest.mark.parametrize(
    ("cell", "turned"), [("-90", 270), ("360", 0), ("450.5", 90.5), ("90°", 90), ("-0", 0)]
)
def test_rotations_are_turned_into_one_round(cell: str, turned: float) -> None:
    assert _read(f"Ref,X,Y,Rot\nU1,1,1,{cell}\n").lines[0].rotation_deg == Decimal(str(turned))


def test_without_a_rotation_column_zero_is_taken_and_told() -> None:
    reading = _read("Ref,X,Y\nU1,1,1\n")
    assert reading.lines[0].rotation_deg == 0
    assert "No column gives the rotation" in _told(reading)


def test_the_more_telling_of_two_columns_is_taken_with_the_reason() -> None:
    reading = _read("Designator,Pad X,Pad Y,Mid X,Mid Y\nU1,9,9,1,2\n")
    x = next(column for column in reading.columns if column.field is PlacementField.X)
    assert (x.index, x.reason) == (3, "by its title “Mid X”, before “Pad X”")
    assert _places(reading) == {"U1": ("1.0", "2.0")}


def test_columns_are_known_by_what_stands_in_them_where_there_are_no_titles() -> None:
    reading = _read("C1,10.5,20.25,90,1uF,C_0402_1005Metric,T\nU1,3,4,0,gauge,BGA-64_8x8mm,B\n")
    first = reading.lines[0]
    assert reading.header_line == 0
    assert (first.designator, str(first.x_mm), str(first.y_mm)) == ("C1", "10.5", "20.25")
    assert (first.rotation_deg, first.value, first.side) == (Decimal(90), "1uF", Side.TOP)
    assert first.package == "C_0402_1005Metric"
    assert "by what stands in it" in reading.columns[0].reason


def test_unknown_titles_leave_the_columns_to_be_chosen() -> None:
    text = "Wo,Quer,Hoch\nU1,1,2\n"
    reading = _read(text.replace("U1,1,2", "alpha,beta,gamma"))
    assert reading.missing == (PlacementField.DESIGNATOR, PlacementField.X, PlacementField.Y)
    assert reading.lines == ()
    choices = PlacementChoices(
        header_line=1,
        columns={PlacementField.DESIGNATOR: 0, PlacementField.X: 2, PlacementField.Y: 1},
    )
    chosen = _read(text, choices)
    assert _places(chosen) == {"U1": ("2.0", "1.0")}
    assert chosen.columns[0].reason == "as chosen"


def test_a_column_can_be_left_out_by_choice() -> None:
    choices = PlacementChoices(columns={PlacementField.VALUE: None})
    assert _read(PLAIN, choices).lines[0].value == ""


def test_the_choices_of_a_reading_give_the_same_reading_again() -> None:
    for text in (PLAIN, MIRRORED, "# Ref X Y Rot\nU1 -5 2 90\nU2 1,5 2 0\n", "U1;1,5;2,5;90;b\n"):
        first = _read(text)
        spelt = PlacementChoices.model_validate_json(first.choices.model_dump_json())
        assert _read(text, spelt).lines == first.lines


@pytest.mark.parametrize(
    ("choices", "field"),
    [
        (PlacementChoices(columns={PlacementField.X: 7}), "columns.x"),
        (PlacementChoices(columns={PlacementField.X: 3, PlacementField.Y: 3}), "columns.y"),
        (PlacementChoices(header_line=99), "header_line"),
    ],
)
def test_a_choice_that_does_not_fit_the_file_is_refused(
    choices: PlacementChoices, field: str
) -> None:
    with pytest.raises(ChoiceUnusable) as refused:
        _read(PLAIN, choices)
    assert refused.value.field == field


def test_every_refused_line_keeps_its_number_and_the_reason() -> None:
    reading = _read(
        "Ref,Val,X,Y,Rot,Side\n"
        "C1,1u,1,1,0,top\n"
        ",1u,1,1,0,top\n"
        "C 3,1u,1,1,0,top\n"
        "\n"
        "C4,1u,one,1,0,top\n"
        "C5,1u,1,,0,top\n"
        "C6,1u,1,1,0,inside\n"
        "C7,1u,1,1,0,top,top\n"
        "C8,1u,1\n"
        "C9,1u,5000.001,1,0,top\n"
        'C10,"1u,1,1,0,top\n'
        f"C11,{'x' * 201},1,1,0,top\n"
        "C12,a\x01b,1,1,0,top\n"
        "C13,1u,NaN,1,0,top\n"
        "C14,1u,1,1e99,0,top\n"
        "C15,1u,1,1,99999,top\n"
    )
    assert [line.designator for line in reading.lines] == ["C1"]
    reasons = {line.line_number: line.reason for line in reading.refused}
    told = {
        3: "The designator is empty",
        4: "a blank",
        6: "x: “one” is no number",
        7: "y: the cell is empty",
        8: "side: “inside”",
        9: "7 cells and the titles 6",
        10: "y: the cell is empty",
        11: "5,000 mm from the origin is the limit",
        12: "quotation mark",
        13: "value: has 201 characters, and 200 is the limit",
        14: "U+0001",
        15: "x: “NaN” is no number",
        16: "y: “1e99” is no number",
        17: "rotation: “99999” is beyond 36,000",
    }
    assert list(reasons) == list(told)
    for number, words in told.items():
        assert words in reasons[number]
    assert reading.findings[-1] == "14 lines were refused."


def test_a_designator_twice_names_both_lines_and_keeps_the_first() -> None:
    reading = _read("Ref,X,Y\nU1,1,1\nU2,2,2\nu1,3,3\n")
    assert _places(reading) == {"U1": ("1.0", "1.0"), "U2": ("2.0", "2.0")}
    assert [(d.first_line_number, d.line_number) for d in reading.duplicates] == [(2, 4)]
    assert reading.refused[0].reason == "U1 stands on line 2 already"
    assert "U1 stands on line 2 and again on line 4" in _told(reading)


def test_a_quoted_cell_may_run_over_lines_and_the_numbers_stay_right() -> None:
    reading = _read('Ref,Val,X,Y\nU1,"two\nlines",1,1\nU2,b,x,1\n')
    assert reading.lines[0].value == "two lines"
    assert reading.refused[0].line_number == 4


def test_a_spreadsheet_s_line_about_its_delimiter_is_passed_over() -> None:
    assert _first_mm("sep=;\nRef;X;Y\nU1;1;2\n") == 1
