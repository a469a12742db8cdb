"""A part of a trace, and its temperature at one moment."""

import math

import numpy as np

from app.numerics.errors import NumericsError
from app.numerics.trace import Trace


class UnusablePart(NumericsError):
    """A part of a trace whose ends are no finite moments in order."""


def find_temperature_at(trace: Trace, moment_s: float) -> float | None:
    """Temperature (°C) on the straight lines at this moment; None outside the readings."""
    if not trace.time_s.size or not trace.time_s[0] <= moment_s <= trace.time_s[-1]:
        return None
    return float(np.interp(moment_s, trace.time_s, trace.temperature_c))


def cut_trace(trace: Trace, from_s: float, to_s: float) -> Trace:
    """Return the part from `from_s` to `to_s` (s), as far as there are readings.

    Ends between readings are interpolated, so that the part is the same function of time. Empty
    when the readings lie elsewhere. Raises UnusablePart unless both are finite and in order.
    """
    if not (math.isfinite(from_s) and math.isfinite(to_s) and from_s < to_s):
        raise UnusablePart(f"A part from {from_s:g} s to {to_s:g} s is no time above 0 s.")
    time, temperature = trace.time_s, trace.temperature_c
    if not time.size or from_s > time[-1] or to_s < time[0]:
        return Trace(time_s=time[:0], temperature_c=temperature[:0], missing_count=0)
    begin, finish = max(from_s, float(time[0])), min(to_s, float(time[-1]))
    inside = slice(
        int(np.searchsorted(time, begin, side="right")), int(np.searchsorted(time, finish))
    )
    moments = np.concatenate(
        ([begin], time[inside], [finish] if finish > begin else np.empty(0, dtype=np.float64))
    )
    return Trace(
        time_s=moments,
        temperature_c=np.interp(moments, time, temperature),
        missing_count=0,
    )
