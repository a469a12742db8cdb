"""Holds the metrics of a trace against a recipe's window, limit by limit."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from app.numerics.crossings import TimeAbove
from app.numerics.metrics import ChannelMetrics, SiteMetrics
from app.numerics.values import CannotSay, Measured, NotReached, Outcome
from app.recipes.body.heating import LiftRule
from app.recipes.body.setup import Thermocouple
from app.recipes.body.window import METRICS, Limit, Metric, Window
from app.traces.rules import ChannelRole

# A use beyond this is far outside in any case, and a figure that JSON and paper can carry.
LARGEST_USE_PCT: Final = 9999.0


class VerdictState(StrEnum):
    """What the window says of a trace, or of one line."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    CANNOT_SAY = "cannot say"


@dataclass(frozen=True)
class ChannelReading:
    """One usable channel of a trace: its name, where it sits, and what it shows."""

    name: str
    role: ChannelRole
    metrics: ChannelMetrics


@dataclass(frozen=True)
class VerdictLine:
    """One limit held against one channel; `channel` is empty for a figure of the whole site.

    `value` and `window_use_pct` are None where there is no value; `reason` says what is wrong, and
    is empty inside the window. `at_s` is the value's moment on the trace's own time axis.
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


@dataclass(frozen=True)
class Verdict:
    """The whole verdict; `deciding` is the line it rests on, None where nothing was judged.

    Outside beats cannot say, and that beats inside. Outside or inside, the deciding line is the
    one that uses most of its limit. `left_out` names optional channels that were not there.
    """

    state: VerdictState
    lines: tuple[VerdictLine, ...]
    deciding: VerdictLine | None
    left_out: tuple[str, ...] = ()

    @property
    def window_use_pct(self) -> float | None:
        """The largest use of any limit in %, None where no line has one."""
        uses = [one.window_use_pct for one in self.lines if one.window_use_pct is not None]
        return max(uses, default=None)


def compute_window_use_pct(limit: Limit, value: float) -> float:
    """Return how much of a limit a value uses, in %: 100 at the limit, more outside, never below 0.

    Two limits: distance from their middle over half their distance. An upper limit alone:
    (value − zero) / (upper − zero). A lower limit alone: (lower − zero) / (value − zero). Zero is
    25 °C for temperatures and 0 for all else. At most 9999. Definition of this program, no source.
    """
    zero = METRICS[limit.metric].zero
    if limit.lower is not None and limit.upper is not None:
        middle, half = (limit.lower + limit.upper) / 2, (limit.upper - limit.lower) / 2
        share = abs(value - middle) / half
    elif limit.upper is not None:
        share = (value - zero) / (limit.upper - zero)
    elif limit.lower is None or limit.lower <= zero:
        share = 0.0 if limit.lower is None or value >= limit.lower else LARGEST_USE_PCT
    elif value <= zero:
        share = LARGEST_USE_PCT
    else:
        share = (limit.lower - zero) / (value - zero)
    return min(max(share * 100, 0.0), LARGEST_USE_PCT)


def judge(
    window: Window,
    *,
    plan: Sequence[Thermocouple],
    channels: Sequence[ChannelReading],
    site: SiteMetrics,
    faults: Mapping[str, str] | None = None,
) -> Verdict:
    """Hold a trace's metrics, computed with the window's own definitions, against its limits.

    Every channel of a limit's roles is judged. A required thermocouple of the plan without a
    usable channel makes its limits "cannot say"; `faults` tells by channel name why one was left
    out. ValueError where slopes were taken over another time than the window asks for.
    """
    for channel in channels:
        if channel.metrics.ramp_window_s != window.ramp_window_s:
            raise ValueError(
                f"{channel.name}: slopes over {channel.metrics.ramp_window_s:g} s cannot be held "
                f"against limits for {window.ramp_window_s:g} s"
            )
    desk = _Desk(tuple(plan), tuple(channels), site, faults or {})
    lines = tuple(line for limit in window.limits for line in desk.judge_limit(limit))
    return Verdict(_get_worst(lines), lines, _find_deciding(lines), desk.list_left_out(window))


def list_lift_channels(
    rule: LiftRule, roles_of_channels: Mapping[str, ChannelRole]
) -> tuple[str, ...]:
    """Return the trace's channels that a lift rule waits for, by role or by name, in their order.

    A channel that the rule names and the trace lacks is listed too, last: the rule is then never
    met without it.
    """
    wanted = {name.casefold() for name in rule.channels}
    present = tuple(
        name
        for name, role in roles_of_channels.items()
        if role in rule.roles or name.casefold() in wanted
    )
    there = {name.casefold() for name in present}
    return present + tuple(name for name in rule.channels if name.casefold() not in there)


@dataclass(frozen=True)
class _Desk:
    """What lies on the table while one trace is judged."""

    plan: tuple[Thermocouple, ...]
    channels: tuple[ChannelReading, ...]
    site: SiteMetrics
    faults: Mapping[str, str] = field(default_factory=dict)

    def judge_limit(self, limit: Limit) -> Iterable[VerdictLine]:
        """Yield a line for every channel of the limit, and one for each that is missing."""
        if METRICS[limit.metric].is_of_site:
            joints = (role for role in ChannelRole if role.is_joint)
            missing = [one for role in joints for one in self._list_missing(role)]
            if missing:
                yield _refuse_to_say(limit, "", "; ".join(map(self._spell_missing, missing)))
            else:
                yield judge_outcome(limit, "", self.site.spread)
            return
        for role in limit.roles:
            for channel in self.channels:
                if channel.role is role:
                    outcome = _get_outcome(limit.metric, channel.metrics)
                    yield judge_outcome(limit, channel.name, outcome)
            for one in self._list_missing(role):
                yield _refuse_to_say(limit, one.channel, self._spell_missing(one))

    def list_left_out(self, window: Window) -> tuple[str, ...]:
        """Return the optional channels that a limit is about and the trace does not hold."""
        limited = {role for limit in window.limits for role in limit.roles}
        names = {channel.name.casefold() for channel in self.channels}
        return tuple(
            self._spell_missing(one)
            for one in self.plan
            if not one.required and one.role in limited and one.channel.casefold() not in names
        )

    def _list_missing(self, role: ChannelRole) -> list[Thermocouple]:
        """Return the required thermocouples of a role that no channel of the trace stands for.

        Names are compared first; a channel of the role under another name stands for one more.
        """
        names = {channel.name.casefold() for channel in self.channels if channel.role is role}
        planned = {one.channel.casefold() for one in self.plan if one.role is role}
        missing = [
            one
            for one in self.plan
            if one.role is role and one.required and one.channel.casefold() not in names
        ]
        return missing[len(names - planned) :]

    def _spell_missing(self, one: Thermocouple) -> str:
        why = self.faults.get(one.channel, "the trace has no usable channel of it")
        return f"{one.channel} ({one.role.words}): {why}"


def judge_outcome(limit: Limit, channel: str, outcome: Outcome) -> VerdictLine:
    """Hold one outcome against one limit.

    A censored value may truly be larger: it can show that a limit is broken, or that a lower one
    is kept, and nothing else. What never happened breaks a lower limit.
    """
    if isinstance(outcome, CannotSay):
        return _refuse_to_say(limit, channel, outcome.reason)
    if isinstance(outcome, NotReached):
        if limit.lower is None:
            return _refuse_to_say(limit, channel, outcome.reason)
        return _line(limit, channel, state=VerdictState.OUTSIDE, reason=outcome.reason)
    state, reason = _place(limit, outcome)
    return _line(limit, channel, state=state, reason=reason, measured=outcome)


def _place(limit: Limit, measured: Measured) -> tuple[VerdictState, str]:
    if limit.upper is not None and measured.value > limit.upper:
        return VerdictState.OUTSIDE, f"above the upper limit of {limit.upper:g} {limit.unit}"
    if measured.is_censored and _needs_the_end(limit, measured.value):
        return VerdictState.CANNOT_SAY, "the trace does not show all of it: it may be more"
    if limit.lower is not None and measured.value < limit.lower:
        return VerdictState.OUTSIDE, f"below the lower limit of {limit.lower:g} {limit.unit}"
    return VerdictState.INSIDE, ""


def _needs_the_end(limit: Limit, value: float) -> bool:
    return limit.upper is not None or (limit.lower is not None and value < limit.lower)


def _line(
    limit: Limit,
    channel: str,
    *,
    state: VerdictState,
    reason: str,
    measured: Measured | None = None,
) -> VerdictLine:
    return VerdictLine(
        metric=limit.metric,
        channel=channel,
        value=measured.value if measured else None,
        unit=limit.unit,
        lower=limit.lower,
        upper=limit.upper,
        state=state,
        window_use_pct=compute_window_use_pct(limit, measured.value) if measured else None,
        reason=reason,
        at_s=measured.at_s if measured else None,
    )


def _refuse_to_say(limit: Limit, channel: str, reason: str) -> VerdictLine:
    return _line(limit, channel, state=VerdictState.CANNOT_SAY, reason=reason)


def _get_worst(lines: Sequence[VerdictLine]) -> VerdictState:
    states = {line.state for line in lines}
    if VerdictState.OUTSIDE in states:
        return VerdictState.OUTSIDE
    if VerdictState.CANNOT_SAY in states or not states:
        return VerdictState.CANNOT_SAY
    return VerdictState.INSIDE


def _find_deciding(lines: Sequence[VerdictLine]) -> VerdictLine | None:
    worst = _get_worst(lines)
    candidates = [line for line in lines if line.state is worst]
    if worst is VerdictState.CANNOT_SAY:
        return candidates[0] if candidates else None
    return max(candidates, key=_get_weight)


def _get_weight(line: VerdictLine) -> float:
    """Order lines by use; outside without a value weighs most: it did not happen at all."""
    return LARGEST_USE_PCT + 1 if line.window_use_pct is None else line.window_use_pct


def _get_outcome(metric: Metric, metrics: ChannelMetrics) -> Outcome:
    return _OUTCOMES[metric](metrics)


def _get_total(time_above: TimeAbove | CannotSay | None) -> Outcome:
    if time_above is None:
        return CannotSay("No classification temperature was given.")
    return time_above.total if isinstance(time_above, TimeAbove) else time_above


_OUTCOMES: Final[Mapping[Metric, Callable[[ChannelMetrics], Outcome]]] = {
    Metric.PEAK_C: lambda metrics: metrics.peak,
    Metric.TIME_ABOVE_LIQUIDUS_S: lambda metrics: _get_total(metrics.above_liquidus),
    Metric.MAX_RAMP_UP_K_PER_S: lambda metrics: metrics.maximum_ramp,
    Metric.MAX_RAMP_DOWN_K_PER_S: lambda metrics: metrics.maximum_fall,
    Metric.AVERAGE_RAMP_K_PER_S: lambda metrics: metrics.average_ramp,
    Metric.SOAK_TIME_S: lambda metrics: metrics.soak_time,
    Metric.TIME_25_TO_PEAK_S: lambda metrics: metrics.time_25_c_to_peak,
    Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S: lambda metrics: _get_total(
        metrics.near_classification
    ),
}
