"""Every metric of one channel, and of the joints of one site, in one call each."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from app.numerics.crossings import (
    Stretch,
    TimeAbove,
    compute_area_above,
    compute_time_above,
    intersect_stretches,
)
from app.numerics.edges import find_edges
from app.numerics.errors import NumericsError
from app.numerics.ramps import (
    compute_average_cooling,
    compute_average_ramp,
    compute_largest_ramps,
    compute_soak_time,
    compute_time_to_peak,
    open_fall,
    open_rise,
)
from app.numerics.site import LiftRule, compute_spread, find_all_above, find_lift_moment
from app.numerics.trace import Trace, read_trace
from app.numerics.values import CannotSay, Measured, Outcome, Unit

DEFAULT_RAMP_WINDOW_S = 5.0
NEAR_CLASSIFICATION_K = 5.0
ROOM_C = 25.0
FEWEST_READINGS = 2


class UnusableLimit(NumericsError):
    """A temperature or time to measure against that is no finite number or out of order."""


@dataclass(frozen=True, slots=True)
class ChannelMetrics:
    """What one channel shows; each field by the definition of the function that computes it.

    A largest rise or fall that may be steeper beyond the trace's ends is censored.

    `near_classification` is the time above Tc − 5 K, None when no Tc was given.
    """

    reading_count: int
    missing_count: int
    longest_gap_s: float
    ramp_window_s: float
    peak: Measured | CannotSay
    above_liquidus: TimeAbove | CannotSay
    area_above_liquidus: Measured | CannotSay
    maximum_ramp: Outcome
    average_ramp: Outcome
    soak_time: Outcome
    average_cooling: Outcome
    maximum_fall: Outcome
    time_25_c_to_peak: Outcome
    near_classification: TimeAbove | CannotSay | None


@dataclass(frozen=True, slots=True)
class SiteMetrics:
    """What the joint channels of one site show together.

    `all_above_stretches` are the times in which all joints are above the liquidus at once;
    `lift` is the moment at which the lift rule is met, None when no rule was given.
    """

    spread: Outcome
    all_above_liquidus: Outcome
    all_above_stretches: tuple[Stretch, ...]
    lift: Outcome | None


def compute_peak(trace: Trace) -> Measured:
    """Highest reading (°C) and the first moment it is read.

    Censored at the first or last reading: the true peak may lie outside the trace. Needs one
    reading or more.
    """
    return trace.memory.get((compute_peak, None), lambda: _find_peak(trace))


def _find_peak(trace: Trace) -> Measured:
    place = int(np.argmax(trace.temperature_c))
    return Measured(
        value=float(trace.temperature_c[place]),
        unit=Unit.CELSIUS,
        at_s=float(trace.time_s[place]),
        is_censored=place in {0, trace.time_s.size - 1},
    )


def analyse_channel(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    *,
    liquidus_c: float,
    soak_min_c: float,
    soak_max_c: float,
    ramp_window_s: float = DEFAULT_RAMP_WINDOW_S,
    classification_c: float | None = None,
) -> ChannelMetrics:
    """Every metric of one channel: moments in s, rising; temperatures in °C, NaN = no reading.

    With fewer than two readings every metric is CannotSay. Raises MalformedArrays for arrays
    that are no trace, UnusableLimit for a limit that is not finite or a soak whose minimum is
    not below its maximum, UnusableWindow for a ramp window that is not above 0 s.
    """
    return measure_channel(
        read_trace(time_s, temperature_c),
        liquidus_c=liquidus_c,
        soak_min_c=soak_min_c,
        soak_max_c=soak_max_c,
        ramp_window_s=ramp_window_s,
        classification_c=classification_c,
    )


def measure_channel(
    trace: Trace,
    *,
    liquidus_c: float,
    soak_min_c: float,
    soak_max_c: float,
    ramp_window_s: float = DEFAULT_RAMP_WINDOW_S,
    classification_c: float | None = None,
) -> ChannelMetrics:
    """Every metric of one channel that is read already; refuses limits as analyse_channel does."""
    _check_finite(liquidus_c=liquidus_c, soak_min_c=soak_min_c, soak_max_c=soak_max_c)
    if classification_c is not None:
        _check_finite(classification_c=classification_c)
    if not soak_min_c < soak_max_c:
        raise UnusableLimit(
            f"Soak must start below its end: {soak_min_c:g} °C is not below {soak_max_c:g} °C."
        )
    maximum_ramp, maximum_fall = compute_largest_ramps(trace, ramp_window_s)
    if trace.time_s.size < FEWEST_READINGS:
        return _say_nothing(trace, ramp_window_s, has_classification=classification_c is not None)
    peak = compute_peak(trace)
    above_liquidus = compute_time_above(trace, liquidus_c)
    return ChannelMetrics(
        reading_count=trace.time_s.size,
        missing_count=trace.missing_count,
        longest_gap_s=trace.longest_gap_s,
        ramp_window_s=ramp_window_s,
        peak=peak,
        above_liquidus=above_liquidus,
        area_above_liquidus=compute_area_above(trace, liquidus_c),
        maximum_ramp=open_rise(maximum_ramp, trace, peak, ramp_window_s),
        average_ramp=compute_average_ramp(peak, above_liquidus),
        soak_time=compute_soak_time(
            peak, find_edges(trace, soak_min_c), find_edges(trace, soak_max_c)
        ),
        average_cooling=compute_average_cooling(
            peak, above_liquidus, last_at_peak_s=_find_last_at(trace, peak.value)
        ),
        maximum_fall=open_fall(maximum_fall, trace, peak, ramp_window_s),
        time_25_c_to_peak=compute_time_to_peak(peak, find_edges(trace, ROOM_C)),
        near_classification=None
        if classification_c is None
        else compute_time_above(trace, classification_c - NEAR_CLASSIFICATION_K),
    )


def analyse_site(
    time_s: ArrayLike,
    channels_c: Mapping[str, ArrayLike],
    *,
    joints: tuple[str, ...],
    liquidus_c: float,
    lift_rule: LiftRule | None = None,
) -> SiteMetrics:
    """Measure what several channels on one time axis (s, rising) show together; temperatures in °C.

    `joints` names the joint channels among `channels_c`; the lift rule may name any of them. A
    joint that is absent or has fewer than two readings makes spread and all-above CannotSay.
    Raises MalformedArrays and UnusableLimit as analyse_channel does.
    """
    return measure_site(
        {name: read_trace(time_s, values) for name, values in channels_c.items()},
        joints=joints,
        liquidus_c=liquidus_c,
        lift_rule=lift_rule,
    )


def measure_site(
    traces: Mapping[str, Trace],
    *,
    joints: tuple[str, ...],
    liquidus_c: float,
    lift_rule: LiftRule | None = None,
) -> SiteMetrics:
    """Measure what channels that are read already show together, as analyse_site does."""
    _check_finite(liquidus_c=liquidus_c)
    lift: Outcome | None = None
    if lift_rule is not None:
        _check_finite(above_c=lift_rule.above_c, for_s=lift_rule.for_s)
        if lift_rule.for_s < 0.0:
            raise UnusableLimit(f"A lift rule of {lift_rule.for_s:g} s is below 0 s.")
        above = {
            name: compute_time_above(traces[name], lift_rule.above_c)
            for name in lift_rule.channels
            if _is_usable(traces.get(name))
        }
        lift = find_lift_moment(lift_rule, above)
    unusable = [name for name in joints if not _is_usable(traces.get(name))]
    if unusable or not joints:
        reason = (
            f"Joint channel {unusable[0]} has fewer than {FEWEST_READINGS} readings."
            if unusable
            else "No joint channel is named."
        )
        return SiteMetrics(CannotSay(reason), CannotSay(reason), (), lift)
    joint_traces = [traces[name] for name in joints]
    above_liquidus = [compute_time_above(trace, liquidus_c) for trace in joint_traces]
    common = intersect_stretches([above.stretches for above in above_liquidus])
    return SiteMetrics(
        spread=compute_spread(joint_traces, above_liquidus),
        all_above_liquidus=find_all_above(common, liquidus_c),
        all_above_stretches=common,
        lift=lift,
    )


def _is_usable(trace: Trace | None) -> bool:
    return trace is not None and trace.time_s.size >= FEWEST_READINGS


def _find_last_at(trace: Trace, value_c: float) -> float:
    return float(trace.time_s[np.flatnonzero(trace.temperature_c == value_c)[-1]])


def _check_finite(**limits: float) -> None:
    for name, limit in limits.items():
        if not math.isfinite(limit):
            raise UnusableLimit(f"{name} must be a finite number, not {limit:g}.")


def _say_nothing(trace: Trace, ramp_window_s: float, *, has_classification: bool) -> ChannelMetrics:
    nothing = CannotSay(f"The channel has fewer than {FEWEST_READINGS} readings.")
    return ChannelMetrics(
        reading_count=trace.time_s.size,
        missing_count=trace.missing_count,
        longest_gap_s=trace.longest_gap_s,
        ramp_window_s=ramp_window_s,
        peak=nothing,
        above_liquidus=nothing,
        area_above_liquidus=nothing,
        maximum_ramp=nothing,
        average_ramp=nothing,
        soak_time=nothing,
        average_cooling=nothing,
        maximum_fall=nothing,
        time_25_c_to_peak=nothing,
        near_classification=nothing if has_classification else None,
    )
