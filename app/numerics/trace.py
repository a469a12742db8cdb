"""One channel's readings as a piecewise linear function of time."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.numerics.errors import MalformedArrays

FloatArray = NDArray[np.float64]
Found = TypeVar("Found")

# Far beyond any thermocouple or clock, near enough that no sum or product overflows.
LARGEST_TEMPERATURE_C = 1e6
LARGEST_TIME_S = 1e12
_FEWEST_WITH_A_GAP = 2


class Memory:
    """What was found once, by the function that found it and by its argument."""

    __slots__ = ("_found",)

    def __init__(self) -> None:
        self._found: dict[object, object] = {}

    def get(self, key: tuple[Callable[..., Found], object], find: Callable[[], Found]) -> Found:
        """Return what `find` finds, at the second time without looking again.

        `key` is the function that looks, and what tells one search of it from another.
        """
        found = self._found.get(key, self)
        if found is self:
            found = self._found[key] = find()
        return found  # type: ignore[return-value]  # the key names the type

    def has(self, key: tuple[Callable[..., object], object]) -> bool:
        """Whether this was found already."""
        return key in self._found


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """The readings of one channel: samples without a reading are left out.

    `time_s` rises strictly. Between readings the temperature is the straight line, also across
    samples that are missing; `missing_count` says how many those were and `longest_gap_s` how
    long the longest straight line is. What was found once is remembered, in `clock` what depends
    on the moments alone (several traces of the same moments may share it): the arrays must not be
    changed.
    """

    time_s: FloatArray
    temperature_c: FloatArray
    missing_count: int
    clock: Memory = field(default_factory=Memory, repr=False)
    memory: Memory = field(default_factory=Memory, init=False, repr=False)

    @property
    def steps_s(self) -> FloatArray:
        """Time from each reading to the next."""
        return self.clock.get((_list_steps, None), lambda: _list_steps(self.time_s))

    @property
    def longest_gap_s(self) -> float:
        """Longest time between two readings that follow each other; 0 below two readings."""
        if self.time_s.size < _FEWEST_WITH_A_GAP:
            return 0.0
        return self.clock.get((_find_longest, None), lambda: _find_longest(self.steps_s))

    @property
    def span_s(self) -> float:
        """Time from the first reading to the last; 0 without readings."""
        return float(self.time_s[-1] - self.time_s[0]) if self.time_s.size else 0.0


def _list_steps(time_s: FloatArray) -> FloatArray:
    return np.diff(time_s)


def _find_longest(steps_s: FloatArray) -> float:
    return float(steps_s.max())


def read_trace(time_s: ArrayLike, temperature_c: ArrayLike) -> Trace:
    """Read a trace from sample times (s) and temperatures (°C); NaN means no reading.

    Raises MalformedArrays when the arrays differ in length, are not one-dimensional, the time
    does not rise strictly, or a value is beyond ±1e6 °C or ±1e12 s.
    """
    time = np.asarray(time_s, dtype=np.float64)
    temperature = np.asarray(temperature_c, dtype=np.float64)
    check_time_axis(time)
    if temperature.shape != time.shape:
        raise MalformedArrays(
            f"{temperature.size} temperatures do not fit {time.size} moments, one each."
        )
    missing = np.isnan(temperature)
    missing_count = int(np.count_nonzero(missing))
    if missing_count:
        time, temperature = time[~missing], temperature[~missing]
    if temperature.size and np.abs(temperature).max() > LARGEST_TEMPERATURE_C:
        raise MalformedArrays(f"A temperature is beyond ±{LARGEST_TEMPERATURE_C:.0e} °C.")
    return Trace(time_s=time, temperature_c=temperature, missing_count=missing_count)


def check_time_axis(time_s: FloatArray) -> None:
    """Refuse a time axis (s) that is not one-dimensional, finite and strictly rising."""
    if time_s.ndim != 1:
        raise MalformedArrays(f"Time must be one row of moments, not {time_s.ndim} dimensions.")
    # A NaN fails the comparison too, whichever way it is written.
    if time_s.size and not bool((np.abs(time_s) <= LARGEST_TIME_S).all()):
        raise MalformedArrays(f"A moment is no number or beyond ±{LARGEST_TIME_S:.0e} s.")
    is_late = time_s[1:] > time_s[:-1]
    if not bool(is_late.all()):
        place = int(np.argmin(is_late)) + 1
        raise MalformedArrays(
            f"Time must rise: sample {place} is at {time_s[place]:g} s, "
            f"after {time_s[place - 1]:g} s."
        )
