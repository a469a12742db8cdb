"""Runs laid over each other, the band they keep to, and the runs that leave it."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.alignment import (
    BestShift,
    UnusableAlignment,
    find_best_shift,
    find_shift_to_liquidus,
    find_shift_to_start,
    shift_trace,
)
from app.numerics.differences import compute_difference
from app.numerics.envelope import (
    Departures,
    Envelope,
    Side,
    UnusableEnvelope,
    compute_envelope,
    find_departures,
)
from app.numerics.errors import NumericsError
from app.numerics.metrics import UnusableLimit
from app.numerics.trace import Trace, read_trace
from app.numerics.values import CannotSay, Measured, NotReached, Unit

PROFILE_S = [0.0, 100.0, 190.0, 230.0, 250.0, 340.0]
PROFILE_C = [25.0, 150.0, 180.0, 240.0, 240.0, 60.0]
PROFILE = read_trace(PROFILE_S, PROFILE_C)
EMPTY = read_trace([], [])


def _sample(step_s: float, *, offset_s: float = 0.0, plus_c: float = 0.0) -> Trace:
    """Sample the same profile as another logger would."""
    moments = np.arange(offset_s, 340.0, step_s)
    return read_trace(moments, np.interp(moments, PROFILE_S, PROFILE_C) + plus_c)


def _best(trace: Trace, reference: Trace) -> BestShift:
    found = find_best_shift(trace, reference)
    assert isinstance(found, BestShift)
    return found


def test_a_run_moved_to_its_start_begins_at_zero() -> None:
    late = shift_trace(PROFILE, 12.5)
    shift = find_shift_to_start(late)
    assert shift == Measured(-12.5, Unit.SECOND)
    assert isinstance(shift, Measured)
    assert shift_trace(late, shift.value).time_s[0] == 0.0
    assert isinstance(find_shift_to_start(EMPTY), CannotSay)


def test_a_run_moved_to_the_liquidus_crosses_it_at_zero() -> None:
    # 217 °C on the slope of 1.5 K/s from 180 °C at 190 s.
    crossing_s = 190.0 + 37.0 / 1.5
    shift = find_shift_to_liquidus(PROFILE, 217.0)
    assert isinstance(shift, Measured)
    assert shift.value == pytest.approx(-crossing_s)
    assert shift.at_s == pytest.approx(crossing_s)


def test_the_first_of_several_crossings_counts() -> None:
    twice = read_trace([0.0, 10.0, 20.0, 30.0, 40.0], [200.0, 230.0, 200.0, 240.0, 200.0])
    assert find_shift_to_liquidus(twice, 215.0) == Measured(-5.0, Unit.SECOND, at_s=5.0)


def test_a_run_without_a_crossing_is_not_moved() -> None:
    assert isinstance(find_shift_to_liquidus(PROFILE, 250.0), NotReached)
    assert isinstance(find_shift_to_liquidus(PROFILE, 20.0), CannotSay)
    assert isinstance(find_shift_to_liquidus(EMPTY, 217.0), NotReached)
    with pytest.raises(UnusableLimit):
        find_shift_to_liquidus(PROFILE, math.nan)


@given(shift_s=st.floats(-150.0, 150.0))
def test_the_best_shift_undoes_a_shift(shift_s: float) -> None:
    found = _best(shift_trace(PROFILE, -shift_s), PROFILE)
    assert found.shift_s == pytest.approx(shift_s, abs=1e-4)
    assert found.rms_k == pytest.approx(0.0, abs=1e-3)
    assert found.overlap_s == pytest.approx(340.0, abs=1e-3)
    assert not found.is_at_limit


def test_the_best_shift_is_finer_than_the_readings() -> None:
    found = _best(shift_trace(_sample(5.0, offset_s=1.7), -3.21), _sample(2.0))
    assert found.shift_s == pytest.approx(3.21, abs=0.05)


def test_runs_far_apart_in_time_are_brought_together() -> None:
    assert _best(shift_trace(PROFILE, 86_400.0), PROFILE).shift_s == pytest.approx(-86_400.0)


def test_a_hotter_run_is_still_aligned_by_its_shape() -> None:
    found = _best(shift_trace(_sample(1.0, plus_c=4.0), -20.0), PROFILE)
    assert found.shift_s == pytest.approx(20.0, abs=3.0)
    assert 2.0 < found.rms_k <= 4.0


def test_no_neighbouring_shift_fits_better() -> None:
    run = shift_trace(_sample(1.0, plus_c=4.0), -20.0)
    found = _best(run, PROFILE)
    moments = np.linspace(30.0, 310.0, 5001)

    def rms(shift_s: float) -> float:
        moved = np.interp(moments - shift_s, run.time_s, run.temperature_c)
        return float(np.sqrt(np.mean((moved - np.interp(moments, PROFILE_S, PROFILE_C)) ** 2)))

    # Reckoned over another stretch of time, which can tell clearly worse shifts alone.
    assert rms(found.shift_s) < rms(found.shift_s + 5.0)
    assert rms(found.shift_s) < rms(found.shift_s - 5.0)


def test_a_run_that_fits_best_at_the_edge_says_so() -> None:
    ramp = read_trace([0.0, 100.0], [20.0, 120.0])
    hotter = read_trace([0.0, 100.0], [200.0, 300.0])
    assert _best(ramp, hotter).is_at_limit


def test_what_has_no_shape_cannot_be_aligned() -> None:
    flat = read_trace([0.0, 100.0], [25.0, 25.5])
    for pair in ((flat, PROFILE), (PROFILE, flat), (EMPTY, PROFILE), (PROFILE, EMPTY)):
        assert isinstance(find_best_shift(*pair), CannotSay)


@pytest.mark.parametrize("share", [0.0, -0.1, 1.1, math.nan])
def test_an_overlap_is_a_share(share: float) -> None:
    with pytest.raises(UnusableAlignment, match="least_overlap"):
        find_best_shift(PROFILE, PROFILE, least_overlap=share)


def test_a_shift_must_be_a_number() -> None:
    with pytest.raises(UnusableAlignment, match="finite"):
        shift_trace(PROFILE, math.inf)


def _envelope(*runs: Trace) -> Envelope:
    found = compute_envelope(runs)
    assert isinstance(found, Envelope)
    return found


def _departures(envelope: Envelope, run: Trace, *, margin_k: float = 0.0) -> Departures:
    found = find_departures(envelope, run, margin_k=margin_k)
    assert isinstance(found, Departures)
    return found


def test_an_envelope_is_the_lowest_and_highest_at_each_moment() -> None:
    rising = read_trace([0.0, 10.0], [20.0, 40.0])
    falling = read_trace([2.0, 8.0, 12.0], [40.0, 28.0, 20.0])
    envelope = _envelope(rising, falling)
    assert envelope.time_s.tolist() == [2.0, 8.0, 10.0]
    assert envelope.low_c.tolist() == [24.0, 28.0, 24.0]
    assert envelope.high_c.tolist() == [40.0, 36.0, 40.0]
    assert envelope.run_count == 2


def test_runs_that_never_meet_have_no_envelope() -> None:
    later = read_trace([400.0, 500.0], [25.0, 30.0])
    assert isinstance(compute_envelope([PROFILE, later]), CannotSay)
    assert isinstance(compute_envelope([PROFILE]), CannotSay)
    assert isinstance(compute_envelope([PROFILE, EMPTY]), CannotSay)


@st.composite
def _runs(draw: st.DrawFn) -> list[Trace]:
    runs: list[Trace] = []
    for _ in range(draw(st.integers(2, 5))):
        count = draw(st.integers(2, 20))
        steps = draw(st.lists(st.floats(5.0, 30.0), min_size=count, max_size=count))
        values = draw(st.lists(st.floats(20.0, 260.0), min_size=count, max_size=count))
        times = np.concatenate(([0.0], np.cumsum(steps)))
        runs.append(read_trace(times, [25.0, *values]))
    return runs


@given(runs=_runs())
def test_no_run_leaves_the_envelope_it_helped_to_make(runs: list[Trace]) -> None:
    envelope = _envelope(*runs)
    for run in runs:
        assert not _departures(envelope, run, margin_k=1e-9).found


@given(runs=_runs())
def test_the_order_of_runs_changes_no_envelope(runs: list[Trace]) -> None:
    envelope, turned = _envelope(*runs), _envelope(*reversed(runs))
    assert envelope.low_c.tolist() == turned.low_c.tolist()
    assert envelope.high_c.tolist() == turned.high_c.tolist()


def test_a_run_that_leaves_says_when_where_and_how_far() -> None:
    envelope = _envelope(_sample(1.0), _sample(1.0, plus_c=6.0))
    moments = np.array([0.0, 100.0, 110.0, 120.0, 190.0, 230.0, 339.0])
    over_k = np.array([3.0, 3.0, 16.0, 3.0, 3.0, -2.0, 3.0])
    bent = read_trace(moments, np.interp(moments, PROFILE_S, PROFILE_C) + over_k)
    above, below = _departures(envelope, bent).found
    assert (above.side, below.side) == (Side.ABOVE, Side.BELOW)
    assert above.furthest_at_s == 110.0
    assert above.furthest_k == pytest.approx(10.0)
    # From 3 K over the profile to 16 K in 10 s: 6 K over it after 30/13 s.
    assert above.from_s == pytest.approx(100.0 + 30.0 / 13.0)
    assert not above.is_cut_off
    assert below.from_s < 230.0 < below.to_s
    assert _departures(envelope, bent).furthest == max(
        (above, below), key=lambda departure: departure.furthest_k
    )


def test_a_margin_and_a_shortest_time_forgive() -> None:
    envelope = _envelope(_sample(1.0), _sample(1.0, plus_c=6.0))
    hot = _sample(1.0, plus_c=8.0)
    all_along = _departures(envelope, hot)
    assert all_along.furthest is not None
    assert all_along.furthest.furthest_k == pytest.approx(2.0)
    assert all_along.furthest.is_cut_off
    assert not _departures(envelope, hot, margin_k=2.5).found
    brief = find_departures(envelope, hot, shortest_s=400.0)
    assert isinstance(brief, Departures)
    assert not brief.found
    assert (brief.from_s, brief.to_s) == (0.0, 339.0)


def test_a_run_elsewhere_in_time_cannot_be_compared() -> None:
    envelope = _envelope(PROFILE, PROFILE)
    assert isinstance(find_departures(envelope, shift_trace(PROFILE, 1000.0)), CannotSay)
    assert isinstance(find_departures(envelope, EMPTY), CannotSay)


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_margins_and_times_are_numbers_from_zero(bad: float) -> None:
    envelope = _envelope(PROFILE, PROFILE)
    with pytest.raises(UnusableEnvelope, match="margin_k"):
        find_departures(envelope, PROFILE, margin_k=bad)
    with pytest.raises(UnusableEnvelope, match="shortest_s"):
        find_departures(envelope, PROFILE, shortest_s=bad)


def test_two_peaks_differ_in_kelvin() -> None:
    of = Measured(245.0, Unit.CELSIUS, at_s=220.0)
    minus = Measured(241.5, Unit.CELSIUS, at_s=230.0, is_censored=True)
    assert compute_difference(of, minus) == Measured(3.5, Unit.KELVIN, is_censored=True)
    longer = compute_difference(Measured(60.0, Unit.SECOND), Measured(75.0, Unit.SECOND))
    assert longer == Measured(-15.0, Unit.SECOND)


def test_a_metric_without_a_value_has_no_difference() -> None:
    value = Measured(60.0, Unit.SECOND)
    never, unknown = NotReached("never"), CannotSay("unknown")
    assert compute_difference(value, never) is never
    assert compute_difference(unknown, never) is unknown
    with pytest.raises(NumericsError, match="no difference"):
        compute_difference(value, Measured(3.0, Unit.KELVIN))
