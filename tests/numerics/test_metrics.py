"""All metrics of a channel and of a site, on profiles small enough to reckon by hand."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from app.numerics.crossings import Stretch, TimeAbove
from app.numerics.metrics import ChannelMetrics, UnusableLimit, analyse_channel, analyse_site
from app.numerics.site import LiftRule
from app.numerics.trace import FloatArray
from app.numerics.values import CannotSay, Measured, NotReached, Unit

# Slopes 1.25, 1/3, 1.5, 0 and -2 K/s; recomputed with exact rational arithmetic.
SOAK_TIME_S = [0.0, 100.0, 190.0, 230.0, 250.0, 340.0]
SOAK_TEMPERATURE_C = [25.0, 150.0, 180.0, 240.0, 240.0, 60.0]


def _analyse(
    time_s: ArrayLike, temperature_c: ArrayLike, *, classification_c: float | None = None
) -> ChannelMetrics:
    return analyse_channel(
        time_s,
        temperature_c,
        liquidus_c=217.0,
        soak_min_c=150.0,
        soak_max_c=180.0,
        classification_c=classification_c,
    )


def _is(outcome: object, value: float, unit: Unit, *, at_s: float) -> bool:
    """Whether it is a plain measured value near this one, at about this moment."""
    return (
        isinstance(outcome, Measured)
        and (outcome.unit, outcome.is_censored) == (unit, False)
        and outcome.value == pytest.approx(value)
        and outcome.at_s == pytest.approx(at_s)
    )


def _value(outcome: object) -> float:
    assert isinstance(outcome, Measured)
    return outcome.value


def test_the_soak_profile_has_the_metrics_reckoned() -> None:
    metrics = _analyse(SOAK_TIME_S, SOAK_TEMPERATURE_C, classification_c=235.0)
    assert metrics.peak == Measured(240.0, Unit.CELSIUS, at_s=230.0)
    assert metrics.soak_time == Measured(90.0, Unit.SECOND, at_s=100.0)
    assert metrics.time_25_c_to_peak == Measured(230.0, Unit.SECOND, at_s=0.0)
    assert _is(metrics.average_ramp, 1.5, Unit.KELVIN_PER_SECOND, at_s=214.0 + 2.0 / 3.0)
    assert _value(metrics.maximum_ramp) == pytest.approx(1.5)
    assert _value(metrics.maximum_fall) == pytest.approx(2.0)
    # The hold at 240 °C is no cooling: the fall is reckoned from its end.
    assert _is(metrics.average_cooling, 2.0, Unit.KELVIN_PER_SECOND, at_s=250.0)
    assert isinstance(metrics.near_classification, TimeAbove)
    assert metrics.near_classification.total.value == pytest.approx(31.666666666666668)
    assert _value(metrics.area_above_liquidus) == pytest.approx(768.5833333333334)
    assert (metrics.reading_count, metrics.missing_count) == (6, 0)
    assert metrics.longest_gap_s == 100.0


def test_without_a_classification_temperature_there_is_no_time_near_it() -> None:
    assert _analyse(SOAK_TIME_S, SOAK_TEMPERATURE_C).near_classification is None


def test_a_trace_that_starts_warmer_than_25_degrees_says_so() -> None:
    metrics = _analyse([0, 200, 400], [26, 245, 26])
    assert metrics.time_25_c_to_peak == CannotSay("The trace starts above 25 °C.")


def test_a_trace_that_cools_below_25_degrees_first_counts_from_its_last_rise() -> None:
    metrics = _analyse([0, 10, 20, 240, 400], [30, 20, 25, 245, 26])
    assert metrics.time_25_c_to_peak == Measured(220.0, Unit.SECOND, at_s=20.0)


def test_a_trace_that_never_melts_invents_nothing() -> None:
    metrics = _analyse([0, 100, 200], [20, 160, 20])
    never = NotReached("The trace is never above 217 °C.")
    assert metrics.average_ramp == never
    assert metrics.average_cooling == never
    assert metrics.soak_time == NotReached("The trace is never above 180 °C.")
    assert isinstance(metrics.above_liquidus, TimeAbove)
    assert metrics.above_liquidus.total == Measured(0.0, Unit.SECOND)


def test_a_trace_that_starts_above_liquidus_cannot_say_its_ramp() -> None:
    metrics = _analyse([0, 10, 100], [220, 240, 20])
    assert metrics.average_ramp == CannotSay("The trace starts above 217 °C.")
    assert metrics.soak_time == CannotSay("The trace starts above 150 °C.")
    assert _value(metrics.average_cooling) == pytest.approx(220.0 / 90.0)


def test_a_trace_that_ends_above_liquidus_cannot_say_its_cooling() -> None:
    metrics = _analyse([0, 200, 210], [20, 240, 230])
    assert metrics.average_cooling == CannotSay("The trace ends above 217 °C.")
    assert isinstance(metrics.above_liquidus, TimeAbove)
    assert metrics.above_liquidus.ends_above


def test_a_peak_at_the_end_of_a_trace_may_be_higher() -> None:
    peak = _analyse([0, 200], [20, 240]).peak
    assert peak == Measured(240.0, Unit.CELSIUS, at_s=200.0, is_censored=True)


def test_the_average_ramp_starts_at_the_last_crossing_before_the_peak() -> None:
    metrics = _analyse([0, 100, 110, 120, 160, 300], [17, 227, 207, 227, 247, 20])
    assert _is(metrics.average_ramp, 30.0 / 45.0, Unit.KELVIN_PER_SECOND, at_s=115.0)


def test_a_soak_that_falls_back_is_counted_from_its_last_start() -> None:
    metrics = _analyse([0, 100, 120, 130, 190, 220, 400], [20, 160, 140, 160, 175, 240, 20])
    # Last upward crossing of 150 at 125 s; of 180 at 190 + 30 * 5 / 65 s.
    assert _value(metrics.soak_time) == pytest.approx(65.0 + 150.0 / 65.0)


def test_an_earlier_visit_above_the_soak_is_no_end_of_it() -> None:
    metrics = _analyse([0, 100, 200, 300, 390, 420, 600], [20, 190, 20, 150, 180, 240, 20])
    assert _is(metrics.soak_time, 90.0, Unit.SECOND, at_s=300.0)


@pytest.mark.parametrize("readings", [[], [240.0], [np.nan, np.nan], [np.nan, 240.0]])
def test_a_channel_with_fewer_than_two_readings_says_nothing(readings: list[float]) -> None:
    metrics = _analyse(np.arange(len(readings)), readings, classification_c=245.0)
    nothing = CannotSay("The channel has fewer than 2 readings.")
    assert metrics.peak == nothing
    answers = [getattr(metrics, field.name) for field in fields(metrics)]
    assert [a for a in answers if not isinstance(a, int | float)] == [nothing] * 10


def test_missing_samples_are_counted_and_left_out() -> None:
    metrics = _analyse([0, 100, 150, 220, 440], [25, np.nan, np.nan, 245, 25])
    assert (metrics.reading_count, metrics.missing_count) == (3, 2)
    assert metrics.longest_gap_s == 220.0


def test_limits_that_are_no_limits_are_refused() -> None:
    with pytest.raises(UnusableLimit, match="180 °C is not below 150 °C"):
        analyse_channel([0, 1], [1, 2], liquidus_c=217, soak_min_c=180, soak_max_c=150)
    with pytest.raises(UnusableLimit, match="liquidus_c must be a finite number, not nan"):
        analyse_channel([0, 1], [1, 2], liquidus_c=math.nan, soak_min_c=150, soak_max_c=180)
    with pytest.raises(UnusableLimit, match="classification_c"):
        analyse_channel(
            [0, 1], [1, 2], liquidus_c=217, soak_min_c=1, soak_max_c=2, classification_c=math.inf
        )
    with pytest.raises(UnusableLimit, match="liquidus_c"):
        analyse_site([0, 1], {}, joints=(), liquidus_c=math.nan)
    with pytest.raises(UnusableLimit, match="below 0 s"):
        analyse_site(
            [0, 1], {}, joints=(), liquidus_c=217, lift_rule=LiftRule(("centre",), 217.0, -1.0)
        )


# ── Properties ───────────────────────────────────────────────────────────────


@st.composite
def _traces(draw: st.DrawFn) -> tuple[FloatArray, FloatArray]:
    """Draw times and temperatures in eighths, so that midpoints and shifts are exact."""
    count = draw(st.integers(2, 30))
    steps = draw(st.lists(st.integers(1, 200), min_size=count, max_size=count))
    degrees = draw(st.lists(st.integers(0, 2080), min_size=count, max_size=count))
    return np.cumsum(steps) / 8.0, np.array(degrees) / 8.0


def _flatten(metrics: ChannelMetrics) -> dict[str, object]:
    """Each metric without its moment, times above by their totals and ends."""
    flat: dict[str, object] = {}
    for field in fields(metrics):
        answer = getattr(metrics, field.name)
        if isinstance(answer, TimeAbove):
            flat[field.name + ".total"] = pytest.approx(answer.total.value, abs=1e-6)
            flat[field.name + ".longest"] = pytest.approx(answer.longest.value, abs=1e-6)
            flat[field.name + ".crossings"] = len(answer.crossings)
        elif isinstance(answer, Measured):
            plain = replace(answer, value=0.0, at_s=None)
            flat[field.name] = (pytest.approx(answer.value, rel=1e-6, abs=1e-6), plain)
        else:
            flat[field.name] = answer
    return flat


@given(_traces(), st.integers(-100_000, 100_000))
def test_shifting_time_changes_no_metric(trace: tuple[FloatArray, FloatArray], shift: int) -> None:
    time_s, temperature_c = trace
    still = _analyse(time_s, temperature_c, classification_c=245.0)
    shifted = _analyse(time_s + shift, temperature_c, classification_c=245.0)
    assert _flatten(shifted) == _flatten(still)
    if isinstance(still.peak, Measured) and isinstance(shifted.peak, Measured):
        assert still.peak.at_s is not None
        assert shifted.peak.at_s == still.peak.at_s + shift


@given(_traces(), st.data())
def test_adding_samples_on_the_line_changes_no_metric(
    trace: tuple[FloatArray, FloatArray], data: st.DataObject
) -> None:
    time_s, temperature_c = trace
    places = data.draw(st.sets(st.integers(1, time_s.size - 1)))
    at = np.array(sorted(places), dtype=np.intp)
    denser_s = np.insert(time_s, at, (time_s[at] + time_s[at - 1]) / 2.0)
    denser_c = np.insert(temperature_c, at, (temperature_c[at] + temperature_c[at - 1]) / 2.0)
    sparse = _flatten(_analyse(time_s, temperature_c, classification_c=245.0))
    dense = _flatten(_analyse(denser_s, denser_c, classification_c=245.0))
    for about_the_samples in ("reading_count", "longest_gap_s"):
        del sparse[about_the_samples], dense[about_the_samples]
    assert dense == sparse


# ── Several channels ─────────────────────────────────────────────────────────

SITE_TIME_S = [0.0, 100.0, 200.0, 300.0, 400.0]
SITE = {
    "centre": [20.0, 120.0, 220.0, 230.0, 30.0],
    "corner": [20.0, 140.0, 240.0, 220.0, 40.0],
    "body": [20.0, 20.0, 20.0, 20.0, 20.0],
}
JOINTS = ("centre", "corner")


def test_the_spread_is_the_largest_difference_while_a_joint_is_above_liquidus() -> None:
    site = analyse_site(SITE_TIME_S, SITE, joints=JOINTS, liquidus_c=217.0)
    assert site.spread == Measured(20.0, Unit.KELVIN, at_s=177.0)
    assert site.lift is None


def test_a_difference_below_liquidus_does_not_count_as_spread() -> None:
    time_s = [0.0, 100.0, 200.0, 300.0]
    channels = {"centre": [20.0, 60.0, 225.0, 20.0], "corner": [20.0, 200.0, 225.0, 20.0]}
    site = analyse_site(time_s, channels, joints=JOINTS, liquidus_c=217.0)
    # At the corner's crossing, 168 s, the centre stands at 60 + 165 * 0.68 = 172.2 °C.
    assert _value(site.spread) == pytest.approx(44.8)
    assert isinstance(site.spread, Measured)
    assert site.spread.at_s == pytest.approx(168.0)


def test_a_part_may_be_lifted_once_all_joints_are_above_at_once() -> None:
    site = analyse_site(SITE_TIME_S, SITE, joints=JOINTS, liquidus_c=217.0)
    assert site.all_above_liquidus == Measured(197.0, Unit.SECOND, at_s=197.0)
    # The centre rises through 217 °C at 197 s; the corner falls through it at 300 + 100 / 60 s.
    assert site.all_above_stretches == (Stretch(197.0, 300.0 + 100.0 / 60.0),)


def test_the_lift_rule_is_met_after_its_channels_have_been_above_long_enough() -> None:
    rule = LiftRule(channels=JOINTS, above_c=217.0, for_s=10.0)
    site = analyse_site(SITE_TIME_S, SITE, joints=JOINTS, liquidus_c=217.0, lift_rule=rule)
    assert site.lift == Measured(207.0, Unit.SECOND, at_s=207.0)


def test_the_lift_rule_needs_the_time_in_one_piece() -> None:
    time_s = [0.0, 10.0, 20.0, 30.0, 40.0]
    channels = {"centre": [207.0, 227.0, 207.0, 227.0, 207.0]}
    rule = LiftRule(channels=("centre",), above_c=217.0, for_s=10.5)
    site = analyse_site(time_s, channels, joints=("centre",), liquidus_c=217.0, lift_rule=rule)
    assert site.lift == NotReached(
        "The channels of the lift rule are never all above 217 °C for 10.5 s."
    )
    assert site.spread == CannotSay("A spread needs two joint channels or more.")
    assert _value(site.all_above_liquidus) == 5.0


def test_a_lift_rule_met_from_the_start_may_have_been_met_earlier() -> None:
    rule = LiftRule(channels=("centre",), above_c=217.0, for_s=10.0)
    site = analyse_site(
        [0, 60], {"centre": [220, 220]}, joints=("centre",), liquidus_c=217.0, lift_rule=rule
    )
    assert site.lift == Measured(10.0, Unit.SECOND, at_s=10.0, is_censored=True)


@pytest.mark.parametrize(
    ("channels", "sentence"),
    [
        ((), "The lift rule names no channel."),
        (("edge",), "Channel edge of the lift rule has no readings."),
        (("dead",), "Channel dead of the lift rule has no readings."),
    ],
)
def test_a_lift_rule_without_its_channels_cannot_say(
    channels: tuple[str, ...], sentence: str
) -> None:
    readings: dict[str, ArrayLike] = {**SITE, "dead": [np.nan] * 5}
    rule = LiftRule(channels=channels, above_c=217.0, for_s=10.0)
    site = analyse_site(SITE_TIME_S, readings, joints=JOINTS, liquidus_c=217.0, lift_rule=rule)
    assert site.lift == CannotSay(sentence)


def test_a_dead_joint_makes_the_site_unable_to_say_and_is_named() -> None:
    readings: dict[str, ArrayLike] = {**SITE, "corner": [np.nan] * 5}
    site = analyse_site(SITE_TIME_S, readings, joints=JOINTS, liquidus_c=217.0)
    reason = CannotSay("Joint channel corner has fewer than 2 readings.")
    assert site.spread == site.all_above_liquidus == reason
    assert analyse_site(SITE_TIME_S, SITE, joints=(), liquidus_c=217.0).spread == CannotSay(
        "No joint channel is named."
    )


def test_joints_that_never_melt_have_no_spread() -> None:
    site = analyse_site(SITE_TIME_S, SITE, joints=JOINTS, liquidus_c=250.0)
    assert site.spread == NotReached("No channel is above 250 °C.")
    assert site.all_above_liquidus == NotReached("The channels are never all above 250 °C at once.")


def test_joints_with_gaps_in_different_places_are_compared_between_their_readings() -> None:
    time_s = [0.0, 50.0, 100.0, 150.0, 200.0]
    channels = {
        "centre": [20.0, np.nan, 240.0, np.nan, 20.0],
        "corner": [20.0, 130.0, np.nan, 130.0, 20.0],
    }
    site = analyse_site(time_s, channels, joints=JOINTS, liquidus_c=217.0)
    # The corner's line stays at 130 °C between 50 and 150 s.
    assert _is(site.spread, 110.0, Unit.KELVIN, at_s=100.0)


def test_joints_never_read_at_one_moment_cannot_be_compared() -> None:
    channels = {"centre": [230.0, 220.0, np.nan, np.nan], "corner": [np.nan, np.nan, 230.0, 220.0]}
    site = analyse_site([0, 1, 2, 3], channels, joints=JOINTS, liquidus_c=217.0)
    assert site.spread == CannotSay("No two joint channels have readings at one moment.")


@given(st.lists(_traces(), min_size=2, max_size=3))
def test_the_spread_is_never_below_what_a_fine_search_finds(
    traces: list[tuple[FloatArray, FloatArray]],
) -> None:
    time_s = np.unique(np.concatenate([time for time, _ in traces]))
    channels: dict[str, ArrayLike] = {}
    for place, (own_s, own_c) in enumerate(traces):
        readings = np.full(time_s.size, np.nan)
        readings[np.searchsorted(time_s, own_s)] = own_c
        channels[f"joint {place}"] = readings
    site = analyse_site(time_s, channels, joints=tuple(channels), liquidus_c=217.0)
    fine_s = np.linspace(time_s[0], time_s[-1], 2_001)
    lines = np.array(
        [np.interp(fine_s, own_s, own_c, left=np.nan, right=np.nan) for own_s, own_c in traces]
    )
    present = np.count_nonzero(~np.isnan(lines), axis=0) > 1
    hot = np.any(np.nan_to_num(lines, nan=-1.0) > 217.0, axis=0)
    candidates = lines[:, present & hot]
    if candidates.size:
        widths = np.nanmax(candidates, axis=0) - np.nanmin(candidates, axis=0)
        assert _value(site.spread) >= widths.max() - 1e-9


def _cut(from_s: float, to_s: float) -> ChannelMetrics:
    """Measure a part of a round profile which peaks at 245 °C and 246 s."""
    time_s = np.arange(0.0, 401.0, 0.5)
    rise = 1.0 / (1.0 + np.exp(-(time_s - 170.0) / 40.0))
    fall = 1.0 / (1.0 + np.exp(-(time_s - 290.0) / 15.0))
    shape = rise * (1.0 - fall)
    trace = 24.0 + 221.0 * (shape - shape[0]) / (shape.max() - shape[0])
    kept = (time_s >= from_s) & (time_s <= to_s)
    return analyse_channel(
        time_s[kept], trace[kept], liquidus_c=217.0, soak_min_c=150.0, soak_max_c=200.0
    )


def test_a_whole_trace_shows_its_largest_rise_and_fall() -> None:
    whole = _cut(0.0, 400.0)
    for largest in (whole.maximum_ramp, whole.maximum_fall):
        assert isinstance(largest, Measured)
        assert not largest.is_censored


def test_a_trace_that_ends_before_its_cooling_does_not_show_its_largest_fall() -> None:
    assert isinstance(_cut(0.0, 240.0).maximum_fall, CannotSay)
    for to_s in (275.0, 285.0):
        fall = _cut(0.0, to_s).maximum_fall
        assert isinstance(fall, Measured)
        assert fall.is_censored
    # Long enough below half of the peak: what follows is flatter.
    late = _cut(0.0, 305.0).maximum_fall
    assert late == _cut(0.0, 400.0).maximum_fall


def test_a_trace_that_begins_in_its_rise_does_not_show_its_largest_rise() -> None:
    assert isinstance(_cut(290.0, 400.0).maximum_ramp, CannotSay)
    for from_s in (120.0, 180.0, 230.0):
        rise = _cut(from_s, 400.0).maximum_ramp
        assert isinstance(rise, Measured)
        assert rise.is_censored


def test_a_trace_that_begins_warm_and_at_rest_shows_its_largest_rise() -> None:
    metrics = analyse_channel(
        [0.0, 40.0, 140.0, 160.0, 300.0],
        [80.0, 78.0, 240.0, 240.0, 60.0],
        liquidus_c=217.0,
        soak_min_c=150.0,
        soak_max_c=200.0,
    )
    assert isinstance(metrics.maximum_ramp, Measured)
    assert metrics.maximum_ramp.value == pytest.approx(1.62)
    assert not metrics.maximum_ramp.is_censored
