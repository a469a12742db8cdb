"""How a channel stands to temperatures it is held against: a ceiling, or any list of them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from app.numerics.crossings import TimeAbove, compute_area_above, compute_time_above
from app.numerics.metrics import UnusableLimit, compute_peak
from app.numerics.trace import Trace
from app.numerics.values import CannotSay, Measured, Unit


@dataclass(frozen=True, slots=True)
class AgainstCeiling:
    """A channel and the temperature it should not pass, such as a neighbour's body and 200 °C.

    `headroom` is ceiling minus peak in K, negative when it was passed, censored as the peak is
    (then the true headroom may be smaller). `above` is strictly above; `area_above` is in K·s.
    """

    ceiling_c: float
    peak: Measured
    headroom: Measured
    above: TimeAbove
    area_above: Measured

    @property
    def is_passed(self) -> bool:
        """Whether any reading is strictly above the ceiling."""
        return self.peak.value > self.ceiling_c


def compare_with_ceiling(trace: Trace, ceiling_c: float) -> AgainstCeiling | CannotSay:
    """Peak, headroom, time and area above a ceiling (°C) of one adjacent or body channel.

    Cannot say without a reading. Raises UnusableLimit for a ceiling that is not finite.
    """
    _check_finite(ceiling_c)
    if not trace.time_s.size:
        return CannotSay("The channel has no readings.")
    peak = compute_peak(trace)
    return AgainstCeiling(
        ceiling_c=ceiling_c,
        peak=peak,
        headroom=Measured(
            ceiling_c - peak.value, Unit.KELVIN, at_s=peak.at_s, is_censored=peak.is_censored
        ),
        above=compute_time_above(trace, ceiling_c),
        area_above=compute_area_above(trace, ceiling_c),
    )


def list_times_above(trace: Trace, thresholds_c: Iterable[float]) -> tuple[TimeAbove, ...]:
    """Time above each temperature (°C) in the order given: total, longest and every crossing.

    Raises UnusableLimit for a temperature that is not finite.
    """
    thresholds = tuple(thresholds_c)
    for threshold_c in thresholds:
        _check_finite(threshold_c)
    return tuple(compute_time_above(trace, threshold_c) for threshold_c in thresholds)


def _check_finite(limit_c: float) -> None:
    if not math.isfinite(limit_c):
        raise UnusableLimit(f"A temperature to compare with must be finite, not {limit_c:g} °C.")
