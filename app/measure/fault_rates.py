"""How many faults are found in made-up runs, and how many alarms are false."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from rich.console import Console
from rich.progress import track

from app.measure.figure import Bound, Figure
from app.measure.synthetic_faults import (
    ROLES,
    Injected,
    Recording,
    cut_recording,
    inject,
    make_recording,
)
from app.numerics.faults import ChannelFault, FaultKind, find_faults

COUNT: Final = 10_000
SEED: Final = 20260304
LEAST_FOUND_PCT: Final = 100.0
_PERCENT: Final = 100.0


@dataclass(frozen=True)
class FaultRates:
    """Shares from 0 to 1: of each kind found, of sound runs and of sound channels accused.

    Found means: of that kind, on that channel, where it was put in, every one of them. Cut runs
    are sound ones that begin late or end early, warm ones begin before all has cooled.
    """

    count: int
    found: dict[FaultKind, float]
    false_alarms: float
    cut_accused: float
    warm_accused: float
    sound_channels_accused: float


def measure_fault_rates(
    count: int,
    seed: int,
    *,
    show: Callable[[Iterable[int]], Iterable[int]] = iter,
) -> FaultRates:
    """Look for faults in `count` sound runs, and in each again with one fault, kinds in turn.

    The same for the same seed. `show` may tell somebody about the progress.
    """
    kinds = tuple(FaultKind)
    tried: Counter[FaultKind] = Counter()
    found: Counter[FaultKind] = Counter()
    alarms = cut = warm = accused = 0
    for number in show(range(count)):
        dice = np.random.default_rng((seed, number))
        sound = make_recording(dice)
        alarms += bool(_find(sound)) or bool(_find(sound.without_noise()))
        beside = np.random.default_rng((seed, number, 1))
        cut += bool(_find(cut_recording(beside, sound)))
        heated = make_recording(beside, is_warm=True)
        warm += bool(_find(heated)) or bool(_find(cut_recording(beside, heated)))
        injected = inject(dice, sound, kinds[number % len(kinds)])
        faults = _find(injected.recording)
        tried[injected.kind] += 1
        found[injected.kind] += is_found(injected, faults)
        accused += any(is_false(injected, fault) for fault in faults)
    return FaultRates(
        count=count,
        found={kind: found[kind] / tried[kind] for kind in kinds if tried[kind]},
        false_alarms=alarms / count,
        cut_accused=cut / count,
        warm_accused=warm / count,
        sound_channels_accused=accused / count,
    )


def is_found(injected: Injected, faults: Iterable[ChannelFault]) -> bool:
    """Whether every place of the injected fault is named, by kind, channel and samples."""
    places = [
        (fault.evidence.first_sample, fault.evidence.last_sample)
        for fault in faults
        if fault.kind is injected.kind and fault.channel == injected.channel
    ]
    return all(
        any(first <= end and last >= begin for first, last in places)
        for begin, end in injected.spans
    )


def is_false(injected: Injected, fault: ChannelFault) -> bool:
    """Whether a fault is told of a channel, or of the time axis, that has none."""
    return fault.channel not in {injected.channel, injected.partner or injected.channel}


def measure_faults() -> list[Figure]:
    """Measure both rates over 10,000 made-up runs of five channels at most, 1 Hz to 10 Hz."""
    rates = measure_fault_rates(
        COUNT,
        SEED,
        show=lambda numbers: track(
            list(numbers),
            description=f"{COUNT:,} runs, sound and with a fault",
            console=Console(stderr=True),
            transient=True,
        ),
    )
    at_least, at_most = Bound.AT_LEAST, Bound.AT_MOST
    return [
        *(
            Figure("faults", f"found: {kind}", share * _PERCENT, "%", at_least, LEAST_FOUND_PCT)
            for kind, share in rates.found.items()
        ),
        *(
            Figure("faults", f"{runs} accused", share * _PERCENT, "%", at_most, 0.0)
            for runs, share in (
                ("sound runs, with noise and without", rates.false_alarms),
                ("sound runs begun late or ended early", rates.cut_accused),
                ("sound runs begun warm, whole or cut", rates.warm_accused),
            )
        ),
        Figure(
            "faults",
            "sound channels accused beside a faulty one",
            rates.sound_channels_accused * _PERCENT,
            "% of runs",
            at_most,
            0.0,
        ),
    ]


def _find(recording: Recording) -> tuple[ChannelFault, ...]:
    return find_faults(recording.time_s, recording.channels_c, roles=ROLES)
