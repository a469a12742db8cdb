"""The stretch of a trace that looks most like the answer to a step: its steepest change."""

from dataclasses import dataclass

import numpy as np

from app.numerics.ramps import compute_largest_ramps
from app.numerics.trace import FloatArray, Trace
from app.numerics.values import CannotSay, Measured

_FEWEST_READINGS = 8
_FLATTEST_K = 5.0
# The steepest slope is taken over this share of the trace, and over this many steps at least.
_WINDOW_SHARE = 0.02
_WINDOW_STEPS = 3.0
# The stretch ends before the trace has come back by the first share of its change, where it was
# last within the second of the furthest; it begins where the third of the change was done: our own
# rule.
_COME_BACK = 0.1
_NEAR_END = 0.01
_BEGUN = 0.02
# Before the change the trace stands still where it rises by less than this share of the steepest.
_LEVEL = 0.05
# Noise at the foot of a climb is no coming back: at least this share of the whole trace's range.
_LEAST_LOST = 0.05


@dataclass(frozen=True, slots=True)
class StepStretch:
    """A stretch of a trace in s, from before its change to where that stops, and the change (K)."""

    from_s: float
    to_s: float
    change_k: float


def find_steepest_stretch(trace: Trace) -> StepStretch | CannotSay:
    """Find the steepest rise or fall of a trace and follow it both ways to its ends.

    Forward to where it was last within 1 % of the furthest before it comes back by a tenth of the
    change; back to where 2 % of the change was done. Only a place to begin looking at: it does not
    say whether that is the answer to a step. Cannot say below eight readings or 5 K of change.
    """
    time, temperature = trace.time_s, trace.temperature_c
    if time.size < _FEWEST_READINGS:
        return CannotSay(f"The trace has fewer than {_FEWEST_READINGS} readings.")
    if float(np.ptp(temperature)) < _FLATTEST_K:
        return CannotSay(f"The trace changes by less than {_FLATTEST_K:g} K.")
    window_s = max(_WINDOW_SHARE * trace.span_s, _WINDOW_STEPS * float(np.median(np.diff(time))))
    rise, fall = compute_largest_ramps(trace, min(window_s, trace.span_s))
    if not isinstance(rise, Measured) or not isinstance(fall, Measured):
        return CannotSay("The trace is too short to have a steepest stretch.")
    steepest, sign = (rise, 1.0) if rise.value >= fall.value else (fall, -1.0)
    at_s = steepest.at_s if steepest.at_s is not None else float(time[0])
    first = int(np.clip(np.searchsorted(time, at_s, side="right") - 1, 0, time.size - 2))
    height = sign * temperature
    least_k = _LEAST_LOST * float(np.ptp(height))
    last = _follow(height[first:], least_lost_k=least_k) + first
    # Backwards the same way: the trace turned round in time and upside down.
    begin = first - _follow(-height[first::-1], least_lost_k=least_k)
    # ... but not beyond where it stood still.
    before_s = time[: first + 1]
    rises = height[: first + 1] - np.interp(before_s - window_s, time, height)
    level = np.flatnonzero(rises <= _LEVEL * steepest.value * window_s)
    begin = max(begin, int(level[-1]) if level.size else 0)
    change = float(height[last] - height[begin])
    still = np.flatnonzero(height[begin : last + 1] <= height[begin] + _BEGUN * change)
    begin += int(still[still <= max(first - begin, 0)].max(initial=0))
    return StepStretch(float(time[begin]), float(time[last]), sign * change)


def _follow(height: FloatArray, *, least_lost_k: float) -> int:
    """Return where the highest is kept last, before a tenth of what it climbed is lost."""
    highest = np.maximum.accumulate(height)
    climbed = highest - height[0]
    lost = np.flatnonzero(highest - height > np.maximum(_COME_BACK * climbed, least_lost_k))
    before = height[: max(int(lost[0]) if lost.size else height.size, 1)]
    top = float(before.max())
    near = np.flatnonzero(before >= top - _NEAR_END * (top - float(height[0])))
    return int(near[-1])
