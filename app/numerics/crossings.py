"""When a trace is above a temperature: its stretches, their crossings and the area over it."""

from collections.abc import Sequence

from app.numerics.areas import compute_area_above
from app.numerics.edges import find_edges
from app.numerics.stretches import Crossing, Stretch, TimeAbove
from app.numerics.trace import Trace

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
