"""One outcome held against one limit, with the uncertainty that decides how sure the answer is."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from app.numerics.guard_band import Conformity, DecisionRule, decide
from app.numerics.uncertainty import Expanded, Uncertainty
from app.numerics.values import CannotSay, Measured, NotReached, Outcome
from app.recipes.body.window import METRICS, Limit, Metric
from app.traces.rules import ChannelRole

# A use beyond this is far outside in any case, and a figure that JSON and paper can carry.
LARGEST_USE_PCT: Final = 9999.0

# Counted from the recording's own start where that is within its uncertainty of 25 °C: nothing was
# heated before, so what U holds already is all that can be missing. Our own rule, no source.
_BEGUN_WITH_THE_RECORDING: Final = frozenset({Metric.TIME_25_TO_PEAK_S})

_NOT_ALL: Final = "the trace does not show all of it: it may be more"


class VerdictState(StrEnum):
    """What the window says of a trace, or of one line."""

    INSIDE = "inside"
    TOO_CLOSE = "too close to call"
    CANNOT_SAY = "cannot say"
    OUTSIDE = "outside"

    @property
    def severity(self) -> int:
        """How bad it is, from 0 up: inside, too close to call, cannot say, outside."""
        return list(VerdictState).index(self)


_STATES: Final = {
    Conformity.INSIDE: VerdictState.INSIDE,
    Conformity.TOO_CLOSE: VerdictState.TOO_CLOSE,
    Conformity.OUTSIDE: VerdictState.OUTSIDE,
}


@dataclass(frozen=True)
class VerdictLine:
    """One limit held against one channel; `channel` is empty for a figure of the whole site.

    `value` is None where there is none, and so is `window_use_pct`, also where the trace does not
    show all of the value or nothing can be said. `reason` says what is wrong, and is empty inside
    the window. `at_s` is the value's moment on the trace's own time axis. `uncertainty` is None
    where there is none to be told; `role` where the figure is of the whole site. `over_s` is the
    time that a steepest slope is the mean over, None for all else.
    """

    metric: Metric
    channel: str
    value: float | None
    unit: str
    lower: float | None
    upper: float | None
    state: VerdictState
    window_use_pct: float | None
    reason: str = ""
    at_s: float | None = None
    is_censored: bool = False
    uncertainty: Expanded | None = None
    role: ChannelRole | None = None
    over_s: float | None = None


@dataclass(frozen=True)
class Reached:
    """The threshold (°C) that an outcome waits for, the peak (°C), and its U: how near it came."""

    threshold_c: float
    peak_c: float
    expanded_k: float

    @property
    def may_be(self) -> bool:
        """Whether within its uncertainty the peak may have reached the threshold."""
        return self.peak_c + self.expanded_k >= self.threshold_c


def compute_window_use_pct(limit: Limit, value: float) -> float:
    """Return how much of a limit a value uses, in %: 100 at the limit, more outside, never below 0.

    Two limits: distance from their middle over half their distance. An upper limit alone:
    (value − zero) / (upper − zero). A lower limit alone: (lower − zero) / (value − zero). Zero is
    25 °C for temperatures and 0 for all else. At most 9999. Definition of this program, no source.
    """
    return compute_use_pct(limit.metric, value, lower=limit.lower, upper=limit.upper)


def compute_use_pct(
    metric: Metric, value: float, *, lower: float | None, upper: float | None
) -> float:
    """Return how much of the limits of a metric a value uses; see compute_window_use_pct."""
    zero = METRICS[metric].zero
    if lower is not None and upper is not None:
        share = abs(value - (lower + upper) / 2) / ((upper - lower) / 2)
    elif upper is not None:
        share = (value - zero) / (upper - zero)
    elif lower is None or lower <= zero:
        share = 0.0 if lower is None or value >= lower else LARGEST_USE_PCT
    elif value <= zero:
        share = LARGEST_USE_PCT
    else:
        share = (lower - zero) / (value - zero)
    return min(max(share * 100, 0.0), LARGEST_USE_PCT)


def judge_outcome(
    limit: Limit,
    channel: str,
    outcome: Outcome,
    uncertainty: Uncertainty | None = None,
    *,
    rule: DecisionRule = DecisionRule.GUARDED,
    reached: Reached | None = None,
) -> VerdictLine:
    """Hold one outcome against one limit by the rule.

    Guarded, a value decides nothing without its uncertainty. A censored value may truly be
    larger: it can show that a limit is broken, or that a lower one is kept, and nothing else. What
    never happened breaks a lower limit, unless within its uncertainty it did (`reached`).
    """
    if isinstance(outcome, CannotSay):
        return refuse_to_say(limit, channel, outcome.reason)
    if isinstance(outcome, NotReached):
        return _judge_absence(limit, channel, outcome.reason, reached, rule=rule)
    return _judge_value(limit, channel, outcome, uncertainty, rule=rule)


def refuse_to_say(limit: Limit, channel: str, reason: str) -> VerdictLine:
    """Return a line that cannot say, and why."""
    return _line(limit, channel, state=VerdictState.CANNOT_SAY, reason=reason)


def _judge_absence(
    limit: Limit, channel: str, reason: str, reached: Reached | None, *, rule: DecisionRule
) -> VerdictLine:
    if limit.lower is None:
        return refuse_to_say(limit, channel, reason)
    if rule is DecisionRule.GUARDED and reached is not None and reached.may_be:
        near = f"{reason} Within its uncertainty the peak may have reached it."
        return _line(limit, channel, state=VerdictState.TOO_CLOSE, reason=near)
    return _line(limit, channel, state=VerdictState.OUTSIDE, reason=reason)


def _judge_value(
    limit: Limit,
    channel: str,
    measured: Measured,
    uncertainty: Uncertainty | None,
    *,
    rule: DecisionRule,
) -> VerdictLine:
    expanded = uncertainty if isinstance(uncertainty, Expanded) else None
    if rule is DecisionRule.GUARDED and expanded is None:
        why = uncertainty.reason if isinstance(uncertainty, CannotSay) else "no measuring chain"
        state, reason = VerdictState.CANNOT_SAY, f"its uncertainty cannot be told: {why}"
    else:
        state, reason = _place(limit, measured, expanded, rule)
    return _line(
        limit, channel, state=state, reason=reason, measured=measured, uncertainty=expanded
    )


def _place(
    limit: Limit, measured: Measured, uncertainty: Expanded | None, rule: DecisionRule
) -> tuple[VerdictState, str]:
    value = measured.value
    expanded = 0.0 if uncertainty is None else uncertainty.expanded
    found = decide(value, expanded, lower=limit.lower, upper=limit.upper, rule=rule)
    guard = expanded if rule is DecisionRule.GUARDED else 0.0
    is_above = limit.upper is not None and value > limit.upper + guard
    is_kept = limit.upper is None and found is Conformity.INSIDE
    if _is_open(limit, measured, uncertainty) and not is_above and not is_kept:
        return VerdictState.CANNOT_SAY, _NOT_ALL
    return _STATES[found], _spell_reason(limit, value, found)


def _is_open(limit: Limit, measured: Measured, uncertainty: Expanded | None) -> bool:
    """Say whether the true value may be larger than all that the trace shows."""
    may_be_more = uncertainty is not None and uncertainty.is_censored
    return measured.is_censored or (may_be_more and limit.metric not in _BEGUN_WITH_THE_RECORDING)


def _spell_reason(limit: Limit, value: float, found: Conformity) -> str:
    if found is Conformity.INSIDE:
        return ""
    to_upper = abs(value - limit.upper) if limit.upper is not None else None
    to_lower = abs(value - limit.lower) if limit.lower is not None else None
    is_upper = to_lower is None or (to_upper is not None and to_upper <= to_lower)
    side, at = ("upper", limit.upper) if is_upper else ("lower", limit.lower)
    of = f"the {side} limit of {at:g} {limit.unit}"
    is_beyond = at is not None and (value > at if is_upper else value < at)
    beyond = f"{'above' if is_upper else 'below'} {of}"
    if found is Conformity.OUTSIDE:
        return beyond
    if is_beyond:
        return f"{beyond}, by less than its uncertainty"
    return f"closer to {of} than its uncertainty"


def _line(
    limit: Limit,
    channel: str,
    *,
    state: VerdictState,
    reason: str,
    measured: Measured | None = None,
    uncertainty: Expanded | None = None,
) -> VerdictLine:
    is_whole = measured is not None and not measured.is_censored
    has_use = is_whole and state is not VerdictState.CANNOT_SAY
    return VerdictLine(
        metric=limit.metric,
        channel=channel,
        value=measured.value if measured else None,
        unit=limit.unit,
        lower=limit.lower,
        upper=limit.upper,
        state=state,
        window_use_pct=compute_window_use_pct(limit, measured.value)
        if measured and has_use
        else None,
        reason=reason,
        at_s=measured.at_s if measured else None,
        is_censored=measured.is_censored if measured else False,
        uncertainty=uncertainty,
    )
