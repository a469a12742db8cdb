"""Times in every way of writing: exact ticks, bridged midnights, refused disorder."""

import pytest

from app.core.refusals import Refusal
from app.traces.files import FindingKind, LoggerReading, read_logger_file
from app.traces.rules import ReadingChoices, TimeFormat


def read_times(header: str, *times: str, choices: ReadingChoices | None = None) -> LoggerReading:
    rows = "".join(f"{time};20.5\n" for time in times)
    return read_logger_file(f"{header};T1 [C]\n{rows}".encode(), choices=choices)


def refuse_times(header: str, *times: str) -> Refusal:
    with pytest.raises(Refusal) as refused:
        read_times(header, *times)
    return refused.value


@pytest.mark.parametrize(
    ("header", "times", "form", "elapsed_s", "exponent"),
    [
        ("Time [s]", ("0.0", "0.5", "1"), TimeFormat.SECONDS, [0, 0.5, 1], -1),
        ("t/ms", ("250", "500", "1000"), TimeFormat.MILLISECONDS, [0, 0.25, 0.75], -3),
        ("Time_ms", ("0.5", "1", "2"), TimeFormat.MILLISECONDS, [0, 0.0005, 0.0015], -4),
        ("Elapsed (min)", ("0", "0.05", "0.1"), TimeFormat.MINUTES, [0, 3, 6], -2),
        ("Time hours", ("0", "0.5", "1.5"), TimeFormat.HOURS, [0, 1800, 5400], -1),
        ("seconds", ("-5", "0", "5"), TimeFormat.SECONDS, [0, 5, 10], 0),
        ("Time", ("0:00:00", "0:00:05", "1:00:00"), TimeFormat.HH_MM_SS, [0, 5, 3600], 0),
        ("Time", ("00:00:00.250", "00:00:01,5"), TimeFormat.HH_MM_SS, [0, 1.25], -3),
        ("Time", ("25:00:00", "125:00:00"), TimeFormat.HH_MM_SS, [0, 360000], 0),
        ("Time", ("11:59:59 AM", "12:00:00 pm"), TimeFormat.HH_MM_SS, [0, 1], 0),
        ("Time", ("59:59.5", "60:00.0"), TimeFormat.MM_SS, [0, 0.5], -1),
        ("Time mm:ss", ("01:00", "02:30"), TimeFormat.MM_SS, [0, 90], 0),
        ("Time (hh:mm)", ("01:00", "02:30"), TimeFormat.HH_MM, [0, 5400], 0),
    ],
)
def test_a_time_is_read_as_it_is_written(
    header: str, times: tuple[str, ...], form: TimeFormat, elapsed_s: list[float], exponent: int
) -> None:
    axis = read_times(header, *times).time
    assert (axis.form, axis.exponent, axis.is_absolute) == (form, exponent, False)
    assert axis.elapsed_s().tolist() == elapsed_s


@pytest.mark.parametrize(
    ("times", "first", "step_s", "zoned"),
    [
        (("2024-05-01T10:00:00", "2024-05-01T10:00:05"), "2024-05-01T10:00:00", 5, False),
        (("2024-05-01 10:00", "2024-05-01 10:01"), "2024-05-01T10:00:00", 60, False),
        (("2024/05/01 10:00:00.5", "2024/05/01 10:00:01.0"), "2024-05-01T10:00:00.5", 0.5, False),
        (("2024-05-01T10:00:00Z", "2024-05-01T12:00:05+02:00"), "2024-05-01T10:00:00Z", 5, True),
        (("31.12.2024 23:59:59", "01.01.2025 00:00:00"), "2024-12-31T23:59:59", 1, False),
        (("31/12/2024 23:59:59", "01/01/2025 00:00:00"), "2024-12-31T23:59:59", 1, False),
        (("12/31/2024 23:59:59", "01/01/2025 00:00:00"), "2024-12-31T23:59:59", 1, False),
        (("31.12.24 23:59:59", "01.01.25 00:00:00"), "2024-12-31T23:59:59", 1, False),
        (
            ("31.12.2024 23:59:59:500", "01.01.2025 00:00:00:250"),
            "2024-12-31T23:59:59.500",
            0.75,
            False,
        ),
    ],
)
def test_a_date_with_time_is_absolute(
    times: tuple[str, str], first: str, step_s: float, *, zoned: bool
) -> None:
    reading = read_times("When", *times)
    assert (reading.time.form, reading.time.is_absolute) == (TimeFormat.DATE_TIME, True)
    assert reading.time.is_zoned is zoned
    assert reading.time.spell(0) == first
    assert reading.time.elapsed_s().tolist() == [0.0, step_s]
    assert reading.questions == ()


