"""Traces held against a window: inside, outside, or no answer at all."""

from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.guard_band import DecisionRule
from app.numerics.metrics import ChannelMetrics, analyse_channel, analyse_site
from app.numerics.recording import SiteAnalysis
from app.numerics.values import CannotSay, Measured, NotReached, Unit
from app.recipes.body.heating import LiftRule
from app.recipes.body.setup import Thermocouple
from app.recipes.body.window import Limit, Metric, Window
from app.recipes.verdict import (
    LARGEST_USE_PCT,
    ChannelReading,
    Verdict,
    VerdictState,
    compute_window_use_pct,
    judge,
    judge_outcome,
    list_lift_channels,
)
from app.traces.rules import ChannelRole

CENTRE, CORNER, BODY = ChannelRole.JOINT_CENTRE, ChannelRole.JOINT_CORNER, ChannelRole.BODY

# From 20 °C 1 K/s to 150 °C, 0.5 K/s to 200 °C, 1 K/s to the peak at 270 s, then 2 K/s down.
TIMES_S = (0.0, 130.0, 230.0, 270.0, 380.0)
CENTRE_C = (20.0, 150.0, 200.0, 240.0, 20.0)
CORNER_C = (20.0, 150.0, 200.0, 237.0, 20.0)

PLAN = (
    Thermocouple(channel="T1", role=CENTRE, required=True),
    Thermocouple(channel="T2", role=CORNER, required=True),
    Thermocouple(channel="T3", role=BODY, required=False),
)


def window(*limits: Limit) -> Window:
    return Window(
        alloy="Sn96.5Ag3.0Cu0.5 (SAC305)",
        solidus_c=217,
        liquidus_c=220,
        ramp_window_s=5,
        soak_min_c=150,
        soak_max_c=200,
        classification_c=245,
        limits=limits,
    )


def limit(
    metric: Metric,
    *roles: ChannelRole,
    lower: float | None = None,
    upper: float | None = None,
) -> Limit:
    return Limit(metric=metric, roles=roles, lower=lower, upper=upper)


SIMPLE = DecisionRule.SIMPLE
PEAK = limit(Metric.PEAK_C, CENTRE, CORNER, lower=230, upper=245)
SPREAD = limit(Metric.SPREAD_K, upper=7)


def measure(temperatures_c: tuple[float, ...], ramp_window_s: float = 5) -> ChannelMetrics:
    return analyse_channel(
        TIMES_S,
        temperatures_c,
        liquidus_c=220,
        soak_min_c=150,
        soak_max_c=200,
        ramp_window_s=ramp_window_s,
        classification_c=245,
    )


JOINTS = (
    ChannelReading("T1", CENTRE, measure(CENTRE_C)),
    ChannelReading("T2", CORNER, measure(CORNER_C)),
)


def hold(
    *limits: Limit,
    channels: tuple[ChannelReading, ...] = JOINTS,
    faults: Mapping[str, str] | None = None,
) -> Verdict:
    """Hold the trace by simple acceptance: the guard band has tests of its own."""
    metrics = analyse_site(
        TIMES_S, {"T1": CENTRE_C, "T2": CORNER_C}, joints=("T1", "T2"), liquidus_c=220
    )
    return judge(
        window(*limits),
        plan=PLAN,
        channels=channels,
        site=SiteAnalysis(metrics, None, Measured(3.0, Unit.KELVIN), None, None),
        faults=faults,
        rule=SIMPLE,
    )


def kelvin(value: float, *, is_censored: bool = False) -> Measured:
    return Measured(value, Unit.KELVIN, is_censored=is_censored)


def test_a_trace_inside_every_limit_is_inside_and_names_the_tightest() -> None:
    verdict = hold(PEAK, SPREAD)
    assert verdict.state is VerdictState.INSIDE
    assert [(line.metric, line.channel) for line in verdict.lines] == [
        (Metric.PEAK_C, "T1"),
        (Metric.PEAK_C, "T2"),
        (Metric.SPREAD_K, ""),
    ]
    # |240 − 237.5| / 7.5 is a third; a spread of 3 K of 7 K is 43 %.
    assert verdict.deciding is verdict.lines[2]
    assert verdict.window_use_pct == pytest.approx(3 / 7 * 100)


