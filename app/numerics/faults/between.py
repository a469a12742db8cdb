"""Faults that show against the other channels: short, reversed, swapped."""

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from app.numerics.faults.shapes import (
    LEFT_OUT,
    ChannelFault,
    FaultKind,
    FaultRole,
    Figure,
    Readings,
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
_COLDEST_ROOM_C: Final = 0.0
# A channel that rises so far beside it shows that there was heat.
_LEAST_LEADING_K: Final = 20.0
_FALLEN_SHARE: Final = 0.25
_LEAST_BELOW: Final = 5
_LEAST_BELOW_SHARE: Final = 0.02
_LEVEL_SHARES: Final = (0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5, 0.6)
# In a soak two of the levels may fall on a slope too flat to tell.
_LATER_AT: Final = 6
_LEAST_RISE_K: Final = 40.0
_COMMON_START_K: Final = 3.0
_COMMON_START_OF_NOISE: Final = 6.0
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
    # A warm one may stand on its own broad top while the others cool: there must be heat.
    others_k = max(
        (
            _measure_rise(other) if highest > _COLD_C else other.highest_c - other.lowest_c
            for other in others
            if other.value_c.size
        ),
        default=0.0,
    )
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


def find_reversed(
    readings: Readings, others: Sequence[Readings], *, air_c: float | None
) -> ChannelFault | None:
    """Find a channel that falls below the air while another one rises: reversed wires.

    For 2 % of its readings, and 5, more than 6 K below its own start and `air_c`, the air as the
    other channels tell it, and never much above that; at the moment at which the other that rises
    furthest, by 20 K or more, is hottest, a quarter of the fall is done. Without `air_c` or such
    another: below 0 °C. A channel that only cools from a warm start does neither.
    """
    if readings.value_c.size < _FEWEST:
        return None
    start_c, least_c = readings.start_c, readings.lowest_c
    leader = max(others, key=_measure_rise, default=None)
    if air_c is None or leader is None or _measure_rise(leader) < _LEAST_LEADING_K:
        limit_c = min(start_c - _BELOW_START_K, _COLDEST_ROOM_C)
    else:
        limit_c = min(air_c, start_c) - _BELOW_AIR_K
        peak_s = leader.time_s[int(np.argmax(leader.value_c))]
        then_c = float(np.interp(peak_s, readings.time_s, readings.value_c))
        is_falling = start_c - then_c >= _FALLEN_SHARE * (start_c - least_c)
        if not is_falling or readings.highest_c > max(air_c, start_c) + _BELOW_START_K:
            return None
    if least_c >= limit_c:
        return None
    below = np.flatnonzero(readings.value_c < limit_c)
    if below.size < max(_LEAST_BELOW, _LEAST_BELOW_SHARE * readings.value_c.size):
        return None
    return readings.blame(
        FaultKind.REVERSED_POLARITY,
        (int(below[0]), int(below[-1])),
        LEFT_OUT,
        Figure("start", start_c, Unit.CELSIUS),
        Figure("lowest", least_c, Unit.CELSIUS),
        Figure("readings below", float(below.size)),
    )


def _measure_rise(channel: Readings) -> float:
    return channel.highest_c - channel.start_c


def find_swapped(channels: Mapping[str, Readings]) -> list[ChannelFault]:
    """Find a body channel that lags a joint channel from a common start on, and its partner.

    The gas meets the body first. Compared are the moments at which both reach eight levels, 15 %
    to 60 % of the smaller rise: swapped where the body is later than one and the
    same joint at six of them, in the middle by more than 0.7 s, half a sampling interval
    and what twice the noise makes of it. Channels that start apart are not compared: the recording
    began late or warm. The partner is the joint or board channel whose exchange with the body
    leaves the least lag behind joints and boards. Both channels are left out.
    """
    bodies = [channel for channel in channels.values() if channel.role is FaultRole.BODY]
    joints = [channel for channel in channels.values() if channel.role is FaultRole.JOINT]
    boards = [channel for channel in channels.values() if channel.role is FaultRole.BOARD]
    faults: list[ChannelFault] = []
    for body in bodies:
        lag_s = max((_measure_excess_lag(body, joint) for joint in joints), default=0.0)
        if not lag_s:
            continue
        followers = [one for one in (*joints, *boards) if _begin_together(body, one)]
        partner = min(followers, key=lambda one: _measure_left(body, one, followers))
        for one, other in ((body, partner), (partner, body)):
            faults.append(
                one.blame(
                    FaultKind.SWAPPED,
                    (0, int(np.argmax(one.value_c))),
                    LEFT_OUT,
                    Figure("body lags the joint by", lag_s, Unit.SECOND),
                    partner=other.name,
                )
            )
    return faults


def _measure_left(body: Readings, partner: Readings, followers: Sequence[Readings]) -> float:
    """Measure the lags (s) of the body behind all others, were it exchanged with one of them."""
    after = [body if one is partner else one for one in followers]
    return sum(_measure_excess_lag(partner, one) for one in after)


def _measure_excess_lag(body: Readings, other: Readings) -> float:
    """How much later (s) the body is than another; 0 where that is too little to tell."""
    lag_s = _measure_lag(body, other)
    if not lag_s:
        return 0.0
    usual_s = find_middle(np.diff(body.time_s))
    return lag_s if lag_s > max(_LAG_S, _LAG_OF_USUAL * usual_s) else 0.0


def _begin_together(one: Readings, other: Readings) -> bool:
    noise_k = math.hypot(one.noise_k, other.noise_k)
    apart_k = abs(one.start_c - other.start_c)
    return apart_k <= max(_COMMON_START_K, _COMMON_START_OF_NOISE * noise_k)


def _measure_lag(body: Readings, joint: Readings) -> float:
    """How much later (s) the body is, in the middle; 0 when it is not later at six levels."""
    if min(body.value_c.size, joint.value_c.size) < _FEWEST:
        return 0.0
    if not _begin_together(body, joint):
        return 0.0
    noise_k = math.hypot(body.noise_k, joint.noise_k)
    # From the warmer start on both are asked for the same temperatures.
    start_c = max(body.start_c, joint.start_c)
    rise_k = min(body.highest_c, joint.highest_c) - start_c
    if rise_k < _LEAST_RISE_K:
        return 0.0
    levels_c = start_c + np.array(_LEVEL_SHARES) * rise_k
    moments = np.stack([_find_moments(one, levels_c) for one in (body, joint)])
    lags_s = moments[0] - moments[1]
    if int(np.count_nonzero(lags_s > 0.0)) < _LATER_AT:
        return 0.0
    # On a slow rise noise alone moves a crossing for long.
    slow_s_per_k = float(np.ptp(moments[1])) / (rise_k * (_LEVEL_SHARES[-1] - _LEVEL_SHARES[0]))
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
