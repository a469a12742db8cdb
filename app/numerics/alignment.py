"""How far runs must be moved in time to lie over each other: start, liquidus, or best fit."""

import math
from dataclasses import dataclass

import numpy as np

from app.numerics.crossings import compute_time_above
from app.numerics.errors import NumericsError
from app.numerics.metrics import UnusableLimit
from app.numerics.trace import FloatArray, Trace
from app.numerics.values import CannotSay, Measured, NotReached, Outcome, Unit

LEAST_OVERLAP = 0.5

_FEWEST_READINGS = 2
_FLATTEST_K = 1.0
_COMPARED_POINTS = 1001
# Enough to see between which of the coarse steps the best ones lie.
_COARSE_POINTS = 201
_COARSE_STEPS = 201
_CANDIDATES = 3
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
_CLOSE_ENOUGH_S = 1e-6


class UnusableAlignment(NumericsError):
    """A shift or share of overlap that is no number in its range."""


@dataclass(frozen=True, slots=True)
class BestShift:
    """The time (s) to add to a run so that it fits a reference best.

    `rms_k` is what then remains between them over the `overlap_s` they share. `is_at_limit`: the
    best shift is the furthest that leaves enough overlap, so that a better may lie beyond.
    """

    shift_s: float
    rms_k: float
    overlap_s: float
    is_at_limit: bool


def shift_trace(trace: Trace, by_s: float) -> Trace:
    """Return the same trace, later by `by_s` (s). Raises UnusableAlignment unless finite."""
    if not math.isfinite(by_s):
        raise UnusableAlignment(f"A shift must be finite, not {by_s:g} s.")
    return Trace(
        time_s=trace.time_s + by_s,
        temperature_c=trace.temperature_c,
        missing_count=trace.missing_count,
    )


def find_shift_to_start(trace: Trace) -> Outcome:
    """Time (s) to add so that the first reading is at 0 s."""
    if not trace.time_s.size:
        return CannotSay("The channel has no readings.")
    return Measured(-float(trace.time_s[0]), Unit.SECOND)


def find_shift_to_liquidus(trace: Trace, liquidus_c: float) -> Outcome:
    """Time (s) to add so that the first upward crossing of `liquidus_c` (°C) is at 0 s.

    `at_s` is that crossing on the trace's own axis. Cannot say for a trace that starts above.
    Raises UnusableLimit unless the liquidus is finite.
    """
    if not math.isfinite(liquidus_c):
        raise UnusableLimit(f"liquidus_c must be a finite number, not {liquidus_c:g}.")
    above = compute_time_above(trace, liquidus_c)
    if above.starts_above:
        return CannotSay(f"The trace starts above {liquidus_c:g} °C.")
    if not above.stretches:
        return NotReached(f"The trace is never above {liquidus_c:g} °C.")
    moment_s = above.stretches[0].start_s
    return Measured(-moment_s, Unit.SECOND, at_s=moment_s)


def find_best_shift(
    trace: Trace, reference: Trace, *, least_overlap: float = LEAST_OVERLAP
) -> BestShift | CannotSay:
    """Find the shift with the least mean square difference from the reference, by least squares.

    Both are piecewise linear; the mean is over their overlap, at 1001 even moments, and finer
    than the readings. Overlap is at least `least_overlap` (above 0, at most 1) of the shorter
    one: without that, a small flat overlap would fit best. Coarse steps over all such shifts, at
    201 moments, then the golden section. Cannot say below two readings, or when one changes by
    less than 1 K: then any shift fits. Raises UnusableAlignment.
    """
    if not 0.0 < least_overlap <= 1.0:
        raise UnusableAlignment(f"least_overlap must be above 0 and at most 1, not {least_overlap}")
    for one in (trace, reference):
        if one.time_s.size < _FEWEST_READINGS:
            return CannotSay(f"A run to align has fewer than {_FEWEST_READINGS} readings.")
        if float(np.ptp(one.temperature_c)) < _FLATTEST_K:
            return CannotSay(f"A run that changes by less than {_FLATTEST_K:g} K fits anywhere.")
    needed = least_overlap * min(trace.span_s, reference.span_s)
    earliest = float(reference.time_s[0] - trace.time_s[-1]) + needed
    latest = float(reference.time_s[-1] - trace.time_s[0]) - needed
    shifts = np.linspace(earliest, latest, _COARSE_STEPS)
    # The starts over each other is the guess that makes equal runs exact.
    shifts = np.union1d(shifts, np.clip(reference.time_s[0] - trace.time_s[0], earliest, latest))
    costs = np.array(
        [_mean_square(trace, reference, float(shift), points=_COARSE_POINTS) for shift in shifts]
    )
    found = [
        _descend(trace, reference, shifts, int(place))
        for place in np.argsort(costs, kind="stable")[:_CANDIDATES]
    ]
    cost, shift = min(found)
    return BestShift(
        shift_s=shift,
        rms_k=math.sqrt(cost),
        overlap_s=_overlap(trace, reference, shift)[1] - _overlap(trace, reference, shift)[0],
        is_at_limit=bool(
            min(shift - earliest, latest - shift) <= 2.0 * _CLOSE_ENOUGH_S < latest - earliest
        ),
    )


def _descend(trace: Trace, reference: Trace, shifts: FloatArray, place: int) -> tuple[float, float]:
    low = float(shifts[max(place - 1, 0)])
    high = float(shifts[min(place + 1, shifts.size - 1)])
    start = float(shifts[place])
    best = (_mean_square(trace, reference, start), start)
    inner, outer = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    inner_cost = _mean_square(trace, reference, inner)
    outer_cost = _mean_square(trace, reference, outer)
    while high - low > _CLOSE_ENOUGH_S:
        if inner_cost <= outer_cost:
            high, outer, outer_cost = outer, inner, inner_cost
            inner = high - _GOLDEN * (high - low)
            if not low < inner < outer:
                break
            inner_cost = _mean_square(trace, reference, inner)
        else:
            low, inner, inner_cost = inner, outer, outer_cost
            outer = low + _GOLDEN * (high - low)
            if not inner < outer < high:
                break
            outer_cost = _mean_square(trace, reference, outer)
    return min(best, (inner_cost, inner), (outer_cost, outer))


def _overlap(trace: Trace, reference: Trace, shift: float) -> tuple[float, float]:
    begin = max(float(trace.time_s[0]) + shift, float(reference.time_s[0]))
    return begin, min(float(trace.time_s[-1]) + shift, float(reference.time_s[-1]))


def _mean_square(
    trace: Trace, reference: Trace, shift: float, *, points: int = _COMPARED_POINTS
) -> float:
    begin, end = _overlap(trace, reference, shift)
    moments = np.linspace(begin, end, points)
    off = np.interp(moments - shift, trace.time_s, trace.temperature_c) - np.interp(
        moments, reference.time_s, reference.temperature_c
    )
    return float(np.mean(off**2))
