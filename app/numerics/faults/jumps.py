"""Readings that leap: spikes, contacts that come and go, wires that touch."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.numerics.faults.shapes import (
    ABOVE,
    EVERY_METRIC,
    LEFT_OUT,
    RAMPS,
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

Span = tuple[int, int]

# Our own rules, no source. A leap is judged against the steps beside it: a sensor in a flame makes
# steps of 25 K too, but then every step is large.
_FEWEST_READINGS: Final = 20
_BREAK_OF_USUAL: Final = 2.0
_LOUDEST_K: Final = 1.0
_STEP_K: Final = 2.5
_STEP_OF_NOISE: Final = 10.0
_ALTERNATIONS: Final = 4
_ALTERNATION_REACH: Final = 12
_ALTERNATIONS_WITHIN: Final = 24
_JOINED_WITHIN: Final = 24
_SPIKE_K: Final = 4.0
_SPIKE_OF_NOISE: Final = 12.0
_SPIKE_OF_STEPS: Final = 3.0
_END_SPIKE_OF_STEPS: Final = 6.0
_WIDEST_SPIKE: Final = 3
_MOST_SPIKES: Final = 12
_DROP_K: Final = 15.0
_DROP_OF_EXCESS: Final = 0.15
_DROP_OF_STEPS: Final = 6.0
_BESIDE: Final = 3
_CALM: Final = 4
_AT_AIR_K: Final = 6.0
_AT_AIR_OF_EXCESS: Final = 0.1


def find_leaps(
    readings: Readings, *, air_c: float | None, known: Sequence[Span]
) -> list[ChannelFault]:
    """Find loose junctions, wires that touch on the way, and spikes.

    Loose: large steps up and down in quick turns, or one sudden drop towards the air. Short: a
    sudden drop to the air's temperature (within 6 K or a tenth of what it fell) that stays calm.
    Spike: one to three readings out of line. `known` are stretches explained by other faults;
    gas itself may leap, so a channel in air is only searched for spikes.
    """
    if readings.value_c.size < _FEWEST_READINGS:
        return []
    noise_k = min(readings.noise_k, _LOUDEST_K)
    sizes = np.abs(readings.steps_k)
    large = np.flatnonzero(sizes > max(_STEP_K, _STEP_OF_NOISE * noise_k))
    if not large.size:
        return []
    breaks = _find_breaks(readings)
    if breaks.size:
        # Across a pause a step is no leap.
        sizes[breaks] = 0.0
        large = np.setdiff1d(large, breaks, assume_unique=True)
    faults: list[ChannelFault] = []
    explained = list(known)
    if readings.role is not FaultRole.AIR:
        restless = [span for span in _find_restless(readings, large) if not _meets(span, known)]
        faults += [_blame_restless(readings, span) for span in restless]
        explained += restless
        for first, last in _find_drops(readings, sizes, large):
            if not _meets((first, last), explained):
                faults.append(_blame_drop(readings, (first, last), air_c))
                explained.append((first, last))
    spikes = [
        span for span in _find_spikes(readings, sizes, noise_k) if not _meets(span, explained)
    ]
    if len(spikes) > _MOST_SPIKES:
        return [*faults, _blame_restless(readings, (spikes[0][0], spikes[-1][1]))]
    return faults + [_blame_spike(readings, span) for span in spikes]


def _find_breaks(readings: Readings) -> NDArray[np.intp]:
    """Find the steps across a pause, or across samples that were left out."""
    apart_s, apart = np.diff(readings.time_s), np.diff(readings.sample)
    return np.flatnonzero(
        (apart_s > _BREAK_OF_USUAL * find_middle(apart_s))
        | (apart > _BREAK_OF_USUAL * find_middle(apart))
    )


def _meets(span: Span, others: Sequence[Span]) -> bool:
    """Whether a span overlaps or touches one of the others."""
    return any(span[0] <= last + 1 and span[1] >= first - 1 for first, last in others)


def _find_restless(readings: Readings, large: NDArray[np.intp]) -> list[Span]:
    """Find where large steps alternate 4 times and more within 24 readings."""
    signs = readings.steps_k[large] > 0.0
    turns = large[1:][(signs[1:] != signs[:-1]) & (np.diff(large) <= _ALTERNATION_REACH)]
    if turns.size < _ALTERNATIONS:
        return []
    reach = turns[_ALTERNATIONS - 1 :] - turns[: 1 - _ALTERNATIONS]
    dense = np.flatnonzero(reach <= _ALTERNATIONS_WITHIN)
    spans: list[Span] = []
    for place in dense.tolist():
        begin = int(large[np.searchsorted(large, turns[place]) - 1])
        end = int(turns[place + _ALTERNATIONS - 1]) + 1
        if spans and begin - spans[-1][1] <= _JOINED_WITHIN:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((begin, end))
    return spans


def _find_drops(readings: Readings, sizes: FloatArray, large: NDArray[np.intp]) -> list[Span]:
    """Find sudden drops between calm steps, each to the rise that ends it or to the last reading.

    The span begins with the first reading after the drop.
    """
    last = readings.value_c.size - 1
    sudden = [at for at in large.tolist() if sizes[at] >= _DROP_K and _stands_alone(sizes, at)]
    spans: list[Span] = []
    for at in sudden:
        if readings.steps_k[at] >= 0.0 or (spans and at < spans[-1][1]):
            continue
        rises = [up for up in sudden if up > at and readings.steps_k[up] > 0.0]
        spans.append((at + 1, rises[0] if rises else last))
    return spans


def _stands_alone(sizes: FloatArray, at: int) -> bool:
    beside = np.concatenate((sizes[max(0, at - _BESIDE) : at], sizes[at + 1 : at + 1 + _BESIDE]))
    return bool(beside.size > _BESIDE and sizes[at] > _DROP_OF_STEPS * beside.max())


def _find_spikes(readings: Readings, sizes: FloatArray, noise_k: float) -> list[Span]:
    """Find one to three readings out of line, first the narrow ones; no two of them overlap."""
    least_k = max(_SPIKE_K, _SPIKE_OF_NOISE * noise_k)
    steps, value = readings.steps_k, readings.value_c
    spans = _find_end_spikes(sizes, least_k, value.size)
    edges = np.concatenate(([0], np.flatnonzero(np.abs(np.diff(steps)) > least_k) + 1))
    for width in range(1, _WIDEST_SPIKE + 1):
        # Step `at` leads out of line, step `at + width` leads back; the line has the steps beside.
        at = edges[edges + width + 1 < steps.size]
        after = steps[at + width + 1]
        before = np.where(at > 0, steps[np.maximum(at - 1, 0)], after)
        slope = (before + after) / 2.0
        out, back = steps[at] - slope, steps[at + width] - slope
        height = np.minimum(np.abs(out), np.abs(back))
        offset = np.abs(value[at + width + 1] - value[at] - slope * (width + 1))
        is_spike = (
            (out * back < 0.0)
            & (height > least_k)
            & (height > _SPIKE_OF_STEPS * np.abs(before - after))
            & (2.0 * offset < height)
        )
        for place in at[is_spike].tolist():
            span = (place + 1, place + width)
            if not any(span[0] <= last and span[1] >= first for first, last in spans):
                spans.append(span)
    return sorted(spans)


def _find_end_spikes(sizes: FloatArray, least_k: float, count: int) -> list[Span]:
    spans: list[Span] = []
    for reading, beside in ((0, sizes[:_CALM]), (count - 1, sizes[: -_CALM - 1 : -1])):
        limit_k = max(_DROP_K, least_k, _END_SPIKE_OF_STEPS * float(beside[1:].max()))
        if beside[0] > limit_k:
            spans.append((reading, reading))
    return spans


def _blame_restless(readings: Readings, span: Span) -> ChannelFault:
    first, last = span
    inside = readings.value_c[first + 1 : last + 1]
    line = np.interp(
        readings.time_s[first + 1 : last + 1],
        readings.time_s[[first, min(last + 1, readings.value_c.size - 1)]],
        readings.value_c[[first, min(last + 1, readings.value_c.size - 1)]],
    )
    return readings.blame(
        FaultKind.LOOSE_JUNCTION,
        (first, last),
        LEFT_OUT,
        Figure("largest drop below the line across", float((line - inside).max()), Unit.KELVIN),
        Figure("largest step", float(np.abs(readings.steps_k[first:last]).max()), Unit.KELVIN),
        Figure("usual noise", readings.noise_k, Unit.KELVIN),
    )


def _blame_drop(readings: Readings, span: Span, air_c: float | None) -> ChannelFault:
    first, last = span
    before_c = float(readings.value_c[first - 1])
    level_c = float(np.median(readings.value_c[first : min(last, first + _CALM) + 1]))
    figures = (
        Figure("before", before_c, Unit.CELSIUS),
        Figure("after", level_c, Unit.CELSIUS),
        Figure("drop", before_c - level_c, Unit.KELVIN),
    )
    is_at_air = air_c is not None and abs(level_c - air_c) <= max(
        _AT_AIR_K, _AT_AIR_OF_EXCESS * (before_c - air_c)
    )
    kind = FaultKind.SHORT_CIRCUIT if is_at_air else FaultKind.LOOSE_JUNCTION
    return readings.blame(kind, span, LEFT_OUT, *figures)


def _blame_spike(readings: Readings, span: Span) -> ChannelFault:
    first, last = span
    value = readings.value_c
    inside = value[first : last + 1]
    beside = [value[place] for place in (first - 1, last + 1) if 0 <= place < value.size]
    level_c = float(np.mean(beside))
    height_k = float(inside[np.argmax(np.abs(inside - level_c))] - level_c)
    is_highest = bool(inside.max() == value.max())
    return readings.blame(
        FaultKind.SPIKE,
        span,
        caution(*(EVERY_METRIC if is_highest else (*ABOVE, *RAMPS, "soak_time"))),
        Figure("height", height_k, Unit.KELVIN),
        Figure("readings", float(last - first + 1)),
    )