def test_a_date_that_could_be_read_both_ways_is_supposed_and_asked() -> None:
    times = ("03/04/2024 10:00:00", "03/04/2024 10:00:05")
    reading = read_times("When", *times)
    assert reading.time.spell(0) == "2024-04-03T10:00:00"
    assert "day first" in reading.assumptions[0]
    assert [question.about for question in reading.questions] == ["day_first"]
    month_first = read_times("When", *times, choices=ReadingChoices(day_first=False))
    assert month_first.time.spell(0) == "2024-03-04T10:00:00"
    assert month_first.questions == ()


def test_a_year_of_two_digits_is_supposed_to_stand_last() -> None:
    reading = read_times("When", "24-05-01 10:00:00", "24-05-01 10:00:05")
    assert reading.time.spell(0) == "2001-05-24T10:00:00"
    assert "year of two digits in “24-05-01 10:00:00”" in reading.assumptions[0]


def test_date_and_time_in_two_columns_are_one_time() -> None:
    text = b"Date;Clock;T1 [C]\n30.04.2024;23:59:59;20.5\n01.05.2024;00:00:01;20.5\n"
    reading = read_logger_file(text)
    assert [guess.role.value for guess in reading.guesses] == ["date", "time", "temperature"]
    assert reading.time.spell(0) == "2024-04-30T23:59:59"
    assert reading.time.elapsed_s().tolist() == [0.0, 2.0]


def test_a_time_without_unit_is_taken_as_seconds_and_asked_about() -> None:
    reading = read_times("Time", "0", "5")
    assert reading.time.form is TimeFormat.SECONDS
    assert [(q.about, q.column) for q in reading.questions] == [("time_format", 0)]
    chosen = read_times("Time", "0", "5", choices=ReadingChoices(time_format=TimeFormat.MINUTES))
    assert chosen.time.elapsed_s().tolist() == [0.0, 300.0]
    assert chosen.questions == ()


def test_two_groups_of_digits_are_asked_about() -> None:
    reading = read_times("Time", "01:00", "02:30")
    assert reading.time.form is TimeFormat.MM_SS
    assert "hh:mm" in reading.questions[0].sentence
    hours = read_times(
        "Time", "01:00", "02:30", choices=ReadingChoices(time_format=TimeFormat.HH_MM)
    )
    assert hours.time.elapsed_s().tolist() == [0.0, 5400.0]


def test_midnight_is_bridged_and_said() -> None:
    reading = read_times("Time", "23:59:58.5", "23:59:59.5", "00:00:00.5", "00:00:01.5")
    assert reading.time.elapsed_s().tolist() == [0.0, 1.0, 2.0, 3.0]
    assert "midnight between rows 3 and 4" in reading.assumptions[0]
    (finding,) = reading.findings
    assert (finding.kind, finding.first_row, finding.last_row) == (FindingKind.MIDNIGHT, 3, 4)