def test_every_metric_reads_its_own_figure() -> None:
    readings = {
        Metric.PEAK_C: 240,
        # 20 K up at 1 K/s and down at 2 K/s.
        Metric.TIME_ABOVE_LIQUIDUS_S: 30,
        Metric.MAX_RAMP_UP_K_PER_S: 1,
        Metric.MAX_RAMP_DOWN_K_PER_S: 2,
        Metric.AVERAGE_RAMP_K_PER_S: 1,
        Metric.SOAK_TIME_S: 100,
        # From 25 °C at 5 s to the peak at 270 s.
        Metric.TIME_25_TO_PEAK_S: 265,
        # A touch of 245 − 5 = 240 °C is no time above it.
        Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S: 0,
        Metric.LONGEST_ABOVE_LIQUIDUS_S: 30,
        # A triangle 20 K high on 30 s.
        Metric.AREA_ABOVE_LIQUIDUS_K_S: 300,
        Metric.AVERAGE_COOLING_K_PER_S: 2,
    }
    of_site = {Metric.SPREAD_K: 3, Metric.SPREAD_AT_COLDEST_PEAK_K: 3}
    assert set(readings) | set(of_site) == set(Metric)
    for metric, value in readings.items():
        (line,) = hold(limit(metric, CENTRE, upper=50)).lines
        assert line.value == pytest.approx(value)
    for metric, value in of_site.items():
        (line,) = hold(limit(metric, upper=50)).lines
        assert line.value == pytest.approx(value)


def test_a_peak_above_its_limit_is_outside_and_decides() -> None:
    verdict = hold(limit(Metric.PEAK_C, CENTRE, CORNER, upper=238), SPREAD)
    assert verdict.state is VerdictState.OUTSIDE
    assert verdict.deciding is verdict.lines[0]
    assert verdict.lines[0].reason == "above the upper limit of 238 °C"
    assert verdict.lines[0].window_use_pct == pytest.approx((240 - 25) / (238 - 25) * 100)
    assert verdict.lines[0].at_s == 270
    assert verdict.lines[1].state is VerdictState.INSIDE


def test_a_peak_below_its_limit_is_outside() -> None:
    verdict = hold(limit(Metric.PEAK_C, CENTRE, CORNER, lower=239))
    assert [line.state for line in verdict.lines] == [VerdictState.INSIDE, VerdictState.OUTSIDE]


def test_a_value_at_its_limit_is_inside_and_uses_all_of_it() -> None:
    (line,) = hold(limit(Metric.PEAK_C, CENTRE, lower=200, upper=240)).lines
    assert line.state is VerdictState.INSIDE
    assert line.window_use_pct == pytest.approx(100)


def test_a_missing_required_channel_means_no_answer_with_its_reason() -> None:
    verdict = hold(PEAK, SPREAD, channels=JOINTS[:1], faults={"T2": "open circuit from 81 s on"})
    assert verdict.state is VerdictState.CANNOT_SAY
    assert [line.state for line in verdict.lines] == [
        VerdictState.INSIDE,
        VerdictState.CANNOT_SAY,
        VerdictState.CANNOT_SAY,
    ]
    assert verdict.lines[1].channel == "T2"
    assert verdict.lines[1].reason == "T2 (joint, corner): open circuit from 81 s on"
    assert verdict.deciding is verdict.lines[1]


def test_outside_is_outside_even_where_another_channel_is_missing() -> None:
    verdict = hold(limit(Metric.PEAK_C, CENTRE, CORNER, upper=230), channels=JOINTS[:1])
    assert verdict.state is VerdictState.OUTSIDE


def test_a_missing_optional_channel_is_named_and_changes_nothing() -> None:
    verdict = hold(PEAK, limit(Metric.PEAK_C, BODY, upper=250))
    assert verdict.state is VerdictState.INSIDE
    assert verdict.left_out == ("T3 (package body): the trace has no usable channel of it",)


def test_an_optional_channel_that_is_there_is_judged() -> None:
    body = ChannelReading("T3", BODY, measure((20, 150, 200, 251, 20)))
    verdict = hold(PEAK, limit(Metric.PEAK_C, BODY, upper=250), channels=(*JOINTS, body))
    assert verdict.state is VerdictState.OUTSIDE
    assert verdict.left_out == ()


def test_a_window_of_which_nothing_could_be_judged_gives_no_answer() -> None:
    verdict = hold(limit(Metric.PEAK_C, BODY, upper=250))
    assert (verdict.state, verdict.lines, verdict.deciding) == (VerdictState.CANNOT_SAY, (), None)
    assert verdict.window_use_pct is None


def test_a_channel_of_the_role_under_another_name_stands_for_the_planned_one() -> None:
    renamed = (JOINTS[0], ChannelReading("Logger 7", CORNER, JOINTS[1].metrics))
    verdict = hold(PEAK, channels=renamed)
    assert verdict.state is VerdictState.INSIDE
    assert [line.channel for line in verdict.lines] == ["T1", "Logger 7"]


def test_names_are_compared_without_regard_to_case() -> None:
    lower = tuple(ChannelReading(one.name.lower(), one.role, one.metrics) for one in JOINTS)
    assert hold(PEAK, channels=lower).state is VerdictState.INSIDE


