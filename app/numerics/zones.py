"""What each zone reached: against its setting, and how settled it was at its end."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.numerics.cut import find_temperature_at
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
    time, value = trace.time_s, trace.temperature_c
    first, after = np.searchsorted(time, (begin_s, zone.ends_at_s)).tolist()
    out = np.flatnonzero(np.abs(value[first:after] - end_c) > band_k)
    if out.size:
        last = first + int(out[-1])
        at_s, at_c = float(time[last]), float(value[last])
    else:
        last = first - 1
        at_s = max(begin_s, float(time[0]))
        at_c = float(np.interp(at_s, time, value))
        if not abs(at_c - end_c) > band_k:
            return Measured(zone.ends_at_s - at_s, Unit.SECOND, at_s=at_s, is_censored=True)
    # The next reading, or what was reached at the end, is within the band or beyond its other side.
    is_last = last + 1 >= after
    next_s, next_c = (
        (zone.ends_at_s, end_c) if is_last else (float(time[last + 1]), float(value[last + 1]))
    )
    sign = 1.0 if at_c > end_c else -1.0
    over_k, next_over_k = sign * (at_c - end_c) - band_k, sign * (next_c - end_c) - band_k
    since_s = at_s + over_k / (over_k - next_over_k) * (next_s - at_s)
    return Measured(zone.ends_at_s - since_s, Unit.SECOND, at_s=since_s)
