"""A channel that stops giving readings is not judged by those it gave before."""

import numpy as np
import pytest

from app.jobs.figures import find_silence_s

TIME_S = np.arange(0.0, 60.0, 0.5)


def test_a_channel_that_falls_silent_for_good_is_at_fault() -> None:
    assert find_silence_s(TIME_S, TIME_S > 20) == pytest.approx(39.5)


def test_a_channel_that_begins_late_is_at_fault() -> None:
    assert find_silence_s(TIME_S, TIME_S < 12) == pytest.approx(12.0)


def test_a_channel_without_any_reading_is_silent_all_along() -> None:
    assert find_silence_s(TIME_S, TIME_S >= 0) == pytest.approx(59.5)


def test_a_silence_in_the_middle_is_a_fault_once_it_is_longer_than_5_s() -> None:
    assert find_silence_s(TIME_S, (TIME_S > 20) & (TIME_S < 25)) is None
    assert find_silence_s(TIME_S, (TIME_S > 20) & (TIME_S < 25.5)) == pytest.approx(5.5)


def test_a_channel_that_is_read_every_ten_seconds_is_whole() -> None:
    assert find_silence_s(TIME_S, TIME_S % 10 != 0) is None


def test_lost_single_readings_are_no_fault() -> None:
    assert find_silence_s(TIME_S, np.isin(TIME_S, (3.0, 17.5, 18.0))) is None
