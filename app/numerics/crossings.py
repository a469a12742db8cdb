"""When a trace is above a temperature: its stretches, their crossings and the area over it."""

from collections.abc import Sequence

import numpy as np

from app.numerics.edges import find_edges
from app.numerics.outline import get_outline, list_readings, sum_blocks
from app.numerics.stretches import Crossing, Stretch, TimeAbove
from app.numerics.trace import FloatArray, Trace
from app.numerics.values import Measured, Unit

__all__ = [
    "Crossing",
    "Stretch",
    "TimeAbove",
    "compute_area_above",
    "compute_time_above",
    "intersect_stretches",
]


def compute_time_above(trace: Trace, threshold_c: float) -> TimeAbove:
    """Stretches of time in which the trace is strictly above `threshold_c` (°C).

    Piecewise linear with interpolated crossings. A plateau at the threshold is not above it; a
    touch from below is no stretch, a touch from above ends one and starts the next.
    """
    return trace.memory.get(
        (compute_time_above, threshold_c), lambda: find_edges(trace, threshold_c).spell()
    )


def compute_area_above(trace: Trace, threshold_c: float) -> Measured:
    """Area between the trace and `threshold_c` (°C) where it is above, in K·s; exact.

    Censored when the first or the last reading is above.
    """
    return trace.memory.get(
        (compute_area_above, threshold_c), lambda: _measure_area(trace, threshold_c)
    )


def _measure_area(trace: Trace, threshold_c: float) -> Measured:
    time, value = trace.time_s, trace.temperature_c
    if not value.size:
        return Measured(0.0, Unit.KELVIN_SECOND)
    outline = get_outline(trace)
    is_above = outline.lowest_c > threshold_c
    inner_k_s = _integrate_blocks(trace)[is_above] - threshold_c * _measure_blocks(trace)[is_above]
    blocks = np.flatnonzero(~is_above & (outline.highest_c > threshold_c))
    readings = list_readings(blocks, value.size)
    over, moments = value[readings] - threshold_c, time[readings]
    # A segment's part above is a trapezium of height sum `lifted` over the share `lifted / reach`.
    positive, size = np.maximum(over, 0.0), np.abs(over)
    lifted, reach = positive[:, :-1] + positive[:, 1:], size[:, :-1] + size[:, 1:]
    share = np.divide(lifted, reach, out=np.zeros_like(lifted), where=reach > 0.0)
    outer_k_s = lifted * share * (moments[:, 1:] - moments[:, :-1]) / 2.0
    return Measured(
        value=float(inner_k_s.sum() + outer_k_s.sum()),
        unit=Unit.KELVIN_SECOND,
        is_censored=bool(value[0] > threshold_c or value[-1] > threshold_c),
    )


def _integrate_blocks(trace: Trace) -> FloatArray:
    """Integrate the trace (°C·s) over each block of its outline."""

    def integrate() -> FloatArray:
        segments = trace.temperature_c[1:] + trace.temperature_c[:-1]
        segments *= trace.steps_s
        return sum_blocks(segments) / 2.0

    return trace.memory.get((_integrate_blocks, None), integrate)


def _measure_blocks(trace: Trace) -> FloatArray:
    """Measure how long (s) each block of the outline is."""
    return trace.clock.get((_measure_blocks, None), lambda: sum_blocks(trace.steps_s))


def intersect_stretches(channels: Sequence[Sequence[Stretch]]) -> tuple[Stretch, ...]:
    """Stretches in which every channel is above at once; each channel's are in order of time."""
    if not channels:
        return ()
    common = list(channels[0])
    for other in channels[1:]:
        common = _intersect_two(common, other)
    return tuple(common)


def _intersect_two(left: Sequence[Stretch], right: Sequence[Stretch]) -> list[Stretch]:
    found: list[Stretch] = []
    i = j = 0
    while i < len(left) and j < len(right):
        a, b = left[i], right[j]
        start, end = max(a.start_s, b.start_s), min(a.end_s, b.end_s)
        if start < end:
            found.append(
                Stretch(
                    start_s=start,
                    end_s=end,
                    # Open only if each that sets this end is: one true crossing closes it.
                    starts_open=all(s.starts_open for s in (a, b) if s.start_s == start),
                    ends_open=all(s.ends_open for s in (a, b) if s.end_s == end),
                )
            )
        if a.end_s <= b.end_s:
            i += 1
        else:
            j += 1
    return found
