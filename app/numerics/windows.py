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
class _Windows:
    """Windows that all begin (`other_s` > 0) or all end at a reading, `first` to `last`.

    `other_s` is how far (s) the other end is; the bounds (K) hold for the windows of each block
    of sixteen readings, from `first_block` on.
    """

    trace: Trace
    first: int
    last: int
    other_s: float
    first_block: int
    at_most_k: FloatArray
    at_least_k: FloatArray

    def list_rises(self, blocks: IntArray) -> tuple[IntArray, FloatArray]:
        """List the readings of some blocks at which a window begins or ends, and its rise (K)."""
        places = ((blocks + self.first_block)[:, np.newaxis] * BLOCK + _WITHIN).ravel()
        if places.size and (places[0] < self.first or places[-1] > self.last):
            places = places[(places >= self.first) & (places <= self.last)]
        time, value = self.trace.time_s, self.trace.temperature_c
        apart_k = np.interp(time[places] + self.other_s, time, value) - value[places]
        return places, apart_k if self.other_s > 0.0 else -apart_k

    def find(self, *, sign: float) -> tuple[float, float]:
        """Find begin (s) and rise (K) of the window of largest (+1) or least (−1) rise, the first.

        The block whose bound is best gives a rise; only blocks whose bounds reach it can have a
        better one.
        """
        bounds = self.at_most_k if sign > 0.0 else -self.at_least_k
        _, rises = self.list_rises(np.array([np.argmax(bounds)]))
        known = float((sign * rises).max())
        places, rises = self.list_rises(np.flatnonzero(bounds >= known))
        best = int(np.argmax(sign * rises))
        at_s = float(self.trace.time_s[places[best]])
        return at_s if self.other_s > 0.0 else at_s + self.other_s, float(rises[best])


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """The windows that begin at a reading, and those that end at one: at least one of each."""

    beginning: _Windows
    ending: _Windows

    def find_most(self) -> tuple[float, float]:
        """Find begin (s) and rise (K) of the window that rises most."""
        both = self.beginning.find(sign=1.0), self.ending.find(sign=1.0)
        return max(both, key=lambda window: window[1])

    def find_least(self) -> tuple[float, float]:
        """Find begin (s) and rise (K) of the window that rises least, or falls most."""
        both = self.beginning.find(sign=-1.0), self.ending.find(sign=-1.0)
        return min(both, key=lambda window: window[1])

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
    return trace.remember((get_windows, window_s), lambda: _make_windows(trace, window_s))


def _make_windows(trace: Trace, window_s: float) -> Windows:
    time = trace.time_s
    head = max(1, int(np.searchsorted(time, time[-1] - window_s, side="right")))
    tail = min(time.size - 1, int(np.searchsorted(time, time[0] + window_s, side="left")))
    return Windows(
        beginning=_bound(trace, 0, head - 1, other_s=window_s),
        ending=_bound(trace, tail, time.size - 1, other_s=-window_s),
    )


def _bound(trace: Trace, first: int, last: int, *, other_s: float) -> _Windows:
    """Bound the rises block by block, by the outline at both ends of the windows."""
    time, outline = trace.time_s, get_outline(trace)
    blocks = np.arange(first // BLOCK, last // BLOCK + 1)
    begin, end = np.maximum(blocks * BLOCK, first), np.minimum(blocks * BLOCK + BLOCK - 1, last)
    # The other ends lie between the reading before the first of them and that after the last.
    before = np.searchsorted(time, time[begin] + other_s, side="right") - 1
    after = np.searchsorted(time, time[end] + other_s, side="left")
    count = outline.lowest_c.size
    span = np.empty(2 * blocks.size, dtype=np.int64)
    span[::2] = np.clip(before // BLOCK, 0, count - 1)
    span[1::2] = np.clip(after // BLOCK, 0, count - 1) + 1
    lowest = np.minimum.reduceat(np.append(outline.lowest_c, np.inf), span)[::2]
    highest = np.maximum.reduceat(np.append(outline.highest_c, -np.inf), span)[::2]
    own = np.minimum(blocks, count - 1)
    most = highest - outline.lowest_c[own] + _ROUNDING_K
    least = lowest - outline.highest_c[own] - _ROUNDING_K
    if other_s < 0.0:
        most, least = -least, -most
    return _Windows(trace, first, last, other_s, int(blocks[0]), most, least)
