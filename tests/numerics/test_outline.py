"""What is found by the outline of a trace against looking at every reading.

Sizes around multiples of sixteen are tried, where one block ends and the next begins.
"""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.areas import compute_area_above, prepare_areas
from app.numerics.crossings import compute_time_above
from app.numerics.edges import find_edges, prepare_edges
from app.numerics.outline import BLOCK, get_outline
from app.numerics.ramps import compute_largest_ramps
from app.numerics.stretches import TimeAbove
from app.numerics.trace import FloatArray, Trace, read_trace
from app.numerics.values import Measured
from app.numerics.windows import get_windows

SIZES = st.one_of(st.integers(1, 3 * BLOCK + 2), st.sampled_from([BLOCK, BLOCK + 1, 4 * BLOCK + 1]))
# Whole degrees meet the thresholds exactly, the smaller steps rarely.
DIGITS_K = st.sampled_from([1.0, 0.25, 0.001])
THRESHOLDS_C = st.lists(st.integers(-3, 3).map(float), min_size=1, max_size=5)


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    count, digit_k = draw(SIZES), draw(DIGITS_K)
    dice = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    time_s = np.cumsum(dice.choice([0.25, 0.5, 3.0], count))
    value_c = np.round(dice.normal(0.0, 2.0, count) / digit_k) * digit_k
    if draw(st.booleans()):
        value_c = np.cumsum(value_c) / 4.0
    return read_trace(time_s, value_c)


def _walk(trace: Trace, threshold_c: float) -> list[tuple[Fraction, Fraction]]:
    """List begin and end of each time above, reading by reading and exactly."""
    time, value = ([Fraction(one) for one in row] for row in (trace.time_s, trace.temperature_c))
    limit = Fraction(threshold_c)
    found: list[tuple[Fraction, Fraction]] = []
    begin = time[0] if value[0] > limit else None
    for place in range(1, len(time)):
        before, after = value[place - 1] - limit, value[place] - limit
        if (before > 0) != (after > 0):
            at = time[place - 1] + before / (before - after) * (time[place] - time[place - 1])
            if begin is None:
                begin = at
            else:
                found.append((begin, at))
                begin = None
    if begin is not None:
        found.append((begin, time[-1]))
    return found


def _walk_area(trace: Trace, threshold_c: float) -> float:
    """Integrate what is above on every piece between readings and crossings."""
    crossings = [moment for pair in _walk(trace, threshold_c) for moment in pair]
    moments = np.union1d(trace.time_s, np.array([float(one) for one in crossings]))
    over = np.maximum(np.interp(moments, trace.time_s, trace.temperature_c) - threshold_c, 0.0)
    return float(np.sum((over[1:] + over[:-1]) * np.diff(moments)) / 2.0)


def _rises(trace: Trace, window_s: float) -> FloatArray:
    """List the rises of all windows of which an end is at a reading."""
    time, value = trace.time_s, trace.temperature_c
    begins = np.concatenate((time, time - window_s))
    begins = begins[(begins >= time[0]) & (begins + window_s <= time[-1])]
    rises: FloatArray = np.interp(begins + window_s, time, value) - np.interp(begins, time, value)
    return rises


@given(trace=traces(), thresholds_c=THRESHOLDS_C)
def test_every_time_above_is_found(trace: Trace, thresholds_c: list[float]) -> None:
    prepare_edges(trace, thresholds_c)
    for threshold_c in thresholds_c:
        found, walked = compute_time_above(trace, threshold_c), _walk(trace, threshold_c)
        assert len(found.stretches) == len(walked)
        for stretch, (begin, end) in zip(found.stretches, walked, strict=True):
            assert stretch.start_s == pytest.approx(float(begin), abs=1e-9)
            assert stretch.end_s == pytest.approx(float(end), abs=1e-9)
        assert found.starts_above == bool(trace.temperature_c[0] > threshold_c)
        assert found.ends_above == bool(trace.temperature_c[-1] > threshold_c)


@given(trace=traces(), threshold_c=st.integers(-3, 3).map(float), moment_s=st.floats(-1.0, 60.0))
def test_the_quick_form_of_a_time_above_answers_as_the_full_one_does(
    trace: Trace, threshold_c: float, moment_s: float
) -> None:
    full, quick = compute_time_above(trace, threshold_c), find_edges(trace, threshold_c)
    assert quick.total == full.total
    assert quick.longest == full.longest
    assert quick.count == len(full.stretches)
    ends_s = [end for one in full.stretches for end in (one.start_s, one.end_s)]
    for at_s in (moment_s, *ends_s):
        assert quick.find_stretch_at(at_s) == full.find_stretch_at(at_s)
        assert quick.find_rise_after(at_s) == full.find_rise_after(at_s)


@given(trace=traces(), thresholds_c=THRESHOLDS_C)
def test_every_area_above_is_found(trace: Trace, thresholds_c: list[float]) -> None:
    prepare_areas(trace, thresholds_c)
    for threshold_c in thresholds_c:
        area = compute_area_above(trace, threshold_c)
        assert area.value == pytest.approx(_walk_area(trace, threshold_c), abs=1e-9)


@given(trace=traces(), window_s=st.sampled_from([0.3, 1.0, 5.0, 20.0]))
def test_no_window_rises_or_falls_more_than_the_ones_found(trace: Trace, window_s: float) -> None:
    rise, fall = compute_largest_ramps(trace, window_s)
    if trace.span_s < window_s:
        assert not isinstance(rise, Measured)
        return
    assert isinstance(rise, Measured)
    assert isinstance(fall, Measured)
    rises = _rises(trace, window_s)
    assert rise.value * window_s == pytest.approx(rises.max(), abs=1e-9)
    assert -fall.value * window_s == pytest.approx(rises.min(), abs=1e-9)
    for slope, sign in ((rise, 1.0), (fall, -1.0)):
        assert slope.at_s is not None
        ends_c = np.interp((slope.at_s, slope.at_s + window_s), trace.time_s, trace.temperature_c)
        assert sign * slope.value * window_s == pytest.approx(ends_c[1] - ends_c[0], abs=1e-9)


@given(trace=traces(), window_s=st.sampled_from([0.3, 1.0, 5.0]), limit_k=st.floats(-6.0, 6.0))
def test_every_window_from_a_rise_on_is_counted(
    trace: Trace, window_s: float, limit_k: float
) -> None:
    if trace.span_s < window_s:
        return
    time, value = trace.time_s, trace.temperature_c
    begins = time <= time[-1] - window_s
    rises = np.interp(time[begins] + window_s, time, value) - value[begins]
    windows = get_windows(trace, window_s)
    assert windows.count_from(limit_k) == np.count_nonzero(rises >= limit_k)
    assert windows.count_to(limit_k) == np.count_nonzero(rises <= limit_k)


@given(trace=traces())
def test_the_outline_holds_each_line_between_two_readings(trace: Trace) -> None:
    outline, value = get_outline(trace), trace.temperature_c
    for place in range(value.size - 1):
        pair, block = value[place : place + 2], place // BLOCK
        assert outline.lowest_c[block] <= pair.min()
        assert outline.highest_c[block] >= pair.max()
    assert outline.lowest_c.min() == value.min()
    assert outline.highest_c.max() == value.max()


def test_a_trace_asked_twice_gives_the_very_same_answer() -> None:
    trace = read_trace([0.0, 10.0, 20.0], [207.0, 227.0, 207.0])
    first = compute_time_above(trace, 217.0)
    assert isinstance(first, TimeAbove)
    assert compute_time_above(trace, 217.0) is first
