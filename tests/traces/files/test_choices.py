"""A person may correct every guess."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from app.core.refusals import Refusal
from app.traces.files import read_logger_file
from app.traces.rules import (
    Channel,
    ChannelMap,
    ChannelRole,
    ColumnChoice,
    ColumnRole,
    DecimalMark,
    Delimiter,
    ReadingChoices,
    TemperatureUnit,
    TimeFormat,
)
from app.traces.service import compose_trace
from tests.traces.files.test_workbooks import make_workbook

TEXT = b"No,Elapsed,T1,T2\n0,0,20.5,21.5\n1,5,21.5,22.5\n2,10,22.5,23.5\n"


def test_roles_are_as_chosen() -> None:
    choices = ReadingChoices(
        columns=(
            ColumnChoice(index=0, role=ColumnRole.TIME),
            ColumnChoice(index=1, role=ColumnRole.IGNORED),
            ColumnChoice(index=2, role=ColumnRole.IGNORED),
            ColumnChoice(index=3, unit=TemperatureUnit.CELSIUS),
        )
    )
    reading = read_logger_file(TEXT, choices=choices)
    assert reading.time.column == 0
    assert [column.index for column in reading.columns] == [3]
    assert reading.guesses[1].why == "you chose it"
    assert "you chose °C" in reading.guesses[3].why


def test_the_delimiter_and_the_decimal_mark_are_as_chosen() -> None:
    choices = ReadingChoices(delimiter=Delimiter.SEMICOLON, decimal_mark=DecimalMark.COMMA)
    reading = read_logger_file(b"t;T1 [C]\n0,5;20,5\n1,5;21,5\n", choices=choices)
    assert reading.columns[0].spell(0) == "20.5"


def test_the_header_is_in_the_row_chosen() -> None:
    text = b"Run,Bench,Shift\nTime [s],A,B\n0,20,21\n1,21,22\n"
    chosen = read_logger_file(text, choices=ReadingChoices(header_row=2))
    assert [g.header for g in chosen.guesses] == ["Time [s]", "A", "B"]
    none = read_logger_file(text, choices=ReadingChoices(header_row=0))
    assert [g.header for g in none.guesses] == ["", "", ""]
    assert none.header_row is None


def test_the_header_may_go_over_several_rows_and_units_stand_below_it() -> None:
    text = b"Bench 4\n,Oven,Oven\nt,left,right\ns,F,F\n0,212,213\n1,213,214\n"
    chosen = ReadingChoices(header_row=2, header_last_row=3, units_row=4)
    reading = read_logger_file(text, choices=chosen)
    assert [g.header for g in reading.guesses] == ["t", "Oven left", "Oven right"]
    assert (reading.header_row, reading.header_last_row, reading.units_row) == (2, 3, 4)
    assert {column.unit for column in reading.columns} == {TemperatureUnit.FAHRENHEIT}
    without = read_logger_file(
        text, choices=ReadingChoices(units_row=0, time_format=TimeFormat.SECONDS)
    )
    assert without.units_row is None
    assert [one.about for one in without.questions] == ["unit", "unit"]


def test_the_sheet_is_the_one_chosen() -> None:
    book = make_workbook(
        [["Time [s]", "A [C]"], [0, 20], [1, 21]], [["Time [s]", "B [F]"], [0, 70], [1, 71]]
    )
    reading = read_logger_file(book, choices=ReadingChoices(sheet="Sheet 1"))
    assert (reading.sheet, reading.sheets) == ("Sheet 1", ("Sheet 0", "Sheet 1"))
    assert reading.columns[0].header == "B [F]"
    assert reading.assumptions == ()
    with pytest.raises(Refusal) as refused:
        read_logger_file(book, choices=ReadingChoices(sheet="Sheet 9"))
    assert (refused.value.code, refused.value.field) == ("traces.no_such_sheet", "choices.sheet")
    assert "“Sheet 0”, “Sheet 1”" in refused.value.sentence


def test_the_zone_is_the_one_chosen_where_the_file_says_none() -> None:
    text = b"Time,T1 [C]\n2026-07-01 12:00:00,20\n2026-07-01 12:00:01,21\n"
    chosen = ReadingChoices(zone="Europe/Vienna")
    reading = read_logger_file(text, choices=chosen)
    assert [(t.what, t.why) for t in reading.taken if t.about == "zone"] == [
        ("Europe/Vienna", "you chose it")
    ]
    channels = ChannelMap(channels=(Channel(column=1, name="T1", role=ChannelRole.BODY),))
    trace = compose_trace(
        reading, choices=chosen, channel_map=channels, zone=ZoneInfo("Asia/Tokyo")
    )
    assert trace.started_at == datetime(2026, 7, 1, 10, tzinfo=UTC)


def test_each_thing_taken_says_why() -> None:
    reading = read_logger_file(TEXT.replace(b"Elapsed", b"Elapsed [s]"))
    why = {one.about: (one.what, one.why) for one in reading.taken}
    assert set(why) == {
        "encoding", "delimiter", "decimal_mark", "header_row", "units_row", "time_format",
    }  # fmt: skip
    assert why["delimiter"][0] == "comma"
    assert why["decimal_mark"] == ("point", "4 numbers looked at have a point and 0 a comma")
    assert why["header_row"][0] == "row 1"
    assert why["time_format"] == ("s", "its header says so")
    assert all(reason for _, reason in why.values())


@pytest.mark.parametrize("choice", ["delimiter", "decimal_mark", "header_row", "time_format"])
def test_what_a_person_chose_is_said_to_be_chosen(choice: str) -> None:
    said = {"delimiter": ",", "decimal_mark": ".", "header_row": 1, "time_format": "s"}[choice]
    reading = read_logger_file(TEXT, choices=ReadingChoices.model_validate({choice: said}))
    assert [t.why for t in reading.taken if t.about == choice] == ["you chose it"]


@pytest.mark.parametrize(
    ("choices", "code", "field"),
    [
        (ReadingChoices(units_row=9), "traces.no_such_row", "choices.units_row"),
        (
            ReadingChoices(header_row=1, header_last_row=9),
            "traces.no_such_row",
            "choices.header_last_row",
        ),
        (ReadingChoices(header_row=9), "traces.no_such_row", "choices.header_row"),
        (
            ReadingChoices(columns=(ColumnChoice(index=4, role=ColumnRole.TIME),)),
            "traces.no_such_column",
            "choices.columns.0.index",
        ),
        (ReadingChoices(delimiter=Delimiter.PIPE), "traces.one_column", "file"),
        (
            ReadingChoices(columns=(ColumnChoice(index=0, role=ColumnRole.DATE),)),
            "traces.date_without_clock",
            "choices.columns",
        ),
    ],
)
def test_choices_that_do_not_fit_the_file_are_refused(
    choices: ReadingChoices, code: str, field: str
) -> None:
    with pytest.raises(Refusal) as refused:
        read_logger_file(TEXT, choices=choices)
    assert (refused.value.code, refused.value.field) == (code, field)


def test_samples_above_a_chosen_header_are_left_out_and_counted() -> None:
    reading = read_logger_file(TEXT + TEXT, choices=ReadingChoices(header_row=5))
    assert reading.sample_count == 3
    (finding,) = reading.findings
    assert (finding.first_row, finding.last_row, finding.count) == (2, 4, 3)
    assert "3 rows from 2 to 4 hold samples above the row" in finding.sentence
