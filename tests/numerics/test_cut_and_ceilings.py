"""Parts of a trace, and channels held against a ceiling or a list of temperatures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.ceilings import AgainstCeiling, compare_with_ceiling, list_times_above
from app.numerics.crossings import compute_area_above, compute_time_above
from app.numerics.cut import UnusablePart, cut_trace, find_temperature_at
from app.numerics.metrics import UnusableLimit
from app.numerics.trace import Trace, read_trace
from app.numerics.values import CannotSay, Measured, Unit

# A triangle of 1 K/s: 25, 245 at 220 s, 25 °C.
TRIANGLE = read_trace([0.0, 220.0, 440.0], [25.0, 245.0, 25.0])
EMPTY = read_trace([], [])


def test_a_cut_keeps_the_straight_lines() -> None:
    part = cut_trace(TRIANGLE, 192.0, 300.0)
    assert part.time_s.tolist() == [192.0, 220.0, 300.0]
    assert part.temperature_c.tolist() == [217.0, 245.0, 165.0]


def test_a_cut_at_readings_repeats_none() -> None:
    assert cut_trace(TRIANGLE, 0.0, 220.0).time_s.tolist() == [0.0, 220.0]
    assert cut_trace(TRIANGLE, 220.0, 440.0).time_s.tolist() == [220.0, 440.0]


def test_a_cut_reaches_no_further_than_the_readings() -> None:
    assert cut_trace(TRIANGLE, -50.0, 20.0).time_s.tolist() == [0.0, 20.0]
    assert cut_trace(TRIANGLE, 440.0, 500.0).time_s.tolist() == [440.0]
    assert cut_trace(TRIANGLE, 441.0, 500.0).time_s.size == 0
    assert cut_trace(EMPTY, 0.0, 1.0).time_s.size == 0


@pytest.mark.parametrize(("from_s", "to_s"), [(5.0, 5.0), (6.0, 5.0), (np.nan, 5.0), (0, np.inf)])
def test_a_cut_that_is_no_time_is_refused(from_s: float, to_s: float) -> None:
    with pytest.raises(UnusablePart, match="no time above 0 s"):
        cut_trace(TRIANGLE, from_s, to_s)


def test_a_temperature_is_read_off_the_line_and_not_beyond() -> None:
    assert find_temperature_at(TRIANGLE, 110.0) == 135.0
    assert find_temperature_at(TRIANGLE, 440.0) == 25.0
    assert find_temperature_at(TRIANGLE, 440.1) is None
    assert find_temperature_at(TRIANGLE, -0.1) is None
    assert find_temperature_at(EMPTY, 0.0) is None


@st.composite
def _traces(draw: st.DrawFn) -> Trace:
    count = draw(st.integers(2, 30))
    steps = draw(st.lists(st.floats(0.1, 20.0), min_size=count, max_size=count))
    values = draw(st.lists(st.floats(0.0, 300.0), min_size=count, max_size=count))
    return read_trace(np.cumsum(steps), values)


@given(trace=_traces(), share=st.floats(0.01, 0.99), threshold_c=st.floats(1.0, 299.0))
def test_two_parts_show_what_the_whole_shows(
    trace: Trace, share: float, threshold_c: float
) -> None:
    first, last = float(trace.time_s[0]), float(trace.time_s[-1])
    at_s = first + share * (last - first)
    parts = (cut_trace(trace, first, at_s), cut_trace(trace, at_s, last))
    times = [compute_time_above(part, threshold_c).total.value for part in parts]
    areas = [compute_area_above(part, threshold_c).value for part in parts]
    whole = compute_time_above(trace, threshold_c).total.value
    assert sum(times) == pytest.approx(whole, abs=1e-6)
    assert sum(areas) == pytest.approx(compute_area_above(trace, threshold_c).value, abs=1e-6)


def test_a_neighbour_that_passes_its_ceiling_says_by_how_much_and_how_long() -> None:
    found = compare_with_ceiling(TRIANGLE, 200.0)
    assert isinstance(found, AgainstCeiling)
    assert found.is_passed
    assert found.peak == Measured(245.0, Unit.CELSIUS, at_s=220.0)
    assert found.headroom == Measured(-45.0, Unit.KELVIN, at_s=220.0)
    assert found.above.total.value == pytest.approx(90.0)
    assert found.area_above.value == pytest.approx(45.0 * 45.0)


def test_a_neighbour_at_its_ceiling_has_not_passed_it() -> None:
    found = compare_with_ceiling(TRIANGLE, 245.0)
    assert isinstance(found, AgainstCeiling)
    assert not found.is_passed
    assert found.headroom.value == 0.0
    assert found.above.total.value == 0.0


def test_a_neighbour_still_rising_at_the_end_has_a_censored_headroom() -> None:
    found = compare_with_ceiling(read_trace([0.0, 10.0], [100.0, 150.0]), 200.0)
    assert isinstance(found, AgainstCeiling)
    assert (found.headroom.value, found.headroom.is_censored) == (50.0, True)


def test_a_channel_without_readings_cannot_say() -> None:
    assert isinstance(compare_with_ceiling(EMPTY, 200.0), CannotSay)


def test_times_above_come_in_the_order_asked() -> None:
    times = list_times_above(TRIANGLE, [217.0, 150.0, 245.0])
    assert [above.threshold_c for above in times] == [217.0, 150.0, 245.0]
    assert [above.total.value for above in times] == pytest.approx([56.0, 190.0, 0.0])
    assert [crossing.at_s for crossing in times[0].crossings] == [192.0, 248.0]


def test_a_temperature_that_is_no_number_is_refused() -> None:
    with pytest.raises(UnusableLimit, match="finite"):
        compare_with_ceiling(TRIANGLE, float("nan"))
    with pytest.raises(UnusableLimit, match="finite"):
        list_times_above(TRIANGLE, [217.0, float("inf")])
