"""The band that earlier runs kept to, and where another run leaves it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from app.numerics.crossings import compute_time_above
from app.numerics.errors import NumericsError
from app.numerics.trace import FloatArray, Trace
from app.numerics.values import CannotSay

_FEWEST_RUNS = 2


class UnusableEnvelope(NumericsError):
    """A margin or shortest time that is not a finite number of 0 or more."""


class Side(StrEnum):
    """Where a run is when it leaves the envelope."""

    ABOVE = "above"
    BELOW = "below"


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """Lowest and highest of `run_count` runs at each moment of a common time axis (s).

    Straight lines between the moments; the axis ends where the first of the runs does.
    """

    time_s: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    run_count: int


@dataclass(frozen=True, slots=True)
class Departure:
    """One unbroken time outside the envelope, and the furthest it goes (K, above 0).

    `is_cut_off`: it begins or ends with the time that can be compared.
    """

    side: Side
    from_s: float
    to_s: float
    furthest_k: float
    furthest_at_s: float
    is_cut_off: bool


@dataclass(frozen=True, slots=True)
class Departures:
    """Every departure in order of time, and the time (s) that could be compared."""

    found: tuple[Departure, ...]
    from_s: float
    to_s: float

    @property
    def furthest(self) -> Departure | None:
        """The departure that goes furthest; None when the run stayed inside."""
        return max(self.found, key=lambda departure: departure.furthest_k, default=None)


def compute_envelope(runs: Sequence[Trace]) -> Envelope | CannotSay:
    """Pointwise lowest and highest (°C) of two or more aligned runs where all have readings.

    The axis holds every reading of every run, so that no reading is outside; between two moments
    the straight lines are never narrower than the runs. Cannot say for fewer than two runs or
    runs that have no time in common.
    """
    if len(runs) < _FEWEST_RUNS:
        return CannotSay(f"An envelope needs {_FEWEST_RUNS} runs or more.")
    if any(not run.time_s.size for run in runs):
        return CannotSay("A run of the envelope has no readings.")
    begin = max(float(run.time_s[0]) for run in runs)
    end = min(float(run.time_s[-1]) for run in runs)
    if not begin < end:
        return CannotSay("The runs of the envelope have no time in common.")
    moments = np.unique(np.concatenate([run.time_s for run in runs]))
    moments = moments[(moments >= begin) & (moments <= end)]
    low, high = np.full(moments.size, np.inf), np.full(moments.size, -np.inf)
    for run in runs:
        at = np.interp(moments, run.time_s, run.temperature_c)
        np.minimum(low, at, out=low)
        np.maximum(high, at, out=high)
    return Envelope(time_s=moments, low_c=low, high_c=high, run_count=len(runs))


def find_departures(
    envelope: Envelope, run: Trace, *, margin_k: float = 0.0, shortest_s: float = 0.0
) -> Departures | CannotSay:
    """Find where an aligned run is more than `margin_k` (K) outside, for `shortest_s` (s) or more.

    Exact on the straight lines of both. Cannot say when they have no time in common. Raises
    UnusableEnvelope for a margin or time that is no finite number of 0 or more.
    """
    for name, value in (("margin_k", margin_k), ("shortest_s", shortest_s)):
        if not (math.isfinite(value) and value >= 0.0):
            raise UnusableEnvelope(f"{name} must be 0 or more, not {value:g}.")
    if not run.time_s.size:
        return CannotSay("The run has no readings.")
    begin = max(float(run.time_s[0]), float(envelope.time_s[0]))
    end = min(float(run.time_s[-1]), float(envelope.time_s[-1]))
    if not begin < end:
        return CannotSay("The run and the envelope have no time in common.")
    moments = np.union1d(run.time_s, envelope.time_s)
    moments = moments[(moments >= begin) & (moments <= end)]
    at = np.interp(moments, run.time_s, run.temperature_c)
    over = at - np.interp(moments, envelope.time_s, envelope.high_c)
    under = np.interp(moments, envelope.time_s, envelope.low_c) - at
    found = [
        departure
        for side, beyond_k in ((Side.ABOVE, over), (Side.BELOW, under))
        for departure in _list_departures(side, moments, beyond_k, margin_k=margin_k)
        if departure.to_s - departure.from_s >= shortest_s
    ]
    found.sort(key=lambda departure: (departure.from_s, departure.side))
    return Departures(found=tuple(found), from_s=begin, to_s=end)


def _list_departures(
    side: Side, moments: FloatArray, beyond_k: FloatArray, *, margin_k: float
) -> list[Departure]:
    departures: list[Departure] = []
    for stretch in compute_time_above(Trace(moments, beyond_k, 0), margin_k).stretches:
        # The furthest is at a moment of the axis: between two the difference is a straight line.
        first = int(np.searchsorted(moments, stretch.start_s))
        last = int(np.searchsorted(moments, stretch.end_s, side="right"))
        place = first + int(np.argmax(beyond_k[first:last]))
        departures.append(
            Departure(
                side=side,
                from_s=stretch.start_s,
                to_s=stretch.end_s,
                furthest_k=float(beyond_k[place]),
                furthest_at_s=float(moments[place]),
                is_cut_off=stretch.is_censored,
            )
        )
    return departures
