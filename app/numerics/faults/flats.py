"""Readings that stand still: a stuck logger, and a range that ends too low."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from app.numerics.column_codec import IntArray
from app.numerics.faults.shapes import (
    CLIPPED,
    LEFT_OUT,
    NOISE_OF_THIRD_DIFFERENCE,
    ChannelFault,
    FaultKind,
    Figure,
    Readings,
    bend,
    caution,
    find_middle,
)
from app.numerics.trace import FloatArray
from app.numerics.values import Unit

# Our own rules, no source. Equal readings are no fault in themselves: a quiet sensor in a hold
# reads the same for minutes. They are one where the channel's own noise, the channels beside it
# or the reading after them say that they cannot be true.
_FEWEST_EQUAL: Final = 8
_LEAST_S: Final = 3.0
# Chance, over the whole trace, that noise alone makes so long a run.
_CHANCE: Final = 1e-6
_LEAST_NOISE_K: Final = 0.02
_LEAST_NOISE_OF_STEP: Final = 0.7
_LEAST_ALTERNATION: Final = 0.6
_SMALLEST_STEP_K: Final = 1e-6
_CATCHING_UP_K: Final = 5.0
_CATCHING_UP_OF_NOISE: Final = 15.0
_CATCHING_UP_OF_STEPS: Final = 6.0
_NEAR_BY: Final = 4
_LEFT_BEHIND_S: Final = 10.0
_LEFT_BEHIND_K: Final = 25.0
_BREAK_K_PER_S: Final = 0.4
_BREAK_S: Final = 5.0
_HALF: Final = 0.5
_LOOKED_AT: Final = 8_000
_MOST_FINDINGS: Final = 12


@dataclass(frozen=True, slots=True)
class _Run:
    """Equal readings `first` to `last`, both included, and why they cannot be true."""

    first: int
    last: int
    beats_noise: bool
    is_left_behind: bool
    catches_up_k: float


def find_flats(readings: Readings, others: Sequence[Readings]) -> list[ChannelFault]:
    """Find readings that stand still although the temperature cannot have.

    Equal readings count where the channel is too noisy to repeat itself so often, where the next
    reading catches up with a jump, or where the channel stops in the middle of a slope, without
    turning, and the others (median) go on by 25 K. A run at the channel's own highest or lowest
    value, left without a jump, is saturation; every other is a flat line.
    """
    ends = _find_long_runs(readings.steps_k)
    if not ends.size:
        return []
    fewest = _count_improbable(readings, ends)
    found: list[ChannelFault] = []
    clipped: list[_Run] = []
    for first, last in _keep_doubtful(readings, ends, fewest).tolist():
        run = _read_run(readings, others, (first, last), fewest)
        if not (run.beats_noise or run.is_left_behind or run.catches_up_k > 0.0):
            continue
        if _is_at_an_end_of_range(readings, run):
            clipped.append(run)
        else:
            found.append(_blame_flat(readings, run))
    if len(found) > _MOST_FINDINGS:
        found = [_sum_up(readings, found)]
    if clipped:
        found.append(_blame_clipped(readings, clipped))
    return found


def _keep_doubtful(readings: Readings, ends: IntArray, fewest: tuple[int, int] | None) -> IntArray:
    """Keep the runs for which one of the three reasons can hold at all."""
    first, last = ends[:, 0], ends[:, 1]
    lasting_s = readings.time_s[last] - readings.time_s[first]
    steps = readings.steps_k.size
    jumps_k = np.abs(readings.steps_k[np.minimum(last, steps - 1)]) * (last < steps)
    is_doubtful = (lasting_s >= _LEFT_BEHIND_S) | (
        (lasting_s >= _LEAST_S) & (jumps_k > _CATCHING_UP_K)
    )
    if fewest is not None:
        is_doubtful |= last - first + 1 >= min(fewest)
    doubtful: IntArray = ends[is_doubtful]
    return doubtful


def _find_long_runs(steps_k: FloatArray) -> IntArray:
    """Find first and last reading of each run of 8 equal readings or more."""
    edges = np.concatenate(([-1], np.flatnonzero(steps_k != 0.0), [steps_k.size]))
    counts = np.diff(edges)
    long = np.flatnonzero(counts >= _FEWEST_EQUAL)
    return np.stack((edges[long] + 1, edges[long + 1]), axis=1)


def _count_improbable(readings: Readings, ends: IntArray) -> tuple[int, int] | None:
    """Count from how many equal readings on noise cannot be the reason; None if it is too low.

    Anywhere in the trace, and at its one highest value. Two readings of noise σ and digit q are
    equal with probability q/(2σ√π), or less on a slope.
    """
    is_in_run = np.zeros(readings.value_c.size, dtype=np.bool_)
    for first, last in ends.tolist():
        is_in_run[first + 1 : last + 1] = True
    free = readings.steps_k[~is_in_run[1:]]
    if free.size < _FEWEST_EQUAL:
        return None
    bends, next_bends = bend(free, at_most=_LOOKED_AT)
    noise_k = find_middle(np.abs(bends)) / NOISE_OF_THIRD_DIFFERENCE
    moved = np.abs(free[:: 1 + free.size // _LOOKED_AT])
    moved = moved[moved > _SMALLEST_STEP_K]
    digit_k = float(moved.min()) if moved.size else math.inf
    if noise_k < max(_LEAST_NOISE_K, _LEAST_NOISE_OF_STEP * digit_k):
        return None
    # Third differences of noise change sign three times in four; of a curve, hardly ever.
    alternation = float(np.mean(bends * next_bends < 0.0))
    if alternation < _LEAST_ALTERNATION:
        return None
    chance = min(digit_k / (2.0 * noise_k * math.sqrt(math.pi)), _HALF)
    per_reading = math.log(chance)
    anywhere = 1 + math.ceil(math.log(_CHANCE / readings.value_c.size) / per_reading)
    at_top = 1 + math.ceil(math.log(_CHANCE) / per_reading)
    return max(_FEWEST_EQUAL, anywhere), max(_FEWEST_EQUAL, at_top)


def _read_run(
    readings: Readings,
    others: Sequence[Readings],
    ends: tuple[int, int],
    fewest: tuple[int, int] | None,
) -> _Run:
    first, last = ends
    count = last - first + 1
    at_top = float(readings.value_c[first]) == readings.highest_c
    lasting_s = float(readings.time_s[last] - readings.time_s[first])
    return _Run(
        first,
        last,
        beats_noise=fewest is not None and count >= fewest[at_top],
        is_left_behind=lasting_s >= _LEFT_BEHIND_S
        and not _is_turning(readings, first, last)
        and _stops_in_a_slope(readings, first)
        and _measure_others_k(readings, others, first, last) >= _LEFT_BEHIND_K,
        catches_up_k=_measure_catching_up_k(readings, last) if lasting_s >= _LEAST_S else 0.0,
    )


def _is_turning(readings: Readings, first: int, last: int) -> bool:
    """Whether the trace turns here: coarse digits make a long run of every broad top."""
    if first == 0 or last >= readings.steps_k.size:
        return False
    return bool(readings.steps_k[first - 1] * readings.steps_k[last] < 0.0)


def _stops_in_a_slope(readings: Readings, first: int) -> bool:
    since = int(np.searchsorted(readings.time_s, readings.time_s[first] - _BREAK_S))
    if since >= first:
        return False
    rise_k = readings.value_c[first] - readings.value_c[since]
    lasting_s = readings.time_s[first] - readings.time_s[since]
    return bool(abs(rise_k) >= _BREAK_K_PER_S * lasting_s)


def _measure_others_k(
    readings: Readings, others: Sequence[Readings], first: int, last: int
) -> float:
    moved = []
    for other in others:
        low, high = np.searchsorted(
            other.time_s, (readings.time_s[first], readings.time_s[last]), side="left"
        )
        if high > low:
            moved.append(float(np.ptp(other.value_c[low:high])))
    return find_middle(np.array(moved)) if moved else 0.0


def _measure_catching_up_k(readings: Readings, last: int) -> float:
    """Measure the jump after the run, 0 when it is one of the trace's usual steps."""
    if last >= readings.steps_k.size:
        return 0.0
    jump_k = abs(float(readings.steps_k[last]))
    after = readings.steps_k[last + 1 : last + 1 + _NEAR_BY]
    usual_k = float(np.abs(after).max()) if after.size else 0.0
    least_k = max(
        _CATCHING_UP_K,
        _CATCHING_UP_OF_NOISE * readings.noise_k,
        _CATCHING_UP_OF_STEPS * usual_k,
    )
    return jump_k if jump_k > least_k else 0.0


