"""Faults that show against the other channels: short, reversed, swapped."""

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from app.numerics.faults.shapes import (
    EVERY_METRIC,
    LEFT_OUT,
    ChannelFault,
    FaultKind,
    FaultRole,
    Figure,
    Readings,
    caution,
    find_middle,
)
from app.numerics.trace import FloatArray
from app.numerics.values import Unit

# Our own rules, no source.
_COLD_C: Final = 60.0
_FEWEST: Final = 10
_OTHERS_RISE_K: Final = 60.0
_STILL_K: Final = 10.0
# A sensor far from the heat may truly hardly warm: it must stand stiller, beside hotter ones.
_OTHERS_RISE_FAR_K: Final = 100.0
_STILL_FAR_K: Final = 4.0
_AT_AIR_K: Final = 15.0
_CONSTANT_FEWEST: Final = 30
_CONSTANT_S: Final = 30.0
_BELOW_AIR_K: Final = 6.0
_BELOW_START_K: Final = 12.0
_BELOW_HOT_START_C: Final = -10.0
_LEAST_BELOW: Final = 5
_LEAST_BELOW_SHARE: Final = 0.02
_LEVEL_SHARES: Final = (0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5, 0.6)
# In a soak two of the levels may fall on a slope too flat to tell.
_LATER_AT: Final = 6
_LEAST_RISE_K: Final = 40.0
_LAG_S: Final = 0.7
_LAG_OF_USUAL: Final = 0.5
_LAG_OF_NOISE: Final = 2.0


def estimate_air(channels: Sequence[Readings]) -> float | None:
    """Estimate the air's temperature (°C) from how the channels start; None where they are hot."""
    starts = [channel.start_c for channel in channels if channel.value_c.size]
    if not starts:
        return None
    start_c = find_middle(np.array(starts))
    return start_c if start_c < _COLD_C else None


def find_still(
    readings: Readings, others: Sequence[Readings], *, air_c: float | None
) -> ChannelFault | None:
    """Find a channel that stays at the air's temperature while another one heats: a short.

    It moves by less than 10 K beside 60 K (adjacent and unknown ones 4 K beside 100 K). The same
    away from the air's temperature, or 30 s of nothing but one value, is a flat line.
    """
    if readings.value_c.size < _FEWEST or readings.role is FaultRole.AIR:
        return None
    lowest, highest = readings.lowest_c, readings.highest_c
    is_far = readings.role in {FaultRole.ADJACENT, FaultRole.UNKNOWN}
    still_k, rise_k = (_STILL_FAR_K, _OTHERS_RISE_FAR_K) if is_far else (_STILL_K, _OTHERS_RISE_K)
    moved_k = highest - lowest
    others_k = max((other.highest_c - other.lowest_c for other in others), default=0.0)
    last = readings.value_c.size - 1
    lasting_s = float(readings.time_s[last] - readings.time_s[0])
    is_constant = moved_k == 0.0 and last >= _CONSTANT_FEWEST and lasting_s >= _CONSTANT_S
    if not is_constant and (moved_k >= still_k or others_k < rise_k):
        return None
    is_at_air = air_c is not None and abs((lowest + highest) / 2.0 - air_c) <= _AT_AIR_K
    return readings.blame(
        FaultKind.SHORT_CIRCUIT if is_at_air and others_k >= rise_k else FaultKind.FLAT_LINE,
        (0, last),
        LEFT_OUT,
        Figure("moves by", moved_k, Unit.KELVIN),
        Figure("another moves by", others_k, Unit.KELVIN),
    )


