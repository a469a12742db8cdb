"""A person may correct every guess."""

import pytest

from app.core.refusals import Refusal
from app.traces.files import read_logger_file
from app.traces.rules import (
    ColumnChoice,
    ColumnRole,
    DecimalMark,
    Delimiter,
    ReadingChoices,
    TemperatureUnit,
)

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


@pytest.mark.parametrize(
    ("choices", "code", "field"),
    [
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
