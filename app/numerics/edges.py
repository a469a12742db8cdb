"""The moments at which a trace passes temperatures, found for many temperatures at once."""

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass
from operator import sub

import numpy as np

from app.numerics.outline import BLOCK, get_outline, list_readings
from app.numerics.stretches import Stretch, TimeAbove
from app.numerics.trace import FloatArray, Trace
from app.numerics.values import Measured, Unit


@dataclass(frozen=True, slots=True)
class Edges:
    """Begin and end (s), in turns, of each stretch strictly above a temperature (°C).

    The same as a TimeAbove, in a form that is quick to make and to ask.
    """

    threshold_c: float
    moments_s: list[float]
    starts_open: bool
    ends_open: bool

    @property
    def count(self) -> int:
        """How many stretches there are."""
        return len(self.moments_s) // 2

    @property
    def total(self) -> Measured:
        """Total time above (s), as TimeAbove tells it."""
        moments = self.moments_s
        return Measured(
            value=sum(map(sub, moments[1::2], moments[::2])),
            unit=Unit.SECOND,
            at_s=moments[0] if moments else None,
            is_censored=self.starts_open or self.ends_open,
        )

    @property
    def longest(self) -> Measured:
        """Longest unbroken time above (s), as TimeAbove tells it."""
        moments = self.moments_s
        lengths = list(map(sub, moments[1::2], moments[::2]))
        longest_s = max(lengths, default=0.0)
        return Measured(
            value=longest_s,
            unit=Unit.SECOND,
            at_s=moments[2 * lengths.index(longest_s)] if moments else None,
            is_censored=self.starts_open or self.ends_open,
        )

    def find_stretch_at(self, moment_s: float) -> Stretch | None:
        """Find the stretch that holds this moment; at a shared end the earlier one."""
        place = bisect_left(self.moments_s, moment_s)
        if place == len(self.moments_s):
            return None
        if place % 2 == 0 and self.moments_s[place] != moment_s:
            return None
        return self._get_stretch(place // 2)

    def find_rise_after(self, moment_s: float) -> float | None:
        """Find the first upward crossing (s) at a moment or after it."""
        place = bisect_left(self.moments_s, moment_s)
        place += place % 2
        if place == 0 and self.starts_open:
            place = 2
        return self.moments_s[place] if place < len(self.moments_s) else None

    def spell(self) -> TimeAbove:
        """Return the same with every stretch."""
        stretches = tuple([self._get_stretch(number) for number in range(self.count)])
        return TimeAbove(self.threshold_c, stretches)

    def _get_stretch(self, number: int) -> Stretch:
        place, moments = 2 * number, self.moments_s
        return Stretch(
            start_s=moments[place],
            end_s=moments[place + 1],
            starts_open=self.starts_open and place == 0,
            ends_open=self.ends_open and place == len(moments) - 2,
        )


def find_edges(trace: Trace, threshold_c: float) -> Edges:
    """Find where a trace passes one temperature (°C)."""

    def find() -> Edges:
        (edges,) = _find_all(trace, [threshold_c])
        return edges

    return trace.memory.get((find_edges, threshold_c), find)


def prepare_edges(trace: Trace, thresholds_c: Iterable[float]) -> None:
    """Find where a trace passes each of these (°C), for those who will ask one by one."""
    wanted = sorted(one for one in set(thresholds_c) if not trace.memory.has((find_edges, one)))
    for edges in _find_all(trace, wanted) if wanted else ():
        _keep(trace, edges)


def _keep(trace: Trace, edges: Edges) -> None:
    trace.memory.get((find_edges, edges.threshold_c), lambda: edges)


def _find_all(trace: Trace, thresholds_c: list[float]) -> list[Edges]:
    if not trace.time_s.size:
        return [Edges(one, [], starts_open=False, ends_open=False) for one in thresholds_c]
    moments, counts = _find_crossings(trace, np.array(thresholds_c))
    first_s, last_s = float(trace.time_s[0]), float(trace.time_s[-1])
    first_c, last_c = float(trace.temperature_c[0]), float(trace.temperature_c[-1])
    found: list[Edges] = []
    begin = 0
    for threshold_c, count in zip(thresholds_c, counts, strict=True):
        own = moments[begin : begin + count]
        begin += count
        starts_open, ends_open = first_c > threshold_c, last_c > threshold_c
        if starts_open:
            own.insert(0, first_s)
        if ends_open:
            own.append(last_s)
        found.append(Edges(threshold_c, own, starts_open=starts_open, ends_open=ends_open))
    return found


def _find_crossings(trace: Trace, thresholds_c: FloatArray) -> tuple[list[float], list[int]]:
    """Find the moments (s) of all crossings, by temperature and then by time, and how many each."""
    time, value, outline = trace.time_s, trace.temperature_c, get_outline(trace)
    limits = thresholds_c[:, np.newaxis]
    # A block is passed through where it is not above all the time, and above some time.
    passed = np.flatnonzero((outline.lowest_c <= limits) & (outline.highest_c > limits))
    rows, blocks = np.divmod(passed, outline.lowest_c.size)
    is_above = value[list_readings(blocks, value.size)] > limits[rows]
    places = np.flatnonzero(is_above[:, 1:] != is_above[:, :-1])
    row_of, within = np.divmod(places, BLOCK)
    after = blocks[row_of] * BLOCK + within + 1
    rows = rows[row_of]
    limit = thresholds_c[rows]
    before_c, after_c = value[after - 1] - limit, value[after] - limit
    # Above and not above are never equal, so no division by zero.
    share = before_c / (before_c - after_c)
    begin_s = time[after - 1]
    moments: list[float] = (begin_s + share * (time[after] - begin_s)).tolist()
    counts: list[int] = np.bincount(rows, minlength=thresholds_c.size).tolist()
    return moments, counts
