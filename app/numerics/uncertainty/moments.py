"""How an error of one reading moves a moment, through the slope of the trace."""

import math
from collections.abc import Iterable
from typing import Final

import numpy as np

from app.numerics.column_codec import IntArray
from app.numerics.trace import Trace
from app.numerics.uncertainty.budget import COVERAGE_FACTOR
from app.numerics.windows import get_windows

# The slope at a crossing is that of the chord over this time to both sides, or over two samples
# where they are further apart: short enough for the bend, long enough for the noise. Our own.
_REACH_S: Final = 2.0
_REACH_OF_USUAL: Final = 2.0


class Moments:
    """The moments of one trace; `own_k` is the standard uncertainty of one reading by itself."""

    def __init__(self, trace: Trace, own_k: float) -> None:
        self._trace, self._own_k = trace, own_k
        count = trace.time_s.size
        self._near: tuple[float, IntArray] | None = None
        self._spreads: dict[float, float] = {}
        self._usual_s = trace.span_s / (count - 1) if count > 1 else 0.0

    def measure_spread(self, crossings: list[float]) -> float:
        """Combine how far (s) an error of 1 K in the readings beside each crossing moves it.

        The crossing lies on the line between two readings, so the errors of both count by their
        nearness. Where the trace is so flat that the slope cannot tell, the time of the chord
        stands in for the spread.
        """
        if not crossings or self._own_k == 0.0:
            return 0.0
        if not self._spreads.keys() >= set(crossings):
            self.prepare(crossings)
        return math.hypot(*[self._spreads[at_s] for at_s in crossings])

    def prepare(self, crossings: Iterable[float]) -> None:
        """Measure the spreads at these crossings (s) at once, for those who ask one by one."""
        wanted = [at_s for at_s in dict.fromkeys(crossings) if at_s not in self._spreads]
        if not wanted or self._own_k == 0.0:
            return
        time, value = self._trace.time_s, self._trace.temperature_c
        at = np.array(wanted)
        reach_s = max(_REACH_S, _REACH_OF_USUAL * self._usual_s)
        begin, end = np.maximum(at - reach_s, time[0]), np.minimum(at + reach_s, time[-1])
        rise_k = np.abs(np.interp(end, time, value) - np.interp(begin, time, value))
        after = np.minimum(np.maximum(np.searchsorted(time, at), 1), time.size - 1)
        share = (at - time[after - 1]) / (time[after] - time[after - 1])
        nearness = np.hypot(share, 1.0 - share)
        s_per_k = (end - begin) / np.maximum(rise_k, self._own_k)
        self._spreads.update(zip(wanted, (nearness * s_per_k).tolist(), strict=True))

    def measure_weight(self, above_s: float) -> float:
        """Weigh (s) how errors of 1 K in the readings of so long a time add up in an area."""
        return math.sqrt(above_s * self._usual_s)

    def measure_steps_above(self, threshold_c: float) -> float:
        """Combine the steps (K) between readings above a temperature."""
        value = self._trace.temperature_c
        above = np.flatnonzero(value > threshold_c)
        if not above.size:
            return 0.0
        part = value[max(0, int(above[0]) - 1) : int(above[-1]) + 2]
        steps_k = np.diff(np.maximum(part, threshold_c))
        return math.sqrt(np.einsum("i,i", steps_k, steps_k))

    def count_near_peak(self, near_c: float) -> int:
        """Count the readings from `near_c` (°C) on."""
        return int(self._list_near(near_c).size)

    def count_near_steepest(self, window_s: float, least_k: float) -> int:
        """Count the windows that begin at a reading and change by `least_k` (K) at least.

        Upwards for a positive one, downwards for a negative one.
        """
        windows = get_windows(self._trace, window_s)
        return windows.count_from(least_k) if least_k > 0.0 else windows.count_to(least_k)

    def measure_flat_top(self, near_c: float) -> float:
        """Measure how far (s) the moment of the peak may be off: any reading from `near_c` (°C) on.

        A rectangular distribution over their span and one sample more.
        """
        near = self._list_near(near_c)
        time = self._trace.time_s
        span_s = float(time[near[-1]] - time[near[0]]) if near.size else 0.0
        return (span_s + self._usual_s) / math.sqrt(12.0)

    def _list_near(self, near_c: float) -> IntArray:
        if self._near is None or self._near[0] != near_c:
            self._near = (near_c, np.flatnonzero(self._trace.temperature_c >= near_c))
        return self._near[1]


def compute_selection(standard: float, count: int) -> float:
    """Weigh how much the highest of `count` values is too high, each with its own error.

    The highest of n normal errors is σ·√(2·ln n) at most on average (a classical bound); what is
    not corrected counts as an expanded (k = 2) part.
    """
    return standard * math.sqrt(2.0 * math.log(max(count, 1))) / COVERAGE_FACTOR
