"""Runs made for measuring fault finding: two masses of random size, sound or with one fault."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from app.numerics.column_codec import IntArray
from app.numerics.faults import FaultKind
from app.numerics.trace import FloatArray

ROLES: Final[Mapping[str, str]] = {
    "centre": "joint",
    "corner": "joint",
    "body": "body",
    "board": "board",
    "adjacent": "adjacent",
}
NOISE_K: Final = 0.15
DECIMALS: Final = 1
RATES_HZ: Final = (1, 2, 4, 5, 10)
# What a converter for type K answers when its wire is open.
BURN_OUT_C: Final = 1372.0

_KEPT: Final = 0.8
_HALF_THE_TIME: Final = 0.5
_SELDOM: Final = 0.3
_MOSTLY: Final = 0.7
_FEWEST_LEFT: Final = 40

_GAS, _PART, _BOARD, _CENTRE, _CORNER, _BODY, _ADJACENT = range(7)
_SHOWN: Final = {
    "centre": _CENTRE,
    "corner": _CORNER,
    "body": _BODY,
    "board": _BOARD,
    "adjacent": _ADJACENT,
}


@dataclass(frozen=True)
class Recording:
    """Moments in s and °C of each channel, with the air's °C; as a logger writes them.

    `quiet_c` are the same channels as a logger without noise writes them.
    """

    time_s: FloatArray
    channels_c: Mapping[str, FloatArray]
    air_c: float
    quiet_c: Mapping[str, FloatArray]

    def put(self, name: str, values: FloatArray) -> "Recording":
        """Return the recording with one channel replaced."""
        return replace(self, channels_c={**self.channels_c, name: values})

    def without_noise(self) -> "Recording":
        """Return the recording as a logger without noise writes it."""
        return replace(self, channels_c=self.quiet_c)


@dataclass(frozen=True)
class Injected:
    """A recording with one fault, and where: samples `spans`, both ends included.

    `partner` is the other channel at fault, where there are two.
    """

    recording: Recording
    kind: FaultKind
    channel: str | None
    spans: tuple[tuple[int, int], ...]
    partner: str | None = None


def make_recording(dice: np.random.Generator, *, is_warm: bool = False) -> Recording:
    """Make a sound run of random parts, zones, rate and air, with noise and digits of a logger.

    From no real bench; the joints peak between 225 °C and 260 °C, the body leads the joints. A
    warm one begins while all still cools from another heating, as a second attempt does.
    """
    rate_hz = int(dice.choice(RATES_HZ))
    lengths_s = dice.uniform((60, 60, 25, 30, 70), (110, 110, 60, 60, 140))
    gas_k = dice.uniform((130, 170, 230, 270, 0), (160, 210, 270, 330, 5))
    rates = _make_rates(dice)
    before_s = 0.0
    if is_warm:
        earlier_s = dice.uniform((40, 30), (150, 150))
        lengths_s = np.concatenate((earlier_s, lengths_s))
        gas_k = np.concatenate((dice.uniform((120, 0), (230, 5)), gas_k))
        before_s = float(earlier_s.sum())
    time_s = np.arange(int(lengths_s.sum() * rate_hz)) / rate_hz
    excess_k = _respond(rates, time_s, lengths_s=lengths_s, gas_k=gas_k)
    begin = int(np.searchsorted(time_s, before_s))
    time_s, excess_k = time_s[begin:] - time_s[begin], excess_k[begin:]
    peak_k = max(float(excess_k[:, _CENTRE].max()), float(excess_k[:, _CORNER].max()))
    air_c = float(dice.uniform(18.0, 28.0))
    scale = (float(dice.uniform(225.0, 260.0)) - air_c) / peak_k
    kept = [name for name in _SHOWN if name not in {"board", "adjacent"} or dice.random() < _KEPT]
    true_c = {name: air_c + scale * excess_k[:, _SHOWN[name]] for name in kept}
    return Recording(
        time_s,
        {name: _log(dice, values) for name, values in true_c.items()},
        air_c,
        {name: np.round(values, DECIMALS) for name, values in true_c.items()},
    )


def cut_recording(dice: np.random.Generator, recording: Recording) -> Recording:
    """Return a part of a recording: begun late, ended early or both, 40 samples at least."""
    count = recording.time_s.size
    first = int(dice.uniform(0.0, 0.7) * count) if dice.random() < _MOSTLY else 0
    last = int(dice.uniform(0.3, 1.0) * count) if not first or dice.random() < _SELDOM else count
    part = slice(min(first, count - _FEWEST_LEFT), max(last, first + _FEWEST_LEFT))
    channels = {name: values[part] for name, values in recording.channels_c.items()}
    return replace(recording, time_s=recording.time_s[part], channels_c=channels)


def inject(dice: np.random.Generator, recording: Recording, kind: FaultKind) -> Injected:
    """Return the recording with one fault of a kind, its place and size at random."""
    return _INJECTIONS[kind](dice, recording)


def _log(dice: np.random.Generator, values: FloatArray) -> FloatArray:
    noisy = values + dice.normal(0.0, NOISE_K, values.size)
    return np.asarray(np.round(noisy, DECIMALS), dtype=np.float64)


def _make_rates(dice: np.random.Generator) -> FloatArray:
    """Make the matrix (1/s) of gas, part, board and the sensors that follow them."""
    rates = np.zeros((7, 7))
    rates[_GAS, _GAS] = -1.0 / dice.uniform(5.0, 14.0)
    rates[_PART, _GAS] = 1.0 / dice.uniform(18.0, 40.0)
    rates[_PART, _BOARD] = 1.0 / dice.uniform(60.0, 150.0)
    rates[_PART, _PART] = -rates[_PART, _GAS] - rates[_PART, _BOARD]
    rates[_BOARD, _PART] = 1.0 / dice.uniform(150.0, 400.0)
    rates[_BOARD, _GAS] = 1.0 / dice.uniform(120.0, 300.0)
    rates[_BOARD, _BOARD] = -1.0 / dice.uniform(70.0, 110.0)
    _follow(rates, _CENTRE, {_PART: 1.0}, lag_s=dice.uniform(2.5, 5.0))
    _follow(rates, _CORNER, {_PART: 1.0}, lag_s=dice.uniform(2.2, 3.5))
    share = dice.uniform(0.02, 0.06)
    _follow(rates, _BODY, {_PART: 1.0 - share, _GAS: share}, lag_s=dice.uniform(0.4, 1.2))
    share = dice.uniform(0.1, 0.6)
    _follow(rates, _ADJACENT, {_PART: share, _BOARD: 1.0 - share}, lag_s=dice.uniform(5, 15))
    return rates


def _follow(rates: FloatArray, state: int, leaders: Mapping[int, float], *, lag_s: float) -> None:
    rates[state, state] = -1.0 / lag_s
    for leader, share in leaders.items():
        rates[state, leader] = share / lag_s


def _respond(
    rates: FloatArray, time_s: FloatArray, *, lengths_s: FloatArray, gas_k: FloatArray
) -> FloatArray:
    """Return the excess (K) of all states over the air, from rest; exact within each zone."""
    values, vectors = np.linalg.eig(rates)
    inverse = np.linalg.inv(vectors)
    state, begin_s = np.zeros(len(rates)), 0.0
    parts: list[FloatArray] = []
    for length_s, zone_k in zip(lengths_s, gas_k, strict=True):
        drive = np.zeros(len(rates))
        drive[_GAS] = rates[_GAS, _GAS] * zone_k
        rest = np.linalg.solve(rates, drive)
        within = time_s[(time_s >= begin_s) & (time_s < begin_s + length_s)] - begin_s
        at = np.append(within, length_s)
        decay = np.exp(np.outer(at, values)) * (inverse @ (state - rest))
        excess = np.real(rest + decay @ vectors.T)
        parts.append(excess[:-1])
        state, begin_s = excess[-1], begin_s + length_s
    return np.concatenate(parts)[: time_s.size]


def _pick(dice: np.random.Generator, recording: Recording) -> str:
    return str(dice.choice(list(recording.channels_c)))


def _count(recording: Recording, length_s: float, *, at_least: int) -> int:
    """Count the samples that last so long."""
    return max(at_least, int(length_s / (recording.time_s[1] - recording.time_s[0])))


def _find_hot(recording: Recording, name: str, *, above_k: float, last_share: float) -> IntArray:
    """Find the samples of a channel so far above the air, in the first share of the recording."""
    values = recording.channels_c[name]
    hot = np.flatnonzero(values > recording.air_c + above_k)
    return hot[hot < last_share * values.size]


def _open(dice: np.random.Generator, recording: Recording) -> Injected:
    name = _pick(dice, recording)
    values = recording.channels_c[name].copy()
    first = int(dice.integers(0, values.size // 2))
    count = _count(recording, float(dice.uniform(8.0, 60.0)), at_least=12)
    last = values.size - 1 if dice.random() < _HALF_THE_TIME else first + count
    last = min(last, values.size - 1)
    values[first : last + 1] = BURN_OUT_C if dice.random() < _SELDOM else np.nan
    return Injected(recording.put(name, values), FaultKind.OPEN_CIRCUIT, name, ((first, last),))


def _short(dice: np.random.Generator, recording: Recording) -> Injected:
    name = _pick(dice, recording)
    values = recording.channels_c[name].copy()
    drift_k = np.linspace(0.0, float(dice.uniform(0.0, 2.0)), values.size)
    cold = _log(dice, recording.air_c + drift_k)
    hot = _find_hot(recording, name, above_k=50.0, last_share=0.8)
    first = int(dice.choice(hot)) if hot.size and dice.random() < _HALF_THE_TIME else 0
    values[first:] = cold[first:]
    span = (first, values.size - 1)
    return Injected(recording.put(name, values), FaultKind.SHORT_CIRCUIT, name, (span,))


def _spike(dice: np.random.Generator, recording: Recording) -> Injected:
    name = _pick(dice, recording)
    values = recording.channels_c[name].copy()
    places = np.linspace(0.1, 0.9, 4)[: int(dice.integers(1, 4))] + dice.uniform(-0.05, 0.05)
    spans: list[tuple[int, int]] = []
    for place in (places * values.size).astype(int).tolist():
        width = int(dice.integers(1, 4))
        height_k = float(dice.uniform(12.0, 80.0)) * float(dice.choice((-1.0, 1.0)))
        values[place : place + width] = np.round(values[place : place + width] + height_k, 1)
        spans.append((place, place + width - 1))
    return Injected(recording.put(name, values), FaultKind.SPIKE, name, tuple(spans))


def _flat(dice: np.random.Generator, recording: Recording) -> Injected:
    name = _pick(dice, recording)
    values = recording.channels_c[name].copy()
    first = int(dice.integers(values.size // 10, int(values.size * 0.7)))
    count = _count(recording, float(dice.uniform(20.0, 80.0)), at_least=20)
    last = values.size - 1 if dice.random() < _HALF_THE_TIME else first + count
    last = min(last, values.size - 1)
    held_c = values[first]
    values[first : last + 1] = held_c
    if held_c in {values.max(), values.min()}:
        # Caught on the way up and let go at the same height, it would be a clipped top.
        last = values.size - 1
        values[first:] = held_c
    return Injected(recording.put(name, values), FaultKind.FLAT_LINE, name, ((first, last),))


def _reversed(dice: np.random.Generator, recording: Recording) -> Injected:
    name = _pick(dice, recording)
    values = np.round(2.0 * recording.air_c - recording.channels_c[name], DECIMALS)
    span = (0, values.size - 1)
    return Injected(recording.put(name, values), FaultKind.REVERSED_POLARITY, name, (span,))


def _swapped(dice: np.random.Generator, recording: Recording) -> Injected:
    channels = recording.channels_c
    others = [name for name in ("centre", "corner", "board") if name in channels]
    other = str(dice.choice(others))
    swapped = recording.put("body", channels[other]).put(other, channels["body"])
    span = (0, recording.time_s.size - 1)
    return Injected(swapped, FaultKind.SWAPPED, "body", (span,), partner=other)


def _loose(dice: np.random.Generator, recording: Recording) -> Injected:
    name = _pick(dice, recording)
    values = recording.channels_c[name].copy()
    above_k = min(40.0, 0.5 * (float(values.max()) - recording.air_c))
    first = int(dice.choice(_find_hot(recording, name, above_k=above_k, last_share=0.85)))
    count = _count(recording, float(dice.uniform(6.0, 40.0)), at_least=20)
    last = min(first + count, values.size - 1)
    inside = slice(first, last + 1)
    size = last + 1 - first
    excess_k = values[inside] - recording.air_c
    share = float(dice.uniform(0.3, 0.8))
    if dice.random() < _HALF_THE_TIME:
        # Contact comes and goes; at least once early on, or there is no fault to find.
        is_off = np.repeat(dice.random(size) < _HALF_THE_TIME, int(dice.integers(1, 4)))[:size]
        is_off[:4] = (True, False, True, False)
        values[inside] -= share * excess_k * is_off
    else:
        values[inside] -= share * excess_k
    noise_k = dice.normal(0.0, float(dice.uniform(2.5, 8.0)), size)
    values[inside] = np.round(values[inside] + noise_k, DECIMALS)
    return Injected(recording.put(name, values), FaultKind.LOOSE_JUNCTION, name, ((first, last),))


def _backwards(dice: np.random.Generator, recording: Recording) -> Injected:
    time_s = recording.time_s.copy()
    first = int(dice.integers(time_s.size // 10, time_s.size))
    time_s[first:] -= float(dice.choice((2.5, 17.0, 60.0, 3600.0)))
    turned = replace(recording, time_s=time_s)
    return Injected(turned, FaultKind.TIME_BACKWARDS, None, ((first - 1, first),))


def _doubled(dice: np.random.Generator, recording: Recording) -> Injected:
    time_s = recording.time_s.copy()
    first = int(dice.integers(1, time_s.size - 5))
    last = first + int(dice.integers(0, 4))
    time_s[first : last + 1] = time_s[first - 1]
    doubled = replace(recording, time_s=time_s)
    return Injected(doubled, FaultKind.TIME_DOUBLED, None, ((first - 1, last),))


def _gap(dice: np.random.Generator, recording: Recording) -> Injected:
    count = _count(recording, float(dice.uniform(3.0, 40.0)), at_least=6)
    first = int(dice.integers(5, recording.time_s.size - count - 5))
    kept = np.r_[0:first, first + count : recording.time_s.size]
    channels = {name: values[kept] for name, values in recording.channels_c.items()}
    cut = replace(recording, time_s=recording.time_s[kept], channels_c=channels)
    return Injected(cut, FaultKind.GAP, None, ((first - 1, first),))


def _saturated(dice: np.random.Generator, recording: Recording) -> Injected:
    name = str(dice.choice(("centre", "corner", "body")))
    is_quiet = dice.random() < _HALF_THE_TIME
    values = (recording.quiet_c if is_quiet else recording.channels_c)[name]
    fewest = _count(recording, 12.0, at_least=12)
    # The lowest limit that is a fault for long enough, or one further below.
    limit_c = float(np.sort(values)[-fewest]) - float(dice.uniform(0.5, 30.0))
    limit_c = round(limit_c, DECIMALS)
    clipped = np.flatnonzero(values >= limit_c)
    span = (int(clipped[0]), int(clipped[-1]))
    low = np.minimum(values, limit_c)
    return Injected(recording.put(name, low), FaultKind.SATURATION, name, (span,))


_INJECTIONS: Final[Mapping[FaultKind, Callable[[np.random.Generator, Recording], Injected]]] = {
    FaultKind.OPEN_CIRCUIT: _open,
    FaultKind.SHORT_CIRCUIT: _short,
    FaultKind.SPIKE: _spike,
    FaultKind.FLAT_LINE: _flat,
    FaultKind.REVERSED_POLARITY: _reversed,
    FaultKind.SWAPPED: _swapped,
    FaultKind.LOOSE_JUNCTION: _loose,
    FaultKind.TIME_BACKWARDS: _backwards,
    FaultKind.TIME_DOUBLED: _doubled,
    FaultKind.GAP: _gap,
    FaultKind.SATURATION: _saturated,
}
