"""Clocks put forward and back by an hour, where the samples show it and where they do not."""

import numpy as np
import pytest

from app.core.refusals import Refusal
from app.traces.files import FindingKind, LoggerReading, read_logger_file


def read_clock(*times: str) -> LoggerReading:
    rows = "".join(f"2026-10-25 {time},{20 + k}\n" for k, time in enumerate(times))
    return read_logger_file(f"Time,T1 [C]\n{rows}".encode())


def test_an_hour_back_at_a_full_hour_is_counted_on_and_said() -> None:
    reading = read_clock("02:59:58", "02:59:59", "02:00:00", "02:00:01")
    np.testing.assert_array_equal(reading.time.elapsed_s(), [0.0, 1.0, 2.0, 3.0])
    assert reading.findings[0].kind is FindingKind.SUMMER_TIME
    assert (reading.findings[0].first_row, reading.findings[0].last_row) == (3, 4)
    assert "put back by an hour between rows 3 and 4" in reading.assumptions[0]


def test_an_hour_forward_at_a_full_hour_is_counted_on_and_said() -> None:
    reading = read_clock("01:59:58", "01:59:59", "03:00:00", "03:00:01")
    np.testing.assert_array_equal(reading.time.elapsed_s(), [0.0, 1.0, 2.0, 3.0])
    assert "put forward by an hour between rows 3 and 4" in reading.assumptions[0]


def test_samples_that_miss_the_full_hour_pass_it_all_the_same() -> None:
    reading = read_clock("01:59:53.5", "01:59:56.5", "01:59:59.5", "03:00:02.5", "03:00:05.5")
    np.testing.assert_array_equal(reading.time.elapsed_s(), [0.0, 3.0, 6.0, 9.0, 12.0])


def test_an_hour_back_in_the_midst_of_an_hour_is_refused_with_its_row() -> None:
    with pytest.raises(Refusal) as refused:
        read_clock("02:30:00", "02:30:01", "01:30:02", "01:30:03")
    assert refused.value.code == "traces.time_not_increasing"
    assert "Row 4" in refused.value.sentence


def test_less_than_an_hour_back_is_refused_with_its_row() -> None:
    with pytest.raises(Refusal) as refused:
        read_clock("02:59:58", "02:59:59", "02:10:00", "02:10:01")
    assert refused.value.code == "traces.time_not_increasing"
    assert "Row 4" in refused.value.sentence


def test_an_hour_more_in_the_midst_of_an_hour_is_a_pause_and_is_listed() -> None:
    reading = read_clock("01:30:00", "01:30:01", "02:30:02", "02:30:03")
    np.testing.assert_array_equal(reading.time.elapsed_s(), [0.0, 1.0, 3602.0, 3603.0])
    assert [finding.kind for finding in reading.findings] == [FindingKind.CLOCK_STEP]
    assert reading.assumptions == ()


def test_a_pause_of_another_length_is_no_change_of_the_clock() -> None:
    reading = read_clock("01:59:58", "01:59:59", "03:00:10", "03:00:11")
    assert reading.time.elapsed_s()[2] == 3612.0
    assert reading.findings == ()


def test_samples_an_hour_apart_show_nothing() -> None:
    reading = read_clock("01:00:00", "02:00:00", "04:00:00")
    np.testing.assert_array_equal(reading.time.elapsed_s(), [0.0, 3600.0, 10_800.0])


def test_times_that_say_their_zone_are_left_as_they_are() -> None:
    text = b"Time,T1 [C]\n2026-10-25T01:59:58Z,20\n2026-10-25T01:59:59Z,21\n"
    text += b"2026-10-25T03:00:00Z,22\n2026-10-25T03:00:01Z,23\n"
    reading = read_logger_file(text)
    assert reading.time.elapsed_s()[2] == 3602.0
    assert reading.findings == ()


def test_a_clock_without_a_date_is_put_forward_and_back_as_well() -> None:
    for times in (
        ("01:59:58", "01:59:59", "03:00:00", "03:00:01"),
        ("02:59:58", "02:59:59", "02:00:00", "02:00:01"),
    ):
        rows = "".join(f"{time},{20 + k}\n" for k, time in enumerate(times))
        reading = read_logger_file(f"Time,T1 [C]\n{rows}".encode())
        np.testing.assert_array_equal(reading.time.elapsed_s(), [0.0, 1.0, 2.0, 3.0])
        assert [finding.kind for finding in reading.findings] == [FindingKind.SUMMER_TIME]


def test_three_samples_are_enough_to_show_it() -> None:
    reading = read_clock("01:59:58", "01:59:59", "03:00:00")
    np.testing.assert_array_equal(reading.time.elapsed_s(), [0.0, 1.0, 2.0])