def _is_at_an_end_of_range(readings: Readings, run: _Run) -> bool:
    """Whether a run looks clipped: the highest or lowest value, entered and left smoothly."""
    value = float(readings.value_c[run.first])
    if run.first == 0 or run.last == readings.value_c.size - 1 or run.catches_up_k > 0.0:
        return False
    return value in {readings.highest_c, readings.lowest_c}


def _blame_flat(readings: Readings, run: _Run) -> ChannelFault:
    jump = [Figure("jump after it", run.catches_up_k, Unit.KELVIN)] if run.catches_up_k else []
    return readings.blame(
        FaultKind.FLAT_LINE,
        (run.first, run.last),
        LEFT_OUT,
        Figure("reading", float(readings.value_c[run.first]), Unit.CELSIUS),
        Figure("equal readings", float(run.last - run.first + 1)),
        *jump,
    )


def _blame_clipped(readings: Readings, runs: Sequence[_Run]) -> ChannelFault:
    value = float(readings.value_c[runs[0].first])
    return readings.blame(
        FaultKind.SATURATION,
        (runs[0].first, runs[-1].last),
        caution(*CLIPPED),
        Figure("reading", value, Unit.CELSIUS),
        Figure("equal readings", float(sum(run.last - run.first + 1 for run in runs))),
    )


def _sum_up(readings: Readings, faults: Sequence[ChannelFault]) -> ChannelFault:
    """Return one flat line from the first to the last of many."""
    samples = [fault.evidence.first_sample for fault in faults]
    samples += [fault.evidence.last_sample for fault in faults]
    first, last = np.searchsorted(readings.sample, (min(samples), max(samples))).tolist()
    return readings.blame(
        FaultKind.FLAT_LINE, (first, last), LEFT_OUT, Figure("stretches", float(len(faults)))
    )
