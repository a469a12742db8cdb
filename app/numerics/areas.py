"""The area between a trace and temperatures it is above, found for many temperatures at once."""

from collections.abc import Iterable

import numpy as np

from app.numerics.outline import get_outline, list_readings, sum_blocks
from app.numerics.trace import FloatArray, Trace
from app.numerics.values import Measured, Unit


def compute_area_above(trace: Trace, threshold_c: float) -> Measured:
    """Area between the trace and `threshold_c` (°C) where it is above, in K·s; exact.

    Censored when the first or the last reading is above.
    """

    def find() -> Measured:
        (area,) = _find_all(trace, [threshold_c])
        return area

    return trace.memory.get((compute_area_above, threshold_c), find)


def prepare_areas(trace: Trace, thresholds_c: Iterable[float]) -> None:
    """Find the areas above these temperatures (°C), for those who will ask one by one."""
    wanted = sorted(
        one for one in set(thresholds_c) if not trace.memory.has((compute_area_above, one))
    )
    if wanted:
        for threshold_c, area in zip(wanted, _find_all(trace, wanted), strict=True):
            _keep(trace, threshold_c, area)


def _keep(trace: Trace, threshold_c: float, area: Measured) -> None:
    trace.memory.get((compute_area_above, threshold_c), lambda: area)


def _find_all(trace: Trace, thresholds_c: list[float]) -> list[Measured]:
    if not trace.time_s.size:
        return [Measured(0.0, Unit.KELVIN_SECOND) for _ in thresholds_c]
    first_c, last_c = float(trace.temperature_c[0]), float(trace.temperature_c[-1])
    areas: list[float] = _integrate_above(trace, np.array(thresholds_c)).tolist()
    return [
        Measured(area, Unit.KELVIN_SECOND, is_censored=max(first_c, last_c) > threshold_c)
        for threshold_c, area in zip(thresholds_c, areas, strict=True)
    ]


def _integrate_above(trace: Trace, thresholds_c: FloatArray) -> FloatArray:
    """Integrate what is above each temperature: whole blocks, then segments that pass through."""
    time, value, outline = trace.time_s, trace.temperature_c, get_outline(trace)
    limits = thresholds_c[:, np.newaxis]
    is_above = outline.lowest_c > limits
    inner = (_integrate_blocks(trace) - limits * _measure_blocks(trace)) * is_above
    passed = np.flatnonzero((outline.highest_c > limits) & ~is_above)
    rows, blocks = np.divmod(passed, outline.lowest_c.size)
    readings = list_readings(blocks, value.size)
    over, moments = value[readings] - limits[rows], time[readings]
    # A segment's part above is a trapezium of height sum `lifted` over the share `lifted / reach`.
    positive, size = np.maximum(over, 0.0), np.abs(over)
    lifted, reach = positive[:, :-1] + positive[:, 1:], size[:, :-1] + size[:, 1:]
    share = np.divide(lifted, reach, out=np.zeros_like(lifted), where=reach > 0.0)
    outer = (lifted * share * (moments[:, 1:] - moments[:, :-1])).sum(axis=1) / 2.0
    summed: FloatArray = inner.sum(axis=1) + np.bincount(
        rows, weights=outer, minlength=thresholds_c.size
    )
    return summed


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