def test_a_trace_never_above_liquidus_is_outside_for_want_of_melting() -> None:
    cold = tuple(
        ChannelReading(one.name, one.role, measure((20, 150, 200, 210, 20))) for one in JOINTS
    )
    verdict = hold(
        limit(Metric.TIME_ABOVE_LIQUIDUS_S, CENTRE, lower=20, upper=90),
        limit(Metric.AVERAGE_RAMP_K_PER_S, CENTRE, upper=3),
        channels=cold,
    )
    assert verdict.state is VerdictState.OUTSIDE
    assert verdict.lines[0].value == 0
    assert verdict.lines[1].state is VerdictState.CANNOT_SAY


def test_what_never_happened_breaks_a_lower_limit_and_weighs_most() -> None:
    line = judge_outcome(
        limit(Metric.SOAK_TIME_S, CENTRE, lower=60), "T1", NotReached("never above 200 °C")
    )
    assert (line.state, line.reason) == (VerdictState.OUTSIDE, "never above 200 °C")
    assert line.window_use_pct is None


def test_what_cannot_be_told_is_not_told() -> None:
    line = judge_outcome(PEAK, "T1", CannotSay("The channel has fewer than 2 readings."))
    assert (line.state, line.value) == (VerdictState.CANNOT_SAY, None)
    assert line.reason == "The channel has fewer than 2 readings."


@pytest.mark.parametrize(
    ("lower", "upper", "value", "state"),
    [
        (None, 7, 8, VerdictState.OUTSIDE),
        (None, 7, 6, VerdictState.CANNOT_SAY),
        (5, None, 6, VerdictState.INSIDE),
        (5, None, 4, VerdictState.CANNOT_SAY),
        (5, 7, 6, VerdictState.CANNOT_SAY),
        (5, 7, 4, VerdictState.CANNOT_SAY),
    ],
)
def test_a_value_cut_off_by_the_trace_proves_only_what_more_of_it_could_not_undo(
    lower: float | None, upper: float | None, value: float, state: VerdictState
) -> None:
    held = Limit(metric=Metric.SPREAD_K, lower=lower, upper=upper)
    assert judge_outcome(held, "", kelvin(value, is_censored=True), rule=SIMPLE).state is state


def test_slopes_over_another_time_are_not_held_against_the_window() -> None:
    other = (ChannelReading("T1", CENTRE, measure(CENTRE_C, ramp_window_s=10)),)
    with pytest.raises(ValueError, match="slopes over 10 s"):
        hold(PEAK, channels=other)


@pytest.mark.parametrize(
    ("lower", "upper", "value", "use_pct"),
    [
        (230, 245, 237.5, 0),
        (230, 245, 245, 100),
        (230, 245, 230, 100),
        (230, 245, 252.5, 200),
        (None, 250, 250, 100),
        (None, 250, 137.5, 50),
        (None, 250, 10, 0),
        (225, None, 225, 100),
        (225, None, 425, 50),
        (225, None, 125, 200),
        (225, None, 25, LARGEST_USE_PCT),
        (25, None, 30, 0),
        (25, None, 20, LARGEST_USE_PCT),
    ],
)
def test_window_use_of_a_temperature_counts_from_25_c(
    lower: float | None, upper: float | None, value: float, use_pct: float
) -> None:
    held = limit(Metric.PEAK_C, CENTRE, lower=lower, upper=upper)
    assert compute_window_use_pct(held, value) == pytest.approx(use_pct)


def test_window_use_of_a_slope_counts_from_zero() -> None:
    held = limit(Metric.MAX_RAMP_UP_K_PER_S, CENTRE, upper=3)
    assert compute_window_use_pct(held, 1.5) == pytest.approx(50)
    assert compute_window_use_pct(held, -2) == 0


@given(
    st.floats(min_value=0, max_value=100),
    st.floats(min_value=0, max_value=49),
    st.floats(min_value=50, max_value=100),
    st.sampled_from(["lower", "upper", "both"]),
)
def test_inside_is_where_the_use_is_at_most_a_hundred(
    value: float, low: float, high: float, sides: str
) -> None:
    held = Limit(
        metric=Metric.SPREAD_K,
        lower=None if sides == "upper" else low,
        upper=None if sides == "lower" else high,
    )
    line = judge_outcome(held, "", kelvin(value), rule=SIMPLE)
    assert line.window_use_pct is not None
    if line.state is VerdictState.INSIDE:
        assert line.window_use_pct <= 100 + 1e-9
    else:
        assert line.window_use_pct >= 100 - 1e-9


def test_the_lift_rule_waits_for_its_roles_and_names_and_for_what_is_missing() -> None:
    roles = {"T1": CENTRE, "T2": CORNER, "t3": BODY}
    rule = LiftRule(roles=(CENTRE,), channels=("T3", "T8"), above_c=225, for_s=5)
    assert list_lift_channels(rule, roles) == ("T1", "t3", "T8")