def find_reversed(readings: Readings, *, air_c: float | None) -> ChannelFault | None:
    """Find a channel that falls below the air, where no heated place can be: reversed wires.

    For 2 % of its readings, and 5, more than 6 K below `air_c`, the air as the other channels
    tell it; without that, 12 K below its own cold start, or below −10 °C.
    """
    start_c = readings.start_c if readings.value_c.size else 0.0
    if air_c is not None:
        limit_c = min(air_c - _BELOW_AIR_K, start_c - _BELOW_AIR_K)
    elif start_c < _COLD_C:
        limit_c = start_c - _BELOW_START_K
    else:
        limit_c = _BELOW_HOT_START_C
    if readings.value_c.size < _FEWEST or readings.lowest_c >= limit_c:
        return None
    below = np.flatnonzero(readings.value_c < limit_c)
    if below.size < max(_LEAST_BELOW, _LEAST_BELOW_SHARE * readings.value_c.size):
        return None
    return readings.blame(
        FaultKind.REVERSED_POLARITY,
        (int(below[0]), int(below[-1])),
        LEFT_OUT,
        Figure("start", start_c, Unit.CELSIUS),
        Figure("lowest", readings.lowest_c, Unit.CELSIUS),
        Figure("readings below", float(below.size)),
    )


def find_swapped(channels: Mapping[str, Readings]) -> list[ChannelFault]:
    """Find a body channel that lags a joint channel from the start of heating on.

    The gas meets the body first. Compared are the moments at which both have risen by eight
    shares, 15 % to 60 %, of the smaller rise: swapped where the body is later than one and the
    same joint at six of them, in the middle by more than 0.7 s, half a sampling interval
    and what twice the noise makes of it. Both channels are named.
    """
    bodies = [channel for channel in channels.values() if channel.role is FaultRole.BODY]
    joints = [channel for channel in channels.values() if channel.role is FaultRole.JOINT]
    faults: list[ChannelFault] = []
    for body in bodies:
        lags = [(lag_s, joint) for joint in joints if (lag_s := _measure_lag(body, joint)) > 0.0]
        if not lags:
            continue
        lag_s, joint = max(lags, key=lambda pair: pair[0])
        usual_s = find_middle(np.diff(body.time_s))
        if lag_s <= max(_LAG_S, _LAG_OF_USUAL * usual_s):
            continue
        for one, other in ((body, joint), (joint, body)):
            faults.append(
                one.blame(
                    FaultKind.SWAPPED,
                    (0, int(np.argmax(one.value_c))),
                    caution(*EVERY_METRIC),
                    Figure("body lags the joint by", lag_s, Unit.SECOND),
                    partner=other.name,
                )
            )
    return faults


def _measure_lag(body: Readings, joint: Readings) -> float:
    """How much later (s) the body is, in the middle; 0 when it is not later at six levels."""
    if min(body.value_c.size, joint.value_c.size) < _FEWEST:
        return 0.0
    starts = (body.start_c, joint.start_c)
    rise_k = min(
        channel.highest_c - start for channel, start in zip((body, joint), starts, strict=True)
    )
    if rise_k < _LEAST_RISE_K:
        return 0.0
    moments = np.stack(
        [
            _find_moments(one, start + np.array(_LEVEL_SHARES) * rise_k)
            for one, start in zip((body, joint), starts, strict=True)
        ]
    )
    lags_s = moments[0] - moments[1]
    if int(np.count_nonzero(lags_s > 0.0)) < _LATER_AT:
        return 0.0
    # On a slow rise noise alone moves a crossing for long.
    slow_s_per_k = float(np.ptp(moments[1])) / (rise_k * (_LEVEL_SHARES[-1] - _LEVEL_SHARES[0]))
    noise_k = math.hypot(body.noise_k, joint.noise_k)
    lag_s = find_middle(lags_s)
    return lag_s if lag_s > _LAG_OF_NOISE * noise_k * slow_s_per_k else 0.0


def _find_moments(channel: Readings, levels_c: FloatArray) -> FloatArray:
    """Moments (s) of the first reading at or above each level it reaches, interpolated."""
    time, value = channel.time_s, channel.value_c
    first = np.searchsorted(np.maximum.accumulate(value), levels_c)
    # At the first reading there is nothing before it.
    before, at = np.maximum(first - 1, 0), np.maximum(first, 1)
    rise_k = value[at] - value[before]
    share = np.zeros(first.size)
    np.divide(levels_c - value[before], rise_k, out=share, where=first > 0)
    moments: FloatArray = time[before] + share * (time[at] - time[before])
    return moments
