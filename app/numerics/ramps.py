"""How fast a trace rises and falls: over a window, and between two events."""

import math
from dataclasses import replace

import numpy as np

from app.numerics.edges import Edges
from app.numerics.errors import NumericsError
from app.numerics.stretches import TimeAbove
from app.numerics.trace import Trace
from app.numerics.values import CannotSay, Measured, NotReached, Outcome, Unit
from app.numerics.windows import get_windows

Above = TimeAbove | Edges

# Two clocks that add up to the same window may differ in the last digits.
_WINDOW_SLACK = 1e-9
_ROUNDING_K = 1e-9

# Our own rules, no source. Below this nothing heats or cools fast any more, in any room.
_COOL_C = 35.0
_ROOM_C = 25.0
_MOST_LEFT = 0.5
_ALREADY_RISING = 0.25
_STEEPENING = 0.95


class UnusableWindow(NumericsError):
    """A ramp window that is not a finite time above 0 s."""


def compute_largest_ramps(trace: Trace, window_s: float) -> tuple[Outcome, Outcome]:
    """Largest mean rise and largest mean fall over any window of exactly `window_s` (s > 0).

    In K/s, each with the start of its window; both are signed in their own direction: a trace
    that only rises has a negative largest fall. The ends of the window are interpolated. Exact:
    the rise over the window is piecewise linear in the window's start, so it is largest where
    one end of the window is at a reading. Cannot say for a trace shorter than the window.
    Raises UnusableWindow.
    """
    if not (math.isfinite(window_s) and window_s > 0.0):
        raise UnusableWindow(f"A ramp window of {window_s:g} s is no time above 0 s.")
    if trace.span_s < window_s * (1.0 - _WINDOW_SLACK):
        short = CannotSay(f"The trace is shorter than the ramp window of {window_s:g} s.")
        return short, short
    (least_at_s, least_k), (most_at_s, most_k) = get_windows(trace, window_s).find_extremes()
    return (
        _measure_slope(most_k / window_s, at_s=most_at_s),
        _measure_slope(-least_k / window_s, at_s=least_at_s),
    )


def open_rise(rise: Outcome, trace: Trace, peak: Measured, window_s: float) -> Outcome:
    """Censor the largest rise where a steeper one may lie before the trace.

    That is where it begins above 35 °C, and beyond half of the way from 25 °C to the peak or
    already rising by a quarter of the largest rise. Cannot say where it does not rise at all.
    """
    start_c = float(trace.temperature_c[0])
    if not isinstance(rise, Measured) or start_c <= _COOL_C:
        return rise
    soon_s = trace.time_s[0] + window_s
    soon_c = float(np.interp(soon_s, trace.time_s, trace.temperature_c))
    is_rising = soon_c - start_c >= _ALREADY_RISING * rise.value * window_s
    if not is_rising and _measure_way(start_c, peak) <= _MOST_LEFT:
        return rise
    if rise.value <= 0.0:
        return CannotSay(f"The trace begins hot, at {start_c:.1f} °C, and does not rise.")
    return replace(rise, is_censored=True)


def open_fall(fall: Outcome, trace: Trace, peak: Measured, window_s: float) -> Outcome:
    """Censor the largest fall where a steeper one may lie after the trace.

    That is where it ends above 35 °C, and beyond half of the way from 25 °C to the peak or with
    its steepest window, where the one before it is gentler by a twentieth or more. Cannot say
    where it does not fall at all.
    """
    end_c = float(trace.temperature_c[-1])
    if not isinstance(fall, Measured) or end_c <= _COOL_C:
        return fall
    is_last = _ends_steepest(trace, fall.value * window_s, window_s)
    if not is_last and _measure_way(end_c, peak) <= _MOST_LEFT:
        return fall
    if fall.value <= 0.0:
        return CannotSay(f"The trace ends hot, at {end_c:.1f} °C, before it falls.")
    return replace(fall, is_censored=True)


