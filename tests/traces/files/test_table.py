"""Delimiters, quotes, remarks, headers: where the samples of a file stand."""

import pytest

from app.core.refusals import Refusal
from app.traces.files import FindingKind, read_logger_file
from app.traces.rules import ColumnRole, DecimalMark, Delimiter


@pytest.mark.parametrize("mark", list(Delimiter))
def test_each_delimiter_is_found(mark: Delimiter) -> None:
    text = "Time [s]|T1 [C]|T2 [C]\n0|20.5|21\n1|22.5|23\n".replace("|", mark.value)
    reading = read_logger_file(text.encode())
    assert reading.delimiter is mark
    assert [c.spell(1) for c in reading.columns] == ["22.5", "23"]


def test_a_decimal_comma_is_found_beside_semicolons() -> None:
    reading = read_logger_file(b"Zeit [s];T1 [C]\n0,0;20,25\n0,5;21\n1,0;-1,5\n")
    assert reading.decimal_mark is DecimalMark.COMMA
    assert reading.columns[0].temperature_c().tolist() == [20.25, 21.0, -1.5]
    assert reading.time.elapsed_s().tolist() == [0.0, 0.5, 1.0]


def test_a_decimal_comma_may_be_rare() -> None:
    rows = "".join(f"{k};{20 + k % 3}\n" for k in range(900))
    reading = read_logger_file(f"Time [s];T1 [C]\n0,5;20,5\n{rows[5:]}".encode())
    assert reading.decimal_mark is DecimalMark.COMMA
    assert reading.columns[0].decimals == 1


def test_quoted_cells_may_hold_the_delimiter_and_a_decimal_comma() -> None:
    reading = read_logger_file(b'"Time, s","T ""1"", [C]"\n"0,0","20,5"\n"1,0","21,5"\n')
    assert reading.guesses[1].header == 'T "1", [C]'
    assert reading.columns[0].temperature_c().tolist() == [20.5, 21.5]


def test_an_unpaired_quote_is_a_character_like_others() -> None:
    reading = read_logger_file(b'Time [s],2" edge [C]\n0,20.5\n1,21.5\n')
    assert reading.guesses[1].header == '2" edge [C]'


def test_the_line_that_tells_a_spreadsheet_the_delimiter_is_followed() -> None:
    reading = read_logger_file(b"sep=;\nTime [s];T1 [C]\n0;20.5\n1;21.5\n")
    assert reading.delimiter is Delimiter.SEMICOLON
    assert reading.header_row == 2


@pytest.mark.parametrize("lead", ["#", ";", "  # "])
def test_remarks_are_no_rows(lead: str) -> None:
    text = f"{lead} run 4, bench 2\nTime [s],T1 [C]\n0,20.5\n{lead} paused, 3\n1,21.5\n"
    reading = read_logger_file(text.encode())
    assert reading.rows.tolist() == [3, 5]
    assert any("run 4" in line for line in reading.preamble)


def test_a_header_may_stand_in_the_last_remark() -> None:
    reading = read_logger_file(b"# logged at bench 2\n# Time [s], T1 [F]\n0,70.5\n1,71.5\n")
    assert reading.header_row == 2
    assert reading.guesses[1].header == "T1 [F]"


def test_lines_above_the_header_are_kept_as_preamble() -> None:
    text = "Operator,Odile\nInterval,5\n\nTime,T1,T2,T3\ns,°C,°C,°C\n0,20,21,22\n5,21,22,23\n"
    reading = read_logger_file(text.encode())
    assert (reading.header_row, reading.units_row) == (4, 5)
    assert reading.rows.tolist() == [6, 7]
    assert [guess.header for guess in reading.guesses] == ["Time", "T1", "T2", "T3"]
    assert reading.preamble[:2] == ("1: Operator Odile", "2: Interval 5")


def test_a_header_of_two_lines_is_joined() -> None:
    text = "Time,Ch 1,Ch 2\n[s],Joint [C],Body [C]\n0,20,21\n5,21,22\n"
    reading = read_logger_file(text.encode())
    assert [g.header for g in reading.guesses] == ["Time [s]", "Ch 1 Joint [C]", "Ch 2 Body [C]"]


