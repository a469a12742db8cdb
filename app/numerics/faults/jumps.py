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
_BURST_K: Final = 50.0
_BURST_SHARE: Final = 0.05
_LONGEST_BURST_S: Final = 10.0
_MOST_FINDINGS: Final = 12
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
    Spike: one to three readings out of line, or a burst of some far above all others. More than
    twelve findings are summed up as one loose junction. `known` are stretches explained by other
    faults; gas itself may leap, so a channel in air is only searched for spikes.
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
    explained = _Explained(readings.value_c.size, known)
    bursts = [span for span in _find_bursts(readings) if explained.is_free(span)]
    explained.add(bursts)
    loose: list[ChannelFault] = []
    if readings.role is not FaultRole.AIR:
        restless = [span for span in _find_restless(readings, large) if explained.is_free(span)]
        loose += [_blame_restless(readings, span) for span in restless]
        explained.add(restless)
        for span in _find_drops(readings, sizes, large):
            if explained.is_free(span):
                loose.append(_blame_drop(readings, span, air_c))
                explained.add([span])
    found = _find_spikes(readings, sizes, noise_k)
    bursts += [span for span in found if explained.is_free(span)]
    spikes = [_blame_spike(readings, span) for span in sorted(bursts)]
    return [*_sum_up(readings, loose), *_sum_up(readings, spikes)]


class _Explained:
    """Which readings other findings explain, and the ones beside them."""

    def __init__(self, count: int, known: Sequence[Span]) -> None:
        self._is_taken = np.zeros(count, dtype=np.bool_)
        self.add(known)

    def add(self, spans: Sequence[Span]) -> None:
        for first, last in spans:
            self._is_taken[max(0, first - 1) : last + 2] = True

    def is_free(self, span: Span) -> bool:
        return not bool(self._is_taken[span[0] : span[1] + 1].any())


def _sum_up(readings: Readings, faults: list[ChannelFault]) -> list[ChannelFault]:
    """Return the faults, or one loose junction across them all where there are too many."""
    if len(faults) <= _MOST_FINDINGS:
        return faults
    samples = [fault.evidence.first_sample for fault in faults]
    samples += [fault.evidence.last_sample for fault in faults]
    first, last = np.searchsorted(readings.sample, (min(samples), max(samples))).tolist()
    return [_blame_restless(readings, (first, last))]


def _find_breaks(readings: Readings) -> NDArray[np.intp]:
    """Find the steps across a pause, or across samples that were left out."""
    apart_s, apart = np.diff(readings.time_s), np.diff(readings.sample)
    return np.flatnonzero(
        (apart_s > _BREAK_OF_USUAL * find_middle(apart_s))
        | (apart > _BREAK_OF_USUAL * find_middle(apart))
    )


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
    sudden = _keep_lonely(sizes, large[sizes[large] >= _DROP_K])
    is_rise = readings.steps_k[sudden] > 0.0
    drops, rises = sudden[~is_rise], sudden[is_rise]
    spans: list[Span] = []
    for at, after in zip(drops.tolist(), np.searchsorted(rises, drops).tolist(), strict=True):
        if not spans or at >= spans[-1][1]:
            spans.append((at + 1, int(rises[after]) if after < rises.size else last))
    return spans


def _keep_lonely(sizes: FloatArray, places: NDArray[np.intp]) -> NDArray[np.intp]:
    """Keep the steps that are six times as large as each of the three to both sides."""
    places = places[(places > 0) & (places < sizes.size - 1)]
    largest = np.zeros(places.size)
    for offset in (*range(-_BESIDE, 0), *range(1, _BESIDE + 1)):
        beside = places + offset
        is_there = (beside >= 0) & (beside < sizes.size)
        np.maximum(largest, sizes[beside * is_there] * is_there, out=largest)
    return places[sizes[places] > _DROP_OF_STEPS * largest]


def _find_spikes(readings: Readings, sizes: FloatArray, noise_k: float) -> list[Span]:
    """Find one to three readings out of line, first the narrow ones; no two of them overlap."""
    least_k = max(_SPIKE_K, _SPIKE_OF_NOISE * noise_k)
    steps, value = readings.steps_k, readings.value_c
    spans = _find_end_spikes(sizes, least_k, value.size)
    is_taken = np.zeros(value.size, dtype=np.bool_)
    for first, last in spans:
        is_taken[first : last + 1] = True
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
            inside = slice(place + 1, place + width + 1)
            if not is_taken[inside].any():
                is_taken[inside] = True
                spans.append((place + 1, place + width))
    return sorted(spans)


def _find_bursts(readings: Readings) -> list[Span]:
    """Find short runs of readings that lie 50 K and more above all other readings.

    No heated part gets there and back between two readings: that is the electrics, whatever the
    readings do in between. Above means six times the largest step among the others, too.
    """
    value = readings.value_c
    most = int(_BURST_SHARE * value.size)
    top = np.sort(value)[-most - 1 :] if most else value[:0]
    apart_k = np.diff(top)
    if not apart_k.size or float(apart_k.max()) < _BURST_K:
        return []
    level_c = float(top[int(np.argmax(apart_k))])
    high = np.flatnonzero(value > level_c)
    rest = np.abs(np.diff(value[value <= level_c]))
    if float(apart_k.max()) < _DROP_OF_STEPS * float(rest.max()):
        return []
    runs = np.split(high, np.flatnonzero(np.diff(high) > 1) + 1)
    spans = [(int(run[0]), int(run[-1])) for run in runs]
    time = readings.time_s
    if any(time[last] - time[first] > _LONGEST_BURST_S for first, last in spans):
        return []
    return spans


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
    is_highest = float(inside.max()) == readings.highest_c
    return readings.blame(
        FaultKind.SPIKE,
        span,
        caution(*(EVERY_METRIC if is_highest else (*ABOVE, *RAMPS, "soak_time"))),
        Figure("height", height_k, Unit.KELVIN),
        Figure("readings", float(last - first + 1)),
    )
