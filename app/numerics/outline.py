"""Where in a trace to look more closely: the range of each short block of its readings."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from app.numerics.column_codec import IntArray
from app.numerics.trace import FloatArray, Trace

BLOCK: Final = 16


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Lowest and highest reading (°C) of each block of sixteen, and of the first of the next.

    Block b begins at reading 16·b; the line within it stays between its two.
    """

    lowest_c: FloatArray
    highest_c: FloatArray


def get_outline(trace: Trace) -> Outline:
    """Return the outline of a trace with one reading or more."""
    return trace.memory.get((get_outline, None), lambda: _make_outline(trace.temperature_c))


def sum_blocks(segments: FloatArray) -> FloatArray:
    """Sum what belongs to the segments between readings, block by block."""
    starts = np.arange(0, segments.size, BLOCK)
    return np.add.reduceat(segments, starts) if segments.size else np.zeros(1)


def list_readings(blocks: IntArray, count: int) -> IntArray:
    """List the readings of each block, a row of seventeen a block; beyond the last one, it."""
    readings: IntArray = blocks[:, np.newaxis] * BLOCK + _WITHIN
    np.minimum(readings, count - 1, out=readings)
    return readings


_WITHIN: Final = np.arange(BLOCK + 1)


def _make_outline(value: FloatArray) -> Outline:
    starts = np.arange(0, max(value.size - 1, 1), BLOCK)
    lowest, highest = np.minimum.reduceat(value, starts), np.maximum.reduceat(value, starts)
    # The segment to the next block belongs to this one.
    after = value[BLOCK::BLOCK]
    inside = slice(0, after.size)
    np.minimum(lowest[inside], after[: lowest.size], out=lowest[inside])
    np.maximum(highest[inside], after[: highest.size], out=highest[inside])
    return Outline(lowest, highest)
