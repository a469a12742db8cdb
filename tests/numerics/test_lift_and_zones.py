"""Lifts held against their rule, the coldest joint's peak, and the ends of zones."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.lift import compute_spread_at_coldest_peak, judge_lift
from app.numerics.metrics import UnusableLimit
from app.numerics.site import LiftRule
from app.numerics.trace import Trace, read_trace
from app.numerics.values import CannotSay, Measured, NotReached, Unit
from app.numerics.zones import UnusableZones, ZonePlan, measure_zones

# Both above 217 °C from 197 s (the slower corner) to 243 s (the same).
CENTRE = read_trace([0.0, 220.0, 440.0], [25.0, 245.0, 25.0])
CORNER = read_trace([0.0, 220.0, 440.0], [20.0, 240.0, 20.0])
SITE = {"centre": CENTRE, "corner": CORNER}
RULE = LiftRule(channels=("centre", "corner"), above_c=217.0, for_s=10.0)


def test_a_part_lifted_before_the_rule_was_met_was_lifted_early() -> None:
    judged = judge_lift(RULE, SITE, lifted_at_s=205.0)
    assert judged.was_early is True
    assert judged.margin == Measured(-2.0, Unit.SECOND, at_s=205.0)
    assert judged.cold_channels == ()


def test_a_part_lifted_after_the_rule_was_met_was_not() -> None:
    judged = judge_lift(RULE, SITE, lifted_at_s=215.0)
    assert judged.was_early is False
    assert judged.margin == Measured(8.0, Unit.SECOND, at_s=215.0)


def test_a_lift_at_the_very_moment_is_in_time() -> None:
    assert judge_lift(RULE, SITE, lifted_at_s=207.0).was_early is False


def test_a_lift_long_after_names_the_joints_that_froze_again() -> None:
    judged = judge_lift(RULE, SITE, lifted_at_s=245.0)
    assert judged.was_early is False
    assert judged.cold_channels == ("corner",)


def test_a_lift_before_melting_names_every_joint() -> None:
    judged = judge_lift(RULE, SITE, lifted_at_s=100.0)
    assert judged.was_early is True
    assert judged.cold_channels == ("centre", "corner")


def test_a_rule_never_met_makes_a_seen_lift_early() -> None:
    judged = judge_lift(
        LiftRule(("centre", "corner"), above_c=217.0, for_s=60.0), SITE, lifted_at_s=230.0
    )
    assert judged.was_early is True
    assert isinstance(judged.margin, NotReached)


def test_a_lift_after_the_trace_ended_cannot_be_called_early() -> None:
    judged = judge_lift(
        LiftRule(("centre", "corner"), above_c=217.0, for_s=60.0), SITE, lifted_at_s=500.0
    )
    assert judged.was_early is None
    assert isinstance(judged.margin, CannotSay)
    assert isinstance(judged.cold_channels, CannotSay)


def test_a_trace_that_starts_above_may_have_met_the_rule_before() -> None:
    hot = {"centre": read_trace([0.0, 5.0, 20.0], [230.0, 220.0, 100.0])}
    rule = LiftRule(("centre",), above_c=217.0, for_s=10.0)
    judged = judge_lift(rule, hot, lifted_at_s=3.0)
    assert judged.was_early is None
    assert isinstance(judged.margin, CannotSay)
    held = {"centre": read_trace([0.0, 50.0], [230.0, 230.0])}
    early = judge_lift(rule, held, lifted_at_s=3.0)
    assert early.was_early is None
    assert early.margin == Measured(-7.0, Unit.SECOND, at_s=3.0, is_censored=True)
    assert judge_lift(rule, held, lifted_at_s=12.0).was_early is False


@pytest.mark.parametrize("lost", [{}, {"corner": read_trace([1.0], [230.0])}])
def test_a_rule_whose_channel_is_lost_cannot_say(lost: dict[str, Trace]) -> None:
    judged = judge_lift(RULE, {"centre": CENTRE, **lost}, lifted_at_s=215.0)
    assert judged.was_early is None
    assert isinstance(judged.rule_met, CannotSay)
    assert isinstance(judged.cold_channels, CannotSay)


def test_a_rule_without_channels_cannot_say() -> None:
    judged = judge_lift(LiftRule((), above_c=217.0, for_s=10.0), {}, lifted_at_s=215.0)
    assert judged.was_early is None


def test_a_lift_at_no_moment_is_refused() -> None:
    with pytest.raises(UnusableLimit, match="finite"):
        judge_lift(RULE, SITE, lifted_at_s=float("nan"))


@given(shift_s=st.floats(-1e5, 1e5), lifted_at_s=st.floats(0.0, 440.0))
def test_shifting_time_shifts_the_lift_alone(shift_s: float, lifted_at_s: float) -> None:
    moved = {
        name: read_trace(trace.time_s + shift_s, trace.temperature_c)
        for name, trace in SITE.items()
    }
    here = judge_lift(RULE, SITE, lifted_at_s=lifted_at_s).margin
    there = judge_lift(RULE, moved, lifted_at_s=lifted_at_s + shift_s).margin
    assert isinstance(here, Measured)
    assert isinstance(there, Measured)
    assert there.value == pytest.approx(here.value, abs=1e-6)


def test_the_spread_at_the_coldest_peak_is_taken_at_its_own_moment() -> None:
    # The late corner peaks at 235 °C at 240 s, when the centre is back at 225 °C and the edge 232.
    late = read_trace([0.0, 240.0, 440.0], [25.0, 235.0, 25.0])
    edge = read_trace([0.0, 440.0], [246.0, 220.0 + 1.0 / 3.0])
    spread = compute_spread_at_coldest_peak([CENTRE, late, edge])
    assert isinstance(spread, Measured)
    assert spread.value == pytest.approx(10.0)
    assert spread.at_s == 240.0
    assert not spread.is_censored


def test_the_spread_at_a_coldest_peak_cut_off_is_censored() -> None:
    rising = read_trace([0.0, 220.0], [25.0, 230.0])
    assert compute_spread_at_coldest_peak([CENTRE, rising]) == Measured(
        15.0, Unit.KELVIN, at_s=220.0, is_censored=True
    )


def test_one_joint_has_no_spread() -> None:
    assert isinstance(compute_spread_at_coldest_peak([CENTRE]), CannotSay)
    assert isinstance(compute_spread_at_coldest_peak([CENTRE, read_trace([], [])]), CannotSay)
    elsewhere = read_trace([500.0, 510.0, 520.0], [25.0, 26.0, 25.0])
    assert isinstance(compute_spread_at_coldest_peak([CENTRE, elsewhere]), CannotSay)


ZONES = [
    ZonePlan("preheat", 100.0, 150.0),
    ZonePlan("soak", 190.0, 200.0),
    ZonePlan("ramp", 230.0, 260.0),
    ZonePlan("reflow", 250.0, 260.0),
    ZonePlan("cooling", 340.0),
]
# Slopes 1.25, 1/3, 1.5, 0 and -2 K/s.
PROFILE = read_trace(
    [0.0, 100.0, 190.0, 230.0, 250.0, 340.0], [25.0, 150.0, 180.0, 240.0, 240.0, 60.0]
)


def _values(outcomes: list[object]) -> list[float]:
    assert all(isinstance(outcome, Measured) for outcome in outcomes)
    return [outcome.value for outcome in outcomes if isinstance(outcome, Measured)]


def test_each_zone_tells_what_it_reached_and_how_fast_it_still_moved() -> None:
    zones = measure_zones(PROFILE, ZONES)
    assert [zone.starts_at_s for zone in zones] == [0.0, 100.0, 190.0, 230.0, 250.0]
    assert _values([zone.reached for zone in zones]) == [150.0, 180.0, 240.0, 240.0, 60.0]
    assert _values([zone.above_setting for zone in zones[:4]]) == [0.0, -20.0, -20.0, -20.0]
    assert zones[4].above_setting is None
    rates = _values([zone.end_rate for zone in zones])
    assert rates == pytest.approx([1.25, 1 / 3, 1.5, 0.0, -2.0])


def test_a_zone_is_settled_for_as_long_as_it_stays_within_the_band() -> None:
    zones = measure_zones(PROFILE, ZONES, band_k=2.0)
    settled = [zone.settled_for for zone in zones]
    assert _values(list(settled)) == pytest.approx([1.6, 6.0, 4 / 3, 20.0, 1.0])
    assert [isinstance(one, Measured) and one.is_censored for one in settled] == [
        False,
        False,
        False,
        True,
        False,
    ]


def test_settling_counts_only_the_unbroken_time_up_to_the_end() -> None:
    wavy = read_trace([0.0, 10.0, 20.0, 30.0, 40.0], [100.0, 100.0, 110.0, 90.0, 100.0])
    zone = measure_zones(wavy, [ZonePlan("soak", 40.0)], band_k=5.0)[0]
    assert zone.settled_for == Measured(5.0, Unit.SECOND, at_s=35.0)


def test_a_trace_that_ends_in_a_zone_cannot_say_what_it_reached() -> None:
    zones = measure_zones(PROFILE, [*ZONES[:4], ZonePlan("cooling", 400.0, 25.0)])
    last = zones[4]
    for outcome in (last.reached, last.above_setting, last.end_rate, last.settled_for):
        assert isinstance(outcome, CannotSay)
    assert isinstance(zones[3].reached, Measured)


def test_a_zone_shorter_than_the_window_has_no_end_rate() -> None:
    zone = measure_zones(PROFILE, [ZonePlan("preheat", 4.0)])[0]
    assert isinstance(zone.end_rate, CannotSay)
    assert isinstance(zone.reached, Measured)


def test_a_trace_that_begins_inside_the_window_has_no_end_rate() -> None:
    late = read_trace([97.0, 120.0], [150.0, 160.0])
    zone = measure_zones(late, [ZonePlan("preheat", 100.0)])[0]
    assert isinstance(zone.end_rate, CannotSay)
    assert isinstance(zone.settled_for, Measured)
    assert zone.settled_for.is_censored


@pytest.mark.parametrize(
    "zones",
    [
        [ZonePlan("a", 0.0)],
        [ZonePlan("a", 10.0), ZonePlan("b", 10.0)],
        [ZonePlan("a", float("nan"))],
        [ZonePlan("a", 10.0, float("inf"))],
    ],
)
def test_zones_out_of_order_are_refused(zones: list[ZonePlan]) -> None:
    with pytest.raises(UnusableZones):
        measure_zones(PROFILE, zones)


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf")])
def test_windows_and_bands_above_nothing_are_needed(bad: float) -> None:
    with pytest.raises(UnusableZones):
        measure_zones(PROFILE, ZONES, end_window_s=bad)
    with pytest.raises(UnusableZones):
        measure_zones(PROFILE, ZONES, band_k=bad)


@given(extra_s=st.lists(st.floats(1.0, 339.0), max_size=20))
def test_readings_on_the_line_change_no_zone(extra_s: list[float]) -> None:
    moments = np.union1d(PROFILE.time_s, extra_s)
    denser = read_trace(moments, np.interp(moments, PROFILE.time_s, PROFILE.temperature_c))
    for zone, other in zip(
        measure_zones(PROFILE, ZONES), measure_zones(denser, ZONES), strict=True
    ):
        pairs = [
            (zone.reached, other.reached),
            (zone.end_rate, other.end_rate),
            (zone.settled_for, other.settled_for),
        ]
        for one, two in pairs:
            assert _values([two]) == pytest.approx(_values([one]), abs=1e-6)
