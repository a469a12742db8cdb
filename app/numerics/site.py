"""What several channels of one site show together: spread, all above at once, the lift rule."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.numerics.crossings import Stretch, TimeAbove, intersect_stretches
from app.numerics.trace import FloatArray, Trace
from app.numerics.values import CannotSay, Measured, NotReached, Outcome, Unit

_FEWEST_TO_COMPARE = 2


@dataclass(frozen=True, slots=True)
class LiftRule:
    """A part may be lifted once all `channels` have been above `above_c` for `for_s` unbroken."""

    channels: tuple[str, ...]
    above_c: float
    for_s: float


def compute_spread(traces: Sequence[Trace], above_liquidus: Sequence[TimeAbove]) -> Outcome:
    """Largest difference (K) between channels at one moment while any is above the liquidus.

    `above_liquidus` belongs to the traces one by one. A channel counts from its first reading to
    its last. Exact: between readings the difference is convex, so it is largest at a reading or
    where a channel crosses the liquidus.
    """
    if len(traces) < _FEWEST_TO_COMPARE:
        return CannotSay("A spread needs two joint channels or more.")
    stretches = [stretch for above in above_liquidus for stretch in above.stretches]
    if not stretches:
        return NotReached(f"No channel is above {above_liquidus[0].threshold_c:g} °C.")
    begin_s = min(stretch.start_s for stretch in stretches)
    finish_s = max(stretch.end_s for stretch in stretches)
    readings = [
        trace.time_s[
            np.searchsorted(trace.time_s, begin_s) : np.searchsorted(
                trace.time_s, finish_s, side="right"
            )
        ]
        for trace in traces
    ]
    moments = _merge(readings)
    ends = np.array([moment for s in stretches for moment in (s.start_s, s.end_s)])
    is_hot = np.zeros(moments.size, dtype=np.bool_)
    for stretch in stretches:
        low, high = np.searchsorted(moments, (stretch.start_s, stretch.end_s))
        is_hot[low:high] = True
    moments = np.concatenate((moments[is_hot], ends))
    return _find_widest(traces, moments)


def _merge(readings: Sequence[FloatArray]) -> FloatArray:
    if all(np.array_equal(readings[0], other) for other in readings[1:]):
        return readings[0]
    return np.unique(np.concatenate(readings))


def _find_widest(traces: Sequence[Trace], moments: FloatArray) -> Outcome:
    top, bottom = np.full(moments.size, -np.inf), np.full(moments.size, np.inf)
    present = np.zeros(moments.size, dtype=np.int64)
    for trace in traces:
        at = np.interp(moments, trace.time_s, trace.temperature_c)
        is_there = (moments >= trace.time_s[0]) & (moments <= trace.time_s[-1])
        np.maximum(top, at, out=top, where=is_there)
        np.minimum(bottom, at, out=bottom, where=is_there)
        present += is_there
    comparable = np.flatnonzero(present > 1)
    if not comparable.size:
        return CannotSay("No two joint channels have readings at one moment.")
    width = top[comparable] - bottom[comparable]
    # The earliest of equally wide moments, wherever it stands in the array.
    widest = comparable[width == width.max()]
    return Measured(value=float(width.max()), unit=Unit.KELVIN, at_s=float(moments[widest].min()))


def find_all_above(stretches: Sequence[Stretch], threshold_c: float) -> Outcome:
    """First moment (s) at which all channels are above at once, from their common stretches.

    Value and `at_s` are the moment; censored when the trace starts that way.
    """
    if not stretches:
        return NotReached(f"The channels are never all above {threshold_c:g} °C at once.")
    first = stretches[0]
    return Measured(first.start_s, Unit.SECOND, at_s=first.start_s, is_censored=first.starts_open)


def find_lift_moment(rule: LiftRule, above: Mapping[str, TimeAbove | CannotSay]) -> Outcome:
    """First moment (s) at which the lift rule is met; `above` holds each channel over `above_c`.

    Value and `at_s` are the moment; censored when the trace starts above, so that the rule may
    have been met earlier. Cannot say when a channel of the rule has no usable readings.
    """
    if not rule.channels:
        return CannotSay("The lift rule names no channel.")
    usable: list[TimeAbove] = []
    for name in rule.channels:
        channel = above.get(name)
        if not isinstance(channel, TimeAbove):
            return CannotSay(f"Channel {name} of the lift rule has no readings.")
        usable.append(channel)
    for stretch in intersect_stretches([channel.stretches for channel in usable]):
        if stretch.length_s >= rule.for_s:
            moment_s = stretch.start_s + rule.for_s
            return Measured(moment_s, Unit.SECOND, at_s=moment_s, is_censored=stretch.starts_open)
    return NotReached(
        f"The channels of the lift rule are never all above {rule.above_c:g} °C "
        f"for {rule.for_s:g} s."
    )