def test_channels_named_by_numbers_are_a_header() -> None:
    reading = read_logger_file(b"Time [s],1,2\n0,20,21\n5,21,22\n")
    assert reading.header_row == 1
    assert [guess.header for guess in reading.guesses] == ["Time [s]", "1", "2"]


def test_a_file_without_header_is_read_and_its_time_supposed() -> None:
    reading = read_logger_file(b"0,20.5\n1,20.5\n2,20.1\n")
    assert reading.header_row is None
    assert reading.sample_count == 3
    assert "Column 1 was taken for the time" in reading.assumptions[0]


def test_blank_lines_and_trailing_empty_columns_are_left_out() -> None:
    reading = read_logger_file(b"Time [s],T1 [C],,\n0,20.5,,\n,,,\n\n1,21.5,,\n")
    assert reading.sample_count == 2
    assert [g.role for g in reading.guesses[2:]] == [ColumnRole.IGNORED] * 2
    assert "no value" in reading.guesses[2].why


def test_a_column_that_fills_late_is_no_empty_one() -> None:
    rows = "".join(f"{k},20.5,{'30.5' if k == 3 else ''}\n" for k in range(600))
    reading = read_logger_file(("Time [s],T1 [C],T2 [C]\n" + rows).encode())
    assert reading.columns[1].spell(3) == "30.5"
    assert reading.columns[1].missing.sum() == 599


def test_a_header_repeated_in_mid_file_is_left_out_and_listed() -> None:
    reading = read_logger_file(b"Time [s],T1 [C]\n0,20\n1,21\nTime [s],T1 [C]\n2,22\n3,23\n")
    assert reading.rows.tolist() == [2, 3, 5, 6]
    (finding,) = reading.findings
    assert (finding.kind, finding.first_row, finding.count) == (FindingKind.REPEATED_HEADER, 4, 1)


def test_a_line_of_text_in_mid_file_is_left_out_and_listed() -> None:
    reading = read_logger_file(b"Time [s],T1 [C]\n0,20\nLogger paused\n2,22\nEnd of data\n")
    (finding,) = reading.findings
    assert (finding.kind, finding.first_row, finding.last_row) == (FindingKind.TEXT_ROWS, 3, 5)


def test_a_last_row_that_was_cut_off_is_left_out_and_listed() -> None:
    reading = read_logger_file(b"Time [s],T1 [C],T2 [C]\n0,20,21\n1,21,22\n2,2")
    assert reading.sample_count == 2
    (finding,) = reading.findings
    assert (finding.kind, finding.first_row) == (FindingKind.CUT_OFF, 4)


def test_a_short_row_misses_what_it_lacks() -> None:
    reading = read_logger_file(b"Time [s],T1 [C],T2 [C]\n0,20,21\n1,21\n2,22,23\n")
    assert reading.columns[1].missing.tolist() == [False, True, False]
    assert {f.kind for f in reading.findings} == {FindingKind.SHORT_ROWS, FindingKind.EMPTY}


def test_a_remark_behind_the_last_column_is_listed() -> None:
    reading = read_logger_file(b"Time [s],T1 [C]\n0,20\n1,21,lamp on\n2,22\n3,23\n4,24\n")
    (finding,) = reading.findings
    assert (finding.kind, finding.first_row) == (FindingKind.EXTRA_CELLS, 3)


def test_unquoted_decimal_commas_between_commas_are_refused_with_the_row() -> None:
    with pytest.raises(Refusal) as refused:
        read_logger_file(b"Time [s],T1 [C]\n0,20,5\n1,21,5\n2,22,5\n")
    assert refused.value.code == "traces.row_too_wide"
    assert "Row 2" in refused.value.sentence
    assert "column 3" in refused.value.sentence


def test_each_column_says_what_it_was_taken_for_and_why() -> None:
    text = "No,Time [s],T1 [C],Flow [l/min],Alarm,Note\n" + "".join(
        f"{k},{k * 5},2{k}.5,12,0,ok\n" for k in range(5)
    )
    guesses = read_logger_file(text.encode()).guesses
    assert [guess.role.value for guess in guesses] == [
        "ignored",
        "time",
        "temperature",
        "ignored",
        "ignored",
        "ignored",
    ]
    assert "running number" in guesses[0].why
    assert "“l/min”" in guesses[3].why
    assert "alarm" in guesses[4].why
    assert "text" in guesses[5].why
    assert guesses[2].samples[0].endswith(".5")
