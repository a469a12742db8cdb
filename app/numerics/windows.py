"""How much a trace rises over every window of one length: the most, the least, and how often."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from app.numerics.column_codec import IntArray
from app.numerics.outline import BLOCK, get_outline
from app.numerics.trace import FloatArray, Trace

# By how much (K) rounding may carry an interpolated reading beyond its two neighbours.
_ROUNDING_K: Final = 1e-9
_WITHIN: Final = np.arange(BLOCK)


@dataclass(frozen=True, slots=True, eq=False)
class _Ends:
    """Windows that all begin (`other_s` > 0) or all end at a reading, `first` to `last`.

    `other_s` is how far (s) the other end is. `blocks` are those of the readings, and `spans` in
    turns the first block of the other ends, and the one after their last.
    """

    first: int
    last: int
    other_s: float
    blocks: IntArray
    spans: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class _Windows:
    """The same in a trace: bounds (K) that hold for all windows of each block of readings."""

    trace: Trace
    ends: _Ends
    at_most_k: FloatArray
    at_least_k: FloatArray

    def list_rises(self, blocks: IntArray) -> tuple[IntArray, FloatArray]:
        """List the readings of some blocks at which a window begins or ends, and its rise (K)."""
        first, last, other_s = self.ends.first, self.ends.last, self.ends.other_s
        places = ((blocks + first // BLOCK)[:, np.newaxis] * BLOCK + _WITHIN).ravel()
        if places.size and (places[0] < first or places[-1] > last):
            places = places[(places >= first) & (places <= last)]
        time, value = self.trace.time_s, self.trace.temperature_c
        apart_k = np.interp(time[places] + other_s, time, value)
        apart_k -= value[places]
        return places, apart_k if other_s > 0.0 else -apart_k

    def list_candidates(self, least_k: float, most_k: float) -> IntArray:
        """List the blocks in which a window may rise by `most_k` or more, or `least_k` or less."""
        return np.flatnonzero((self.at_most_k >= most_k) | (self.at_least_k <= least_k))

    def get_begin(self, place: int) -> float:
        """Return when (s) the window that begins or ends at this reading begins."""
        return float(self.trace.time_s[place]) + min(self.ends.other_s, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """The windows that begin at a reading, and those that end at one: at least one of each."""

    beginning: _Windows
    ending: _Windows

    def find_extremes(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Find begin (s) and rise (K) of the window that rises least, and of that which rises most.

        The first of equals, and of those that begin at a reading before those that end at one.
        The blocks whose bounds are best give two rises; only blocks whose bounds reach these can
        have a better one.
        """
        beginning, ending = self.beginning, self.ending
        best = np.array([beginning.at_most_k.argmax(), beginning.at_least_k.argmin()])
        best.sort()
        _, rises = beginning.list_rises(best)
        blocks = beginning.list_candidates(float(rises.min()), float(rises.max()))
        places, rises = beginning.list_rises(blocks)
        at_least, at_most = int(rises.argmin()), int(rises.argmax())
        least = beginning.get_begin(places[at_least]), float(rises[at_least])
        most = beginning.get_begin(places[at_most]), float(rises[at_most])
        blocks = ending.list_candidates(least[1], most[1])
        if blocks.size:
            places, rises = ending.list_rises(blocks)
            at_least, at_most = int(rises.argmin()), int(rises.argmax())
            if rises[at_least] < least[1]:
                least = ending.get_begin(places[at_least]), float(rises[at_least])
            if rises[at_most] > most[1]:
                most = ending.get_begin(places[at_most]), float(rises[at_most])
        return least, most

    def count_from(self, least_k: float) -> int:
        """Count the windows that begin at a reading and rise by so much (K) or more."""
        blocks = np.flatnonzero(self.beginning.at_most_k >= least_k)
        _, rises = self.beginning.list_rises(blocks)
        return int(np.count_nonzero(rises >= least_k))

    def count_to(self, most_k: float) -> int:
        """Count the windows that begin at a reading and rise by so much (K) or less."""
        blocks = np.flatnonzero(self.beginning.at_least_k <= most_k)
        _, rises = self.beginning.list_rises(blocks)
        return int(np.count_nonzero(rises <= most_k))


def get_windows(trace: Trace, window_s: float) -> Windows:
    """Return the windows of so many seconds in a trace that lasts as long or longer."""
    return trace.memory.get((get_windows, window_s), lambda: _make_windows(trace, window_s))


def _make_windows(trace: Trace, window_s: float) -> Windows:
    beginning, ending = trace.clock.get(
        (_list_both, window_s), lambda: _list_both(trace.time_s, window_s)
    )
    return Windows(_bound(trace, beginning), _bound(trace, ending))


def _list_both(time_s: FloatArray, window_s: float) -> tuple[_Ends, _Ends]:
    head = max(1, int(np.searchsorted(time_s, time_s[-1] - window_s, side="right")))
    tail = min(time_s.size - 1, int(np.searchsorted(time_s, time_s[0] + window_s, side="left")))
    return (
        _list_ends(time_s, 0, head - 1, other_s=window_s),
        _list_ends(time_s, tail, time_s.size - 1, other_s=-window_s),
    )


def _list_ends(time_s: FloatArray, first: int, last: int, *, other_s: float) -> _Ends:
    blocks = np.arange(first // BLOCK, last // BLOCK + 1)
    begin, end = np.maximum(blocks * BLOCK, first), np.minimum(blocks * BLOCK + BLOCK - 1, last)
    # The other ends lie between the reading before the first of them and that after the last.
    before = np.searchsorted(time_s, time_s[begin] + other_s, side="right") - 1
    after = np.searchsorted(time_s, time_s[end] + other_s, side="left")
    final = max(time_s.size - 2, 0) // BLOCK
    spans = np.empty(2 * blocks.size, dtype=np.int64)
    spans[::2] = np.maximum(before, 0) // BLOCK
    spans[1::2] = np.minimum(after // BLOCK, final) + 1
    np.minimum(spans[::2], final, out=spans[::2])
    return _Ends(first, last, other_s, np.minimum(blocks, final), spans)


def _bound(trace: Trace, ends: _Ends) -> _Windows:
    """Bound the rises block by block, by the outline at both ends of the windows."""
    outline = get_outline(trace)
    lowest = np.minimum.reduceat(_extend(outline.lowest_c, np.inf), ends.spans)[::2]
    highest = np.maximum.reduceat(_extend(outline.highest_c, -np.inf), ends.spans)[::2]
    most = highest - outline.lowest_c[ends.blocks]
    least = lowest - outline.highest_c[ends.blocks]
    if ends.other_s < 0.0:
        most, least = -least, -most
    most += _ROUNDING_K
    least -= _ROUNDING_K
    return _Windows(trace, ends, most, least)


def _extend(values: FloatArray, by: float) -> FloatArray:
    """Append what a span that ends with the last block needs to end at."""
    return np.concatenate((values, (by,)))
