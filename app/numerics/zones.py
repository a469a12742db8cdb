"""What each zone reached: against its setting, and how settled it was at its end."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.numerics.cut import cut_trace, find_temperature_at
from app.numerics.errors import NumericsError
from app.numerics.trace import Trace
from app.numerics.values import CannotSay, Measured, Outcome, Unit

DEFAULT_END_WINDOW_S = 5.0
# Common practice, no source.
DEFAULT_SETTLING_BAND_K = 2.0


class UnusableZones(NumericsError):
    """Zones that do not follow each other, or a window or band that is not above 0."""


@dataclass(frozen=True, slots=True)
class ZonePlan:
    """A zone as it ran: its end on the trace's time axis, and what it was set to, if anything."""

    name: str
    ends_at_s: float
    set_c: float | None = None


@dataclass(frozen=True, slots=True)
class ZoneMetrics:
    """What one channel shows of one zone.

    `reached` is the temperature at the zone's end; `above_setting` is reached minus set in K, None
    without a setting. `end_rate` is the mean slope (K/s) over the last `end_window_s` of the zone.
    `settled_for` is the unbroken time (s) up to the end within ± `band_k` of `reached`, censored
    when that is the whole zone: it may have been so before.
    """

    name: str
    starts_at_s: float
    ends_at_s: float
    end_window_s: float
    band_k: float
    reached: Outcome
    above_setting: Outcome | None
    end_rate: Outcome
    settled_for: Outcome


def measure_zones(
    trace: Trace,
    zones: Sequence[ZonePlan],
    *,
    starts_at_s: float = 0.0,
    end_window_s: float = DEFAULT_END_WINDOW_S,
    band_k: float = DEFAULT_SETTLING_BAND_K,
) -> tuple[ZoneMetrics, ...]:
    """Measure one channel at the end of each zone; the first begins at `starts_at_s` (s).

    Each zone begins where the one before ends. What the trace does not show, it cannot say.
    Raises UnusableZones unless the ends rise from the start and window and band are above 0.
    """
    if not (math.isfinite(end_window_s) and end_window_s > 0.0):
        raise UnusableZones(f"A window of {end_window_s:g} s at a zone's end is no time above 0 s.")
    if not (math.isfinite(band_k) and band_k > 0.0):
        raise UnusableZones(f"A settling band of {band_k:g} K is not above 0 K.")
    measured: list[ZoneMetrics] = []
    begin_s = starts_at_s
    for zone in zones:
        _check_zone(zone, begin_s)
        measured.append(
            _measure_zone(trace, zone, begin_s, end_window_s=end_window_s, band_k=band_k)
        )
        begin_s = zone.ends_at_s
    return tuple(measured)


def _check_zone(zone: ZonePlan, begin_s: float) -> None:
    if not (math.isfinite(begin_s) and math.isfinite(zone.ends_at_s) and begin_s < zone.ends_at_s):
        raise UnusableZones(
            f"Zone {zone.name} must end after it begins: from {begin_s:g} s to "
            f"{zone.ends_at_s:g} s."
        )
    if zone.set_c is not None and not math.isfinite(zone.set_c):
        raise UnusableZones(f"Zone {zone.name} cannot be set to {zone.set_c:g} °C.")


def _measure_zone(
    trace: Trace, zone: ZonePlan, begin_s: float, *, end_window_s: float, band_k: float
) -> ZoneMetrics:
    end_c = find_temperature_at(trace, zone.ends_at_s)
    above_setting: Outcome | None = None
    if end_c is None:
        unseen = CannotSay(f"The trace has no readings at {zone.ends_at_s:g} s.")
        reached: Outcome = unseen
        end_rate: Outcome = unseen
        settled_for: Outcome = unseen
        if zone.set_c is not None:
            above_setting = unseen
    else:
        reached = Measured(end_c, Unit.CELSIUS, at_s=zone.ends_at_s)
        if zone.set_c is not None:
            above_setting = Measured(end_c - zone.set_c, Unit.KELVIN, at_s=zone.ends_at_s)
        end_rate = _measure_end_rate(trace, zone, begin_s, end_c=end_c, window_s=end_window_s)
        settled_for = _measure_settling(trace, zone, begin_s, end_c=end_c, band_k=band_k)
    return ZoneMetrics(
        name=zone.name,
        starts_at_s=begin_s,
        ends_at_s=zone.ends_at_s,
        end_window_s=end_window_s,
        band_k=band_k,
        reached=reached,
        above_setting=above_setting,
        end_rate=end_rate,
        settled_for=settled_for,
    )


def _measure_end_rate(
    trace: Trace, zone: ZonePlan, begin_s: float, *, end_c: float, window_s: float
) -> Outcome:
    from_s = zone.ends_at_s - window_s
    if from_s < begin_s:
        return CannotSay(f"Zone {zone.name} is shorter than the window of {window_s:g} s.")
    before_c = find_temperature_at(trace, from_s)
    if before_c is None:
        return CannotSay(f"The trace has no readings at {from_s:g} s.")
    return Measured((end_c - before_c) / window_s, Unit.KELVIN_PER_SECOND, at_s=from_s)


def _measure_settling(
    trace: Trace, zone: ZonePlan, begin_s: float, *, end_c: float, band_k: float
) -> Outcome:
    part = cut_trace(trace, begin_s, zone.ends_at_s)
    off_k = np.abs(part.temperature_c - end_c)
    out = np.flatnonzero(off_k > band_k)
    is_whole = not out.size
    if is_whole:
        since_s = float(part.time_s[0])
    else:
        # The last reading of the part is `reached` itself, so there is one after the last outside.
        last = int(out[-1])
        over_k = off_k[last] - band_k
        share = over_k / (over_k - _measure_over(part, last, end_c=end_c, band_k=band_k))
        since_s = float(part.time_s[last] + share * (part.time_s[last + 1] - part.time_s[last]))
    return Measured(zone.ends_at_s - since_s, Unit.SECOND, at_s=since_s, is_censored=is_whole)


def _measure_over(part: Trace, last: int, *, end_c: float, band_k: float) -> float:
    """How far (K) the reading after the last outside is beyond that side of the band: below 0."""
    sign = 1.0 if part.temperature_c[last] > end_c else -1.0
    return float(sign * (part.temperature_c[last + 1] - end_c) - band_k)
