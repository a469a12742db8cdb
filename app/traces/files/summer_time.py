"""Clocks that were put forward or back by an hour while a logger ran."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

_HOUR_S: Final = 3_600


@dataclass(frozen=True)
class ClockChange:
    """The step behind sample `place` holds one hour too much (+1) or too little (-1).

    `is_shown` says that the samples' spacing and the full hour on the clock show it.
    """

    place: int
    hours: int
    is_shown: bool


def list_clock_changes(ticks: NDArray[np.int64], *, decimals: int) -> Iterator[ClockChange]:
    """Yield the steps that are a usual one but for an hour, of ticks of 10**-decimals s.

    Usual is within half of the median step. Clocks change as an hour ends: the change is shown
    where the step, the hour set right, ends or passes a full hour of the clock before. Where
    samples are an hour or more apart, nothing can show it.
    """
    hour = _HOUR_S * 10**decimals
    steps = np.diff(ticks)
    forward = steps[steps > 0]
    # The lower of two middle ones: of a step and one with the hour, the step is usual.
    usual = int(np.sort(forward)[(forward.size - 1) // 2]) if forward.size else 0
    if not 0 < usual < hour // 2:
        return
    for hours in (1, -1):
        right = steps - hours * hour
        for place in np.flatnonzero(np.abs(right - usual) <= usual // 2).tolist():
            before = int(ticks[place])
            passes_hour = (before + int(right[place])) // hour > before // hour
            yield ClockChange(place, hours, is_shown=passes_hour)
