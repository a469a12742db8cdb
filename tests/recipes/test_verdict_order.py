"""Which line a verdict rests on, and which comes first among those outside."""

import pytest

from app.numerics.guard_band import DecisionRule
from app.numerics.values import CannotSay, Measured, NotReached, Outcome, Unit
from app.recipes.body.window import Limit, Metric
from app.recipes.verdict import Verdict, VerdictState, judge_outcome
from app.recipes.verdict_line import VerdictLine
from app.recipes.verdict_order import get_rank_of
from app.traces.rules import ChannelRole
from tests.recipes.test_verdict import BODY, CENTRE, PEAK, hold, limit, window

SIMPLE = DecisionRule.SIMPLE


def line(held: Limit, channel: str, role: ChannelRole, outcome: Outcome) -> VerdictLine:
    found = judge_outcome(held, channel, outcome, rule=SIMPLE)
    return VerdictLine(**{**vars(found), "role": role})


def celsius(value: float) -> Measured:
    return Measured(value, Unit.CELSIUS)


def order(*lines: VerdictLine) -> list[str]:
    return [one.channel for one in sorted(lines, key=get_rank_of)]


ADJACENT, BOARD = ChannelRole.ADJACENT, ChannelRole.BOARD
RAMP = limit(Metric.MAX_RAMP_UP_K_PER_S, CENTRE, upper=3)
SOAK = limit(Metric.SOAK_TIME_S, CENTRE, lower=60)


def of_role(role: ChannelRole, upper: float) -> Limit:
    return limit(Metric.PEAK_C, role, upper=upper)


def test_a_highest_peak_that_was_passed_comes_before_a_larger_use_of_another_limit() -> None:
    lines = (
        line(RAMP, "ramp", CENTRE, Measured(4.2, Unit.KELVIN_PER_SECOND)),
        line(of_role(CENTRE, 245), "joint", CENTRE, celsius(262)),
        line(of_role(BOARD, 250), "board", BOARD, celsius(253)),
        line(of_role(ADJACENT, 200), "neighbour", ADJACENT, celsius(201)),
        line(of_role(BODY, 250), "body", BODY, celsius(253.2)),
    )
    assert all(one.state is VerdictState.OUTSIDE for one in lines)
    assert order(*lines) == ["body", "neighbour", "board", "joint", "ramp"]


def test_a_lowest_peak_that_was_not_reached_protects_no_part() -> None:
    low = line(PEAK, "joint", CENTRE, celsius(229))
    ramp = line(RAMP, "ramp", CENTRE, Measured(4.2, Unit.KELVIN_PER_SECOND))
    # |229 − 237.5| / 7.5 is 113 %, 4.2 of 3 is 140 %.
    assert order(low, ramp) == ["ramp", "joint"]


def test_a_value_beyond_its_limit_comes_before_what_was_never_reached() -> None:
    never = line(SOAK, "soak", CENTRE, NotReached("It is never above 200 °C."))
    cold = line(limit(Metric.PEAK_C, CENTRE, lower=230), "peak", CENTRE, celsius(188.5))
    assert never.state is cold.state is VerdictState.OUTSIDE
    assert order(never, cold) == ["peak", "soak"]


def test_what_cannot_say_comes_after_outside_and_before_too_close_and_inside() -> None:
    inside = line(RAMP, "inside", CENTRE, Measured(2.9, Unit.KELVIN_PER_SECOND))
    silent = line(RAMP, "silent", CENTRE, CannotSay("No trace."))
    outside = line(RAMP, "outside", CENTRE, Measured(3.1, Unit.KELVIN_PER_SECOND))
    assert order(inside, silent, outside) == ["outside", "silent", "inside"]


def test_the_use_of_the_verdict_is_that_of_the_line_it_rests_on() -> None:
    verdict = hold(limit(Metric.MAX_RAMP_UP_K_PER_S, CENTRE, upper=0.5), of_role(CENTRE, 239))
    assert verdict.deciding is not None
    assert verdict.deciding.metric is Metric.PEAK_C
    # (240 − 25) / (239 − 25); the ramp alone uses 200 %.
    assert verdict.window_use_pct == pytest.approx(215 / 214 * 100)


@pytest.mark.parametrize(
    ("held", "outcome", "state"),
    [
        (limit(Metric.TIME_ABOVE_LIQUIDUS_S, CENTRE, upper=90), 80.0, VerdictState.CANNOT_SAY),
        (limit(Metric.TIME_ABOVE_LIQUIDUS_S, CENTRE, upper=90), 120.0, VerdictState.OUTSIDE),
        (limit(Metric.TIME_ABOVE_LIQUIDUS_S, CENTRE, lower=60), 80.0, VerdictState.INSIDE),
    ],
)
def test_a_value_that_the_trace_does_not_show_all_of_uses_no_known_part(
    held: Limit, outcome: float, state: VerdictState
) -> None:
    found = judge_outcome(held, "T1", Measured(outcome, Unit.SECOND, is_censored=True), rule=SIMPLE)
    assert found.state is state
    assert found.window_use_pct is None
    assert Verdict(found.state, (found,), found).window_use_pct is None


def test_a_kept_limit_with_a_known_use_decides_before_one_of_unknown_use() -> None:
    held = limit(Metric.TIME_ABOVE_LIQUIDUS_S, CENTRE, lower=60)
    open_end = line(held, "open", CENTRE, Measured(61, Unit.SECOND, is_censored=True))
    whole = line(held, "whole", CENTRE, Measured(80, Unit.SECOND))
    assert order(open_end, whole) == ["whole", "open"]


def test_steepest_slopes_say_the_time_they_are_taken_over() -> None:
    verdict = hold(limit(Metric.MAX_RAMP_DOWN_K_PER_S, CENTRE, upper=5), PEAK)
    assert [one.over_s for one in verdict.lines] == [window(PEAK).ramp_window_s, None, None]
    assert [one.role for one in verdict.lines][:2] == [CENTRE, CENTRE]