@pytest.mark.parametrize(
    "times",
    [
        ("20:00:00", "20:00:01", "00:00:00"),
        ("10:00:00", "10:00:01", "09:59:59"),
        ("25:00:00", "25:00:01", "00:00:01"),
    ],
)
def test_a_clock_that_goes_back_otherwise_is_refused(times: tuple[str, ...]) -> None:
    refusal = refuse_times("Time", *times)
    assert refusal.code == "traces.time_not_increasing"
    assert "Row 4" in refusal.sentence


def test_a_restarted_logger_is_refused_with_the_row() -> None:
    refusal = refuse_times("Time [s]", "0", "5", "10", "0", "5")
    assert refusal.code == "traces.time_not_increasing"
    assert "Row 5, column 1 “Time [s]”, goes back in time, from 10 in row 4" in refusal.sentence


def test_a_doubled_time_is_refused_with_the_row() -> None:
    refusal = refuse_times("Time [s]", "0", "5", "5.0", "6")
    assert refusal.code == "traces.time_not_increasing"
    assert "Row 4" in refusal.sentence
    assert "row 3" in refusal.sentence


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ("0000-05-01 10:00:00", "year 0"),
        ("2024-13-01 10:00:00", "month 13"),
        ("2024-02-30 10:00:00", "day 30"),
        ("2024-05-01 10:61:00", "61 minutes"),
        ("2024-05-01 25:00:00", "25 hours"),
        ("2024-05-01 10:00:75", "75 seconds"),
        ("2024-05-01 10:00:00+99:00", "zone"),
    ],
)
def test_an_impossible_time_is_refused_with_the_row(bad: str, said: str) -> None:
    refusal = refuse_times("When", "2024-05-01 09:00:00", bad, "2024-05-01 11:00:00")
    assert refusal.code == "traces.time_impossible"
    assert "Row 3, column 1 “When”" in refusal.sentence
    assert said in refusal.sentence


def test_zones_in_some_rows_only_are_refused() -> None:
    refusal = refuse_times("When", "2024-05-01 09:00:00Z", "2024-05-01 09:00:01")
    assert refusal.code == "traces.zones_mixed"
    assert "Row 3" in refusal.sentence


@pytest.mark.parametrize("bad", ["", "soon", "NaN", "12:00:00"])
def test_samples_without_a_time_are_refused_with_the_row(bad: str) -> None:
    refusal = refuse_times("Time [s]", "0", "5", bad, "15")
    assert refusal.code == "traces.time_unreadable"
    assert "Row 4, column 1" in refusal.sentence


def test_a_time_too_large_to_store_is_refused_with_the_row() -> None:
    refusal = refuse_times("Time [s]", "0", "5", "1e300", "1e301")
    assert refusal.code == "traces.time_impossible"
    assert "Row 4" in refusal.sentence


@pytest.mark.parametrize(
    ("header", "times"),
    [
        ("Time [s]", ("-1.50", "0.25", "17.75")),
        ("Time [ms]", ("0", "125", "4000000000")),
        ("Time [ms]", ("0.125", "0.250", "1.000")),
        ("Time [min]", ("0.01666", "0.03333", "0.05000")),
        ("Time [h]", ("0.1", "0.2", "3.0")),
        ("Time", ("00:00:00.001", "00:00:00.002", "26:00:59.999")),
        ("Time", ("00:00.1", "00:00.2", "75:59.9")),
        ("When", ("2024-05-01T10:00:00.001Z", "2024-05-01T10:00:00.002Z")),
    ],
)
def test_a_time_is_spelled_as_the_file_writes_it(header: str, times: tuple[str, ...]) -> None:
    axis = read_times(header, *times).time
    assert [axis.spell(k) for k in range(len(times))] == list(times)


def test_times_with_many_decimals_are_rounded_and_listed() -> None:
    reading = read_times("Time [min]", "0", "0.0166666666667", "0.0333333333333")
    assert reading.time.elapsed_s()[1] == pytest.approx(1.0, abs=1e-7)
    (finding,) = reading.findings
    assert (finding.kind, finding.count) == (FindingKind.ROUNDED, 2)
