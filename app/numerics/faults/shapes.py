"""What a finding about a channel says: its kind, what shows it, and what cannot be said now."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from app.numerics.column_codec import IntArray
from app.numerics.trace import FloatArray
from app.numerics.values import Unit


class FaultKind(StrEnum):
    """What is wrong."""

    OPEN_CIRCUIT = "open circuit"
    SHORT_CIRCUIT = "short circuit"
    SPIKE = "spike"
    FLAT_LINE = "flat line"
    REVERSED_POLARITY = "reversed polarity"
    SWAPPED = "swapped channels"
    LOOSE_JUNCTION = "loose junction"
    TIME_BACKWARDS = "time backwards"
    TIME_DOUBLED = "time doubled"
    GAP = "gap"
    SATURATION = "saturation"


class FaultRole(StrEnum):
    """Where a sensor sits, as far as it matters for faults."""

    JOINT = "joint"
    BODY = "body"
    BOARD = "board"
    ADJACENT = "adjacent"
    AIR = "air"
    UNKNOWN = "unknown"


# The metrics of a channel by their names in ChannelMetrics.
RAMPS: Final = ("maximum_ramp", "maximum_fall")
ABOVE: Final = ("above_liquidus", "area_above_liquidus", "near_classification")
TO_PEAK: Final = ("average_ramp", "average_cooling", "time_25_c_to_peak")
EVERY_METRIC: Final = ("peak", *ABOVE, *RAMPS, *TO_PEAK, "soak_time")
# A clipped top hides what depends on its height; times above lower temperatures stay exact.
CLIPPED: Final = ("peak", "area_above_liquidus", "near_classification", *RAMPS, *TO_PEAK)
TIMED: Final = tuple(name for name in EVERY_METRIC if name != "peak")

# Third differences of independent noise σ have variance 20 σ²; 0.6745 is a normal's median size.
NOISE_OF_THIRD_DIFFERENCE: Final = 0.6745 * math.sqrt(20.0)


def find_middle(values: FloatArray | IntArray) -> float:
    """Find the middle one of one value or more, the upper of two; quicker than a median."""
    middle = values.size // 2
    return float(np.partition(values, middle)[middle])


def bend(steps_k: FloatArray, *, at_most: int) -> tuple[FloatArray, FloatArray]:
    """Compute third differences (K) of a series from its steps, four or more, and those after each.

    From a long series only about so many, evenly spread.
    """
    every, last = 1 + steps_k.size // at_most, steps_k.size - 3
    first, second, third, fourth = (steps_k[n : last + n : every] for n in range(4))
    return third - 2.0 * second + first, fourth - 2.0 * third + second


@dataclass(frozen=True, slots=True)
class Figure:
    """One number that shows a fault; `unit` is None for a count."""

    name: str
    value: float
    unit: Unit | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """Where a fault shows: samples as they stand in the recording, counted from 0, both included.

    `at_s` and `until_s` are their moments on the recording's own time axis.
    """

    first_sample: int
    last_sample: int
    at_s: float
    until_s: float
    figures: tuple[Figure, ...] = ()


@dataclass(frozen=True, slots=True)
class Consequence:
    """What follows: the channel is left out, or a caution with the metrics that cannot be said.

    `unsayable` names fields of ChannelMetrics; all of them when the channel is left out.
    """

    is_left_out: bool
    unsayable: tuple[str, ...]


LEFT_OUT: Final = Consequence(is_left_out=True, unsayable=EVERY_METRIC)


def caution(*unsayable: str) -> Consequence:
    """Return a caution: the channel stays, these metrics cannot be said."""
    return Consequence(is_left_out=False, unsayable=unsayable)


@dataclass(frozen=True, slots=True)
class ChannelFault:
    """One fault of one channel; `channel` is None for the time axis, which is every channel's.

    `partner` is the channel it was swapped with, as far as that shows.
    """

    kind: FaultKind
    channel: str | None
    evidence: Evidence
    consequence: Consequence
    partner: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """One channel's readings at rising moments; `sample` is the place of each in the recording.

    `steps_k` are the differences from each to the next; `noise_k` is the standard deviation of
    the noise, estimated from third differences, in which smooth curves vanish. Lowest, highest
    and start (the middle one of the first five) are NaN without readings.
    """

    name: str
    role: FaultRole
    time_s: FloatArray
    value_c: FloatArray
    sample: IntArray
    steps_k: FloatArray
    noise_k: float
    lowest_c: float
    highest_c: float
    start_c: float

    def show(self, first: int, last: int, *figures: Figure) -> Evidence:
        """Return the evidence of the readings `first` to `last`, both included."""
        return Evidence(
            first_sample=int(self.sample[first]),
            last_sample=int(self.sample[last]),
            at_s=float(self.time_s[first]),
            until_s=float(self.time_s[last]),
            figures=figures,
        )

    def blame(
        self,
        kind: FaultKind,
        span: tuple[int, int],
        consequence: Consequence,
        *figures: Figure,
        partner: str | None = None,
    ) -> ChannelFault:
        """Return the fault of this channel that the readings `span`, both included, show."""
        return ChannelFault(kind, self.name, self.show(*span, *figures), consequence, partner)