def _ends_steepest(trace: Trace, most_k: float, window_s: float) -> bool:
    """Say whether the last window falls by the most (K), and clearly more than the one before it.

    By slopes and not by the place of the steepest: along a straight line that could be anywhere,
    and the last digit of the readings decides where.
    """
    end_s = float(trace.time_s[-1])
    ends_s = (end_s - 2.0 * window_s, end_s - window_s, end_s)
    first_c, before_c, end_c = np.interp(ends_s, trace.time_s, trace.temperature_c)
    is_most = before_c - end_c >= most_k - abs(most_k) * _WINDOW_SLACK - _ROUNDING_K
    return bool(is_most and first_c - before_c < _STEEPENING * most_k)


def _measure_way(at_c: float, peak: Measured) -> float:
    return (at_c - _ROOM_C) / max(peak.value - _ROOM_C, _COOL_C - _ROOM_C)


def compute_average_ramp(peak: Measured, above_liquidus: Above) -> Outcome:
    """Mean slope (K/s) from the last upward crossing of the liquidus before the peak to the peak.

    `at_s` is that crossing.
    """
    liquidus_c, peak_s = above_liquidus.threshold_c, _moment(peak)
    start = find_rise_to(above_liquidus, peak_s)
    if not isinstance(start, float):
        return start
    if not peak_s > start:
        return CannotSay("The peak and the liquidus crossing before it fall on one moment.")
    return _measure_slope((peak.value - liquidus_c) / (peak_s - start), at_s=start)


def compute_average_cooling(
    peak: Measured, above_liquidus: Above, *, last_at_peak_s: float
) -> Outcome:
    """Mean fall (K/s, positive) from the peak to the downward crossing of the liquidus after it.

    Cooling starts at `last_at_peak_s`, the last moment at the peak's temperature: the hold of a
    flat top is no cooling. `at_s` is that moment.
    """
    liquidus_c = above_liquidus.threshold_c
    stretch = above_liquidus.find_stretch_at(last_at_peak_s)
    if stretch is None:
        return _never_above(liquidus_c)
    if stretch.ends_open:
        return CannotSay(f"The trace ends above {liquidus_c:g} °C.")
    if not stretch.end_s > last_at_peak_s:
        return CannotSay("The peak and the liquidus crossing after it fall on one moment.")
    fall_k_per_s = (peak.value - liquidus_c) / (stretch.end_s - last_at_peak_s)
    return _measure_slope(fall_k_per_s, at_s=last_at_peak_s)


def compute_time_to_peak(peak: Measured, above: Above) -> Outcome:
    """Time (s) from the last upward crossing of a temperature before the peak to the peak.

    `at_s` is that crossing; censored when the peak is. A trace that starts above the temperature
    cannot say.
    """
    peak_s = _moment(peak)
    start = find_rise_to(above, peak_s)
    if not isinstance(start, float):
        return start
    return Measured(peak_s - start, Unit.SECOND, at_s=start, is_censored=peak.is_censored)


def compute_soak_time(peak: Measured, above_min: Above, above_max: Above) -> Outcome:
    """Time (s) from the last upward crossing of Ts,min before the peak to Ts,max.

    Ts,max is its first upward crossing after that; `at_s` is the crossing of Ts,min.
    """
    start = find_rise_to(above_min, _moment(peak))
    if not isinstance(start, float):
        return start
    end = above_max.find_rise_after(start)
    if end is None:
        return _never_above(above_max.threshold_c)
    return Measured(end - start, Unit.SECOND, at_s=start)


def find_rise_to(above: Above, peak_s: float) -> float | NotReached | CannotSay:
    """Moment (s) of the last upward crossing before the peak, or why there is none."""
    stretch = above.find_stretch_at(peak_s)
    if stretch is None:
        return _never_above(above.threshold_c)
    if stretch.starts_open:
        return CannotSay(f"The trace starts above {above.threshold_c:g} °C.")
    return stretch.start_s


def _never_above(threshold_c: float) -> NotReached:
    return NotReached(f"The trace is never above {threshold_c:g} °C.")


def _measure_slope(slope_k_per_s: float, *, at_s: float) -> Measured:
    return Measured(slope_k_per_s, Unit.KELVIN_PER_SECOND, at_s=at_s)


def _moment(peak: Measured) -> float:
    if peak.at_s is None:
        raise NumericsError("A peak needs its moment.")
    return peak.at_s
