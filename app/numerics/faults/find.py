"""Finds every fault of a recording, in the order in which one explains another."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.numerics.column_codec import IntArray
from app.numerics.errors import MalformedArrays
from app.numerics.faults.between import estimate_air, find_reversed, find_still, find_swapped
from app.numerics.faults.clipping import find_clipped_top
from app.numerics.faults.flats import find_flats
from app.numerics.faults.jumps import find_leaps
from app.numerics.faults.shapes import (
    NOISE_OF_THIRD_DIFFERENCE,
    ChannelFault,
    FaultKind,
    FaultRole,
    Readings,
    bend,
    caution,
    find_middle,
)
from app.numerics.faults.timing import find_gaps, find_silences, find_time_faults
from app.numerics.trace import LARGEST_TIME_S, FloatArray

# No thermocouple of types K, J, T, N in use at a soldering bench reads beyond these; what is
# beyond is a logger's word for an open wire.
_LOWEST_C: Final = -200.0
_HIGHEST_C: Final = 1_250.0
_NOISE_FROM: Final = 2_000
_FEWEST_FOR_NOISE: Final = 4
_FIRST: Final = 5
# Within a gap of this length nothing gets half as hot as the peak and back again.
_HARMLESS_GAP_S: Final = 30.0
_HARMLESS_SHARE: Final = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Inspection:
    """The faults of a recording, in order, and each channel's readings at rising moments.

    Spikes are not among the readings. A gap, a short silence or a spike is told with all metrics
    that it might touch; which it does depends on what they are measured against.
    `sample_count` says how many moments those are, with a reading or without.
    """

    faults: tuple[ChannelFault, ...]
    sample_count: int
    readings: Mapping[str, Readings]


def find_faults(
    time_s: ArrayLike,
    channels: Mapping[str, ArrayLike],
    *,
    roles: Mapping[str, str],
    air_c: float | None = None,
) -> tuple[ChannelFault, ...]:
    """Find the faults of a recording, in the order of their first sample: see inspect_recording."""
    return inspect_recording(time_s, channels, roles=roles, air_c=air_c).faults


def inspect_recording(
    time_s: ArrayLike,
    channels: Mapping[str, ArrayLike],
    *,
    roles: Mapping[str, str],
    air_c: float | None = None,
) -> Inspection:
    """Find the faults of a recording, in the order of their first sample, and what is to be read.

    `time_s` are moments in s, in the order recorded; `channels` °C on the same samples, NaN = no
    reading; `roles` each channel's FaultRole (unknown when left out); `air_c` the room in °C,
    estimated from the start of the channels when None. The thresholds are our own, no source;
    each is told where it is used. Time that steps back or repeats is found, not refused; the
    samples that do not rise are left out of the rest. Raises MalformedArrays for arrays that
    differ in length, moments that are no number and roles that are none.
    """
    time = _read_time(time_s)
    arrays = {name: _read_channel(name, values, time) for name, values in channels.items()}
    kinds = {name: _read_role(name, roles) for name in arrays}
    faults, kept = find_time_faults(time)
    sample = np.arange(time.size)
    if kept is not None:
        time, sample = time[kept], sample[kept]
        arrays = {name: values[kept] for name, values in arrays.items()}
    gaps = find_gaps(time, sample)
    read: dict[str, Readings] = {}
    for name, values in arrays.items():
        is_read = (values >= _LOWEST_C) & (values <= _HIGHEST_C)
        if not bool(is_read.all()):
            if time.size:
                is_beyond = ~(is_read | np.isnan(values))
                faults += find_silences(name, time, sample, is_read=is_read, is_beyond=is_beyond)
            read[name] = _make_readings(
                name, kinds[name], time[is_read], values[is_read], sample[is_read]
            )
        else:
            read[name] = _make_readings(name, kinds[name], time, values, sample)
    faults += [_weigh_gap(gap, read.values()) for gap in gaps]
    left_out = {fault.channel for fault in faults if fault.consequence.is_left_out}
    found, sound = _find_in_channels(read, air_c=air_c)
    faults += found
    faults += find_swapped({n: one for n, one in sound.items() if n not in left_out})
    for fault in found:
        if fault.kind is FaultKind.SPIKE and fault.channel is not None:
            read[fault.channel] = _drop(read[fault.channel], fault)
    ordered = sorted(faults, key=lambda fault: fault.evidence.first_sample)
    return Inspection(tuple(ordered), time.size, read)


def _find_in_channels(
    read: Mapping[str, Readings], *, air_c: float | None
) -> tuple[list[ChannelFault], dict[str, Readings]]:
    """Find the faults of each channel, and the channels that have none."""
    faults: list[ChannelFault] = []
    sound: dict[str, Readings] = {}
    told = {name: readings for name, readings in read.items() if readings.value_c.size}
    heated = [channel for channel in told.values() if channel.role is not FaultRole.AIR]
    for name, readings in told.items():
        others = [channel for channel in heated if channel is not readings]
        others_air_c = air_c if air_c is not None else estimate_air(others)
        whole = find_still(readings, others, air_c=others_air_c) or find_reversed(
            readings, others, air_c=others_air_c
        )
        if whole is not None:
            faults.append(whole)
            continue
        flats = find_flats(readings, others)
        if not flats and (clipped := find_clipped_top(readings)) is not None:
            flats = [clipped]
        known = [_place(readings, fault) for fault in flats]
        room_c = air_c if air_c is not None else estimate_air(heated)
        leaps = find_leaps(readings, air_c=room_c, known=known)
        faults += [*flats, *leaps]
        if not flats and not leaps:
            sound[name] = readings
    return faults, sound


def _drop(readings: Readings, fault: ChannelFault) -> Readings:
    """Return the readings without those of a spike: they were not read."""
    shown = fault.evidence
    kept = (readings.sample < shown.first_sample) | (readings.sample > shown.last_sample)
    return _make_readings(
        readings.name,
        readings.role,
        readings.time_s[kept],
        readings.value_c[kept],
        readings.sample[kept],
    )


def _place(readings: Readings, fault: ChannelFault) -> tuple[int, int]:
    first, last = np.searchsorted(
        readings.sample, (fault.evidence.first_sample, fault.evidence.last_sample)
    ).tolist()
    return first, last


def _weigh_gap(gap: ChannelFault, channels: Iterable[Readings]) -> ChannelFault:
    """Return the gap as a mere caution where it is short and every channel far below its peak."""
    lasting_s = gap.evidence.until_s - gap.evidence.at_s
    if lasting_s > _HARMLESS_GAP_S:
        return gap
    for channel in channels:
        if not channel.value_c.size:
            continue
        around = np.interp(
            (gap.evidence.at_s, gap.evidence.until_s), channel.time_s, channel.value_c
        )
        span_k = channel.highest_c - channel.lowest_c
        if float(around.max()) - channel.lowest_c > _HARMLESS_SHARE * span_k:
            return gap
    return replace(gap, consequence=caution())


def _make_readings(
    name: str, role: FaultRole, time_s: FloatArray, value_c: FloatArray, sample: IntArray
) -> Readings:
    steps_k = np.diff(value_c)
    lowest_c, highest_c = (
        (float(value_c.min()), float(value_c.max())) if value_c.size else (math.nan, math.nan)
    )
    return Readings(
        name=name,
        role=role,
        time_s=time_s,
        value_c=value_c,
        sample=sample,
        steps_k=steps_k,
        noise_k=_estimate_noise(steps_k),
        lowest_c=lowest_c,
        highest_c=highest_c,
        start_c=find_middle(value_c[:_FIRST]) if value_c.size else math.nan,
    )


def _estimate_noise(steps_k: FloatArray) -> float:
    if steps_k.size < _FEWEST_FOR_NOISE:
        return 0.0
    bends, _ = bend(steps_k, at_most=_NOISE_FROM)
    return find_middle(np.abs(bends)) / NOISE_OF_THIRD_DIFFERENCE


def _read_time(time_s: ArrayLike) -> FloatArray:
    time = np.asarray(time_s, dtype=np.float64)
    if time.ndim != 1:
        raise MalformedArrays(f"Time must be one row of moments, not {time.ndim} dimensions.")
    if not bool((np.abs(time) <= LARGEST_TIME_S).all()):
        raise MalformedArrays(f"A moment is no number or beyond ±{LARGEST_TIME_S:.0e} s.")
    return time


def _read_channel(name: str, values: ArrayLike, time: FloatArray) -> NDArray[np.float64]:
    read = np.asarray(values, dtype=np.float64)
    if read.shape != time.shape:
        raise MalformedArrays(
            f"Channel {name}: {read.size} temperatures do not fit {time.size} moments, one each."
        )
    return read


def _read_role(name: str, roles: Mapping[str, str]) -> FaultRole:
    word = roles.get(name, FaultRole.UNKNOWN)
    try:
        return FaultRole(word)
    except ValueError:
        raise MalformedArrays(
            f"Channel {name}: {word!r} is no role; there are {', '.join(FaultRole)}."
        ) from None
