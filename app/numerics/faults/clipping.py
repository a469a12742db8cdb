"""A range that ends too low: a top that is flat where the trace beside it is steep."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.numerics.faults.shapes import (
    CLIPPED,
    ChannelFault,
    FaultKind,
    Figure,
    Readings,
    caution,
)
from app.numerics.trace import FloatArray
from app.numerics.values import Unit

# Our own rules, no source.
_FEWEST_AT_TOP: Final = 5
_FEWEST_OF_NOISE: Final = 9
_LEAST_SHARE_AT_TOP: Final = 0.5
_SMALLEST_STEP_K: Final = 1e-6
_LOOKED_AT: Final = 8_000
# So far below the top the digits and the noise no longer matter.
_BELOW_OF_DIGIT: Final = 8.0
_BELOW_OF_NOISE: Final = 10.0
_BELOW_K: Final = 0.3
_SEEN_IN: Final = 2
# A round top, as wide as its last digit, falls so far only beyond all of its width.
_NEAR_OF_WIDTH: Final = 0.6
# From the edge to the second such depth it takes as long as to the first at a kink, 0.56 of it
# beside a round top, 0.41 where the trace settles into the hold, 0.25 where it does so by itself.
_EVEN: Final = 0.6
_STRAIGHT_OF_HIDDEN: Final = 2.0
_STRAIGHT_OF_DIGIT: Final = 1.5
_STRAIGHT_OF_DEPTH: Final = 2.0
_STRAIGHT_SHARE: Final = 0.03


def find_clipped_top(readings: Readings) -> ChannelFault | None:
    """Find a flat top, of five equal readings or more, that the trace enters and leaves steeply.

    A true top is round and a hold is approached ever slower, so that near the flat the trace is as
    flat; a clipped one has the slopes of the curve that was cut off. Judged by how soon both sides
    are eight digits (10 times the noise, 0.3 K, two steps) below the top, and how soon twice that.
    Sides that are straight lines, within 3 % of what would be hidden, to twice that depth, are
    those of a controlled or drawn ramp and accuse nobody. How far it went beyond is not known.
    """
    value = readings.value_c
    at_top = np.flatnonzero(value == readings.highest_c)
    if at_top.size < _FEWEST_AT_TOP:
        return None
    first, last = _find_flat(at_top)
    time = readings.time_s
    digit_k = _estimate_digit(readings.steps_k)
    fewest = _FEWEST_OF_NOISE if readings.noise_k > digit_k else _FEWEST_AT_TOP
    if last - first + 1 < fewest or first == 0 or last == value.size - 1:
        return None
    least_k = max(_BELOW_OF_DIGIT * digit_k, _BELOW_OF_NOISE * readings.noise_k, _BELOW_K)
    width_s = float(time[last] - time[first])
    sides = (
        _Side(time[first] - time[first - 1 :: -1], value[first] - value[first - 1 :: -1]),
        _Side(time[last + 1 :] - time[last], value[last] - value[last + 1 :]),
    )
    slopes = [side.measure_kink(least_k, at_most_s=_NEAR_OF_WIDTH * width_s) for side in sides]
    if not all(slopes):
        return None
    hidden_k = width_s / sum(1.0 / slope for slope in slopes)
    bend_k = max(_STRAIGHT_OF_DIGIT * digit_k, _STRAIGHT_SHARE * hidden_k)
    if all(side.is_straight(least_k, hidden_k=hidden_k, bend_k=bend_k) for side in sides):
        return None
    return readings.blame(
        FaultKind.SATURATION,
        (first, last),
        caution(*CLIPPED),
        Figure("reading", float(value[first]), Unit.CELSIUS),
        Figure("equal readings", float(np.count_nonzero(value[first : last + 1] == value[first]))),
    )


def _find_flat(at_top: NDArray[np.intp]) -> tuple[int, int]:
    """Find the flat: from first to last where most of it is at the top, the longest run else."""
    first, last = int(at_top[0]), int(at_top[-1])
    if at_top.size >= _LEAST_SHARE_AT_TOP * (last - first + 1):
        return first, last
    runs = np.split(at_top, np.flatnonzero(np.diff(at_top) > 1) + 1)
    longest = max(runs, key=len)
    return int(longest[0]), int(longest[-1])


def _estimate_digit(steps_k: FloatArray) -> float:
    moved = np.abs(steps_k[:: 1 + steps_k.size // _LOOKED_AT])
    moved = moved[moved > _SMALLEST_STEP_K]
    return float(moved.min()) if moved.size else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """The trace outwards from a flat: time since its edge, and how far below it."""

    away_s: FloatArray
    below_k: FloatArray

    def get_depth(self, least_k: float) -> float:
        """Return the depth (K) that is seen in several readings, or how it bends could not be."""
        first_k = np.abs(np.diff(self.below_k[:_SEEN_IN], prepend=0.0))
        return max(least_k, _SEEN_IN * float(first_k.max()))

    def measure_kink(self, least_k: float, *, at_most_s: float) -> float:
        """Measure the slope (K/s) right beside the flat, 0 where there is none."""
        depth_k = self.get_depth(least_k)
        once_s, twice_s = self._find_moment(depth_k), self._find_moment(2.0 * depth_k)
        # The true edge lies somewhere before the first reading beside the flat.
        is_even = twice_s - once_s >= _EVEN * (once_s - float(self.away_s[0]))
        is_kink = once_s <= at_most_s and is_even and twice_s < math.inf
        return 2.0 * depth_k / twice_s if is_kink else 0.0

    def is_straight(self, least_k: float, *, hidden_k: float, bend_k: float) -> bool:
        """Whether it is a straight line to twice the depth that would be hidden, if it goes on."""
        begin_k = self.get_depth(least_k)
        end_k = max(_STRAIGHT_OF_HIDDEN * hidden_k, _STRAIGHT_OF_DEPTH * begin_k)
        begin, end = (int(np.argmax(self.below_k >= depth_k)) for depth_k in (begin_k, end_k))
        part = slice(begin, end + 1 if end else None)
        away_s, below_k = self.away_s[part], self.below_k[part]
        line = np.interp(away_s, away_s[[0, -1]], below_k[[0, -1]])
        return float(np.abs(below_k - line).max()) <= bend_k

    def _find_moment(self, depth_k: float) -> float:
        """Find how far (s) away it is so deep first, infinite where it never is."""
        deep = np.flatnonzero(self.below_k >= depth_k)
        if not deep.size:
            return math.inf
        at = int(deep[0])
        ends_s = (float(self.away_s[at - 1]) if at else 0.0, float(self.away_s[at]))
        ends_k = (float(self.below_k[at - 1]) if at else 0.0, float(self.below_k[at]))
        return float(np.interp(depth_k, ends_k, ends_s))
