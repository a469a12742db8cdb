"""Whether a part was lifted too early, and how far apart its joints were at the coldest's peak."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.numerics.crossings import compute_time_above
from app.numerics.cut import find_temperature_at
from app.numerics.metrics import UnusableLimit, compute_peak
from app.numerics.site import LiftRule, find_lift_moment
from app.numerics.trace import Trace
from app.numerics.values import CannotSay, Measured, NotReached, Outcome, Unit

_FEWEST_TO_COMPARE = 2


@dataclass(frozen=True, slots=True)
class LiftJudgement:
    """What the trace says of a lift.

    `rule_met` is the moment the rule was met; `margin` the time (s) from then to the lift, negative
    when it was too early. `was_early` is None when the trace cannot say. `cold_channels` are
    those of the rule at or below its temperature at the lift: they pull pads if soldered still.
    """

    lifted_at_s: float
    rule_met: Outcome
    margin: Outcome
    was_early: bool | None
    cold_channels: tuple[str, ...] | CannotSay


def judge_lift(rule: LiftRule, traces: Mapping[str, Trace], *, lifted_at_s: float) -> LiftJudgement:
    """Hold the moment of a lift (s, on the traces' time axis) against the lift rule.

    A rule that is met only after the lift, or never in a trace that reaches to the lift, makes it
    early; a trace that ends or begins elsewhere, or starts above, cannot say. The margin is
    censored when the rule's moment is. Raises UnusableLimit for a moment that is not finite.
    """
    if not math.isfinite(lifted_at_s):
        raise UnusableLimit(f"The moment of a lift must be finite, not {lifted_at_s:g} s.")
    # A channel without two readings says nothing of when it was above.
    usable = {
        name: traces[name]
        for name in rule.channels
        if name in traces and traces[name].time_s.size >= _FEWEST_TO_COMPARE
    }
    above = {name: compute_time_above(trace, rule.above_c) for name, trace in usable.items()}
    rule_met = find_lift_moment(rule, above)
    if isinstance(rule_met, NotReached) and all(channel.starts_above for channel in above.values()):
        # The time before the first reading may have met it.
        rule_met = CannotSay(f"The trace starts above {rule.above_c:g} °C.")
    at_lift = {name: find_temperature_at(trace, lifted_at_s) for name, trace in usable.items()}
    is_seen = len(at_lift) == len(set(rule.channels)) and None not in at_lift.values()
    margin, was_early = _measure_margin(rule_met, lifted_at_s, is_seen=is_seen)
    cold: tuple[str, ...] | CannotSay = CannotSay(_unseen(lifted_at_s))
    if is_seen:
        cold = tuple(name for name, c in at_lift.items() if c is not None and c <= rule.above_c)
    return LiftJudgement(lifted_at_s, rule_met, margin, was_early, cold)


def _measure_margin(
    rule_met: Outcome, lifted_at_s: float, *, is_seen: bool
) -> tuple[Outcome, bool | None]:
    if isinstance(rule_met, CannotSay):
        return rule_met, None
    if isinstance(rule_met, Measured):
        margin_s = lifted_at_s - rule_met.value
        margin = Measured(margin_s, Unit.SECOND, at_s=lifted_at_s, is_censored=rule_met.is_censored)
        if margin_s >= 0.0:
            return margin, False
        # Seen to start above: the rule may have been met before the trace began.
        return margin, None if rule_met.is_censored else True
    if not is_seen:
        return CannotSay(_unseen(lifted_at_s)), None
    return NotReached(rule_met.reason), True


def _unseen(lifted_at_s: float) -> str:
    return f"Not every channel of the lift rule has readings at {lifted_at_s:g} s."


def compute_spread_at_coldest_peak(traces: Sequence[Trace]) -> Outcome:
    """Difference (K) between joint channels at the moment the coldest one is at its peak.

    The coldest is the one with the lowest peak, the earliest of equals; `at_s` is its peak's first
    moment. Channels without a reading around that moment are left out; censored when that
    peak is at an end of its trace. Cannot say with fewer than two channels there.
    """
    if len(traces) < _FEWEST_TO_COMPARE:
        return CannotSay("A spread needs two joint channels or more.")
    if any(not trace.time_s.size for trace in traces):
        return CannotSay("A joint channel has no readings.")
    coldest = min(
        (compute_peak(trace) for trace in traces),
        # In no way by the order of the channels.
        key=lambda peak: (peak.value, peak.at_s, peak.is_censored),
    )
    moment_s = coldest.at_s
    if moment_s is None:
        return CannotSay("The coldest peak has no moment.")
    there = [c for trace in traces if (c := find_temperature_at(trace, moment_s)) is not None]
    if len(there) < _FEWEST_TO_COMPARE:
        return CannotSay("No two joint channels have readings at the coldest one's peak.")
    return Measured(
        max(there) - min(there), Unit.KELVIN, at_s=moment_s, is_censored=coldest.is_censored
    )
