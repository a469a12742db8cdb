"""Holds the metrics of a trace against a recipe's window, limit by limit."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from app.numerics.crossings import TimeAbove
from app.numerics.guard_band import DecisionRule
from app.numerics.metrics import ChannelMetrics
from app.numerics.recording import SiteAnalysis
from app.numerics.uncertainty import (
    ChannelUncertainty,
    Expanded,
    TimeAboveUncertainty,
    Uncertainty,
)
from app.numerics.values import CannotSay, Measured, Outcome
from app.recipes.body.heating import LiftRule
from app.recipes.body.setup import Thermocouple
from app.recipes.body.window import METRICS, Limit, Metric, Window
from app.recipes.verdict_line import (
    LARGEST_USE_PCT,
    Reached,
    VerdictLine,
    VerdictState,
    compute_window_use_pct,
    judge_outcome,
    refuse_to_say,
)
from app.recipes.verdict_order import get_rank_of
from app.traces.rules import ChannelRole

__all__ = [
    "LARGEST_USE_PCT",
    "ChannelReading",
    "DecisionRule",
    "Verdict",
    "VerdictLine",
    "VerdictState",
    "compute_window_use_pct",
    "judge",
    "judge_outcome",
    "list_lift_channels",
]


@dataclass(frozen=True)
class ChannelReading:
    """One usable channel of a trace: its name, where it sits, what it shows and how surely."""

    name: str
    role: ChannelRole
    metrics: ChannelMetrics
    uncertainty: ChannelUncertainty | None = None


@dataclass(frozen=True)
class Verdict:
    """The whole verdict; `deciding` is the line it rests on, None where nothing was judged.

    Outside beats cannot say, that beats too close to call, and that beats inside. Among lines of
    the worst state the deciding one is first by verdict_order.get_rank. `left_out` names optional
    channels that were not there; `rule` is what every line was decided by.
    """

    state: VerdictState
    lines: tuple[VerdictLine, ...]
    deciding: VerdictLine | None
    left_out: tuple[str, ...] = ()
    rule: DecisionRule = DecisionRule.GUARDED

    @property
    def window_use_pct(self) -> float | None:
        """The use of the deciding line in %, None where it has none."""
        return None if self.deciding is None else self.deciding.window_use_pct


def judge(
    window: Window,
    *,
    plan: Sequence[Thermocouple],
    channels: Sequence[ChannelReading],
    site: SiteAnalysis,
    faults: Mapping[str, str] | None = None,
    rule: DecisionRule = DecisionRule.GUARDED,
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
    desk = _Desk(window, tuple(plan), tuple(channels), site, rule, faults or {})
    lines = tuple(
        replace(line, over_s=window.ramp_window_s) if limit.metric in _STEEPEST else line
        for limit in window.limits
        for line in desk.judge_limit(limit)
    )
    return Verdict(_get_worst(lines), lines, _find_deciding(lines), desk.list_left_out(), rule)


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

    window: Window
    plan: tuple[Thermocouple, ...]
    channels: tuple[ChannelReading, ...]
    site: SiteAnalysis
    rule: DecisionRule
    faults: Mapping[str, str] = field(default_factory=dict)

    def judge_limit(self, limit: Limit) -> Iterable[VerdictLine]:
        """Yield a line for every channel of the limit, and one for each that is missing."""
        if METRICS[limit.metric].is_of_site:
            yield self._judge_site(limit)
            return
        for role in limit.roles:
            for channel in self.channels:
                if channel.role is role:
                    yield replace(self._judge_channel(limit, channel), role=role)
            for one in self._list_missing(role):
                missing = refuse_to_say(limit, one.channel, self._spell_missing(one))
                yield replace(missing, role=role)

    def _judge_site(self, limit: Limit) -> VerdictLine:
        joints = [role for role in ChannelRole if role.is_joint]
        missing = [one for role in joints for one in self._list_missing(role)]
        if missing:
            return refuse_to_say(limit, "", "; ".join(map(self._spell_missing, missing)))
        outcome, uncertainty = _SITE_OUTCOMES[limit.metric](self.site)
        nears = (
            _find_reached(channel, self.window.liquidus_c)
            for channel in self.channels
            if channel.role.is_joint
        )
        # As near as the joint that came nearest.
        near = max((one for one in nears if one), key=lambda one: one.may_be, default=None)
        return judge_outcome(limit, "", outcome, uncertainty, rule=self.rule, reached=near)

    def _judge_channel(self, limit: Limit, channel: ChannelReading) -> VerdictLine:
        outcome, uncertainty = _OUTCOMES[limit.metric](channel.metrics, channel.uncertainty)
        is_soak = limit.metric is Metric.SOAK_TIME_S
        threshold_c = self.window.soak_max_c if is_soak else self.window.liquidus_c
        return judge_outcome(
            limit,
            channel.name,
            outcome,
            uncertainty,
            rule=self.rule,
            reached=_find_reached(channel, threshold_c),
        )

    def list_left_out(self) -> tuple[str, ...]:
        """Return the optional channels that a limit is about and the trace does not hold."""
        limited = {role for limit in self.window.limits for role in limit.roles}
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


def _find_reached(channel: ChannelReading, threshold_c: float) -> Reached | None:
    peak = channel.metrics.peak
    uncertainty = channel.uncertainty.peak if channel.uncertainty else None
    if not isinstance(peak, Measured) or not isinstance(uncertainty, Expanded):
        return None
    return Reached(threshold_c, peak.value, uncertainty.expanded)


def _get_worst(lines: Sequence[VerdictLine]) -> VerdictState:
    states = (line.state for line in lines)
    return max(states, key=lambda state: state.severity, default=VerdictState.CANNOT_SAY)


def _find_deciding(lines: Sequence[VerdictLine]) -> VerdictLine | None:
    return min(lines, key=get_rank_of, default=None)


_Judged = tuple[Outcome, Uncertainty | None]
# Slopes that mean nothing without the time they are taken over.
_STEEPEST: Final = frozenset({Metric.MAX_RAMP_UP_K_PER_S, Metric.MAX_RAMP_DOWN_K_PER_S})
_NO_CLASSIFICATION: Final = CannotSay("No classification temperature was given.")


def _of(name: str) -> Callable[[ChannelMetrics, ChannelUncertainty | None], _Judged]:
    """Return what reads one figure, and its uncertainty by the same name."""

    def read(metrics: ChannelMetrics, uncertainty: ChannelUncertainty | None) -> _Judged:
        outcome: Outcome = getattr(metrics, name)
        return outcome, None if uncertainty is None else getattr(uncertainty, name)

    return read


def _of_above(
    name: str, part: str = "total"
) -> Callable[[ChannelMetrics, ChannelUncertainty | None], _Judged]:
    """Return what reads the total or the longest of a time above a temperature."""

    def read(metrics: ChannelMetrics, uncertainty: ChannelUncertainty | None) -> _Judged:
        above: TimeAbove | CannotSay | None = getattr(metrics, name)
        weighed = None if uncertainty is None else getattr(uncertainty, name)
        if isinstance(weighed, TimeAboveUncertainty):
            weighed = getattr(weighed, part)
        if not isinstance(above, TimeAbove):
            return above or _NO_CLASSIFICATION, weighed
        return getattr(above, part), weighed

    return read


_OUTCOMES: Final[
    Mapping[Metric, Callable[[ChannelMetrics, ChannelUncertainty | None], _Judged]]
] = {
    Metric.PEAK_C: _of("peak"),
    Metric.TIME_ABOVE_LIQUIDUS_S: _of_above("above_liquidus"),
    Metric.LONGEST_ABOVE_LIQUIDUS_S: _of_above("above_liquidus", "longest"),
    Metric.AREA_ABOVE_LIQUIDUS_K_S: _of("area_above_liquidus"),
    Metric.MAX_RAMP_UP_K_PER_S: _of("maximum_ramp"),
    Metric.MAX_RAMP_DOWN_K_PER_S: _of("maximum_fall"),
    Metric.AVERAGE_RAMP_K_PER_S: _of("average_ramp"),
    Metric.AVERAGE_COOLING_K_PER_S: _of("average_cooling"),
    Metric.SOAK_TIME_S: _of("soak_time"),
    Metric.TIME_25_TO_PEAK_S: _of("time_25_c_to_peak"),
    Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S: _of_above("near_classification"),
}

_SITE_OUTCOMES: Final[Mapping[Metric, Callable[[SiteAnalysis], _Judged]]] = {
    Metric.SPREAD_K: lambda site: (site.metrics.spread, site.spread_uncertainty),
    Metric.SPREAD_AT_COLDEST_PEAK_K: lambda site: (
        site.spread_at_coldest_peak,
        site.spread_at_coldest_peak_uncertainty,
    ),
}
