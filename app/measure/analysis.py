"""How long the analysis of a whole recording takes, and how much memory a long one."""

import tracemalloc
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from app.measure.figure import Bound, Figure
from app.measure.rounds import time_in_turns
from app.measure.synthetic import LIQUIDUS_C, ZONES, make_trace
from app.numerics.faults import FaultRole
from app.numerics.recording import RecordingAnalysis, Targets, analyse_recording
from app.numerics.site import LiftRule
from app.numerics.thermocouple_limits import ThermocoupleType, ToleranceClass, get_tolerance
from app.numerics.trace import FloatArray
from app.numerics.uncertainty import CalibrationCorrection, MeasurementUncertainty
from app.numerics.zones import ZonePlan

CHANNELS: Final = 5
SAMPLES: Final = 9_000
TARGET_MS: Final = 10.0
TARGET_TIMES: Final = 25.0
LONG_CHANNELS: Final = 16
LONG_SAMPLES: Final = 360_000
LONG_TARGET_S: Final = 1.0
LONG_TARGET_TIMES: Final = 4.0
ROUNDS: Final = 15
REPEATS: Final = 5
_LONG_ROUNDS: Final = 3
# So many that they last about as long as one analysis, and meet as many interruptions.
_PASSES: Final = 100
_LONG_PASSES: Final = 10

# Made-up channels follow the gas the later, the higher their number: the body must be the first.
_ROLES: Final = (FaultRole.BODY, FaultRole.JOINT, FaultRole.JOINT, FaultRole.BOARD)
_CHAIN: Final = MeasurementUncertainty(
    thermocouple=get_tolerance(ThermocoupleType.K, ToleranceClass.IEC_2),
    logger_accuracy_k=1.0,
    resolution_k=0.1,
    calibration=CalibrationCorrection(0.3, 0.4),
    timebase_relative=1e-4,
    timebase_jitter_s=0.01,
)
_ENDS_S: Final = np.cumsum([length_s for length_s, _ in ZONES]).tolist()
_TARGETS: Final = Targets(
    liquidus_c=LIQUIDUS_C,
    soak_min_c=150.0,
    soak_max_c=200.0,
    classification_c=245.0,
    times_above_c=(183.0, LIQUIDUS_C, 230.0),
    ceilings_c={"channel 0": (245.0,), "channel 3": (200.0,), "channel 4": (200.0,)},
    zones=tuple(
        ZonePlan(f"zone {place}", float(end_s), zone_c)
        for place, (end_s, (_, zone_c)) in enumerate(zip(_ENDS_S[:-1], ZONES[:-1], strict=True))
    ),
    lift_rule=LiftRule(("channel 1", "channel 2"), LIQUIDUS_C, 5.0),
    lifted_at_s=float(_ENDS_S[-2]),
)


@dataclass(frozen=True)
class Work:
    """A made-up recording, and the two things that are done with it."""

    time_s: FloatArray
    channels_c: Mapping[str, FloatArray]

    @property
    def size_bytes(self) -> int:
        """How large its arrays are together, moments and channels."""
        return self.time_s.nbytes + sum(values.nbytes for values in self.channels_c.values())

    def analyse(self) -> RecordingAnalysis:
        """Do everything: faults, metrics, ceilings, zones, the lift, and uncertainty."""
        return analyse_recording(
            self.time_s,
            self.channels_c,
            roles=dict(zip(self.channels_c, _ROLES, strict=False)),
            targets=_TARGETS,
            chains=dict.fromkeys(self.channels_c, _CHAIN),
        )

    def pass_over(self, count: int) -> None:
        """Take one difference of the data and compare it once, so many times."""
        for _ in range(count):
            for values in self.channels_c.values():
                np.diff(values)
                np.diff(self.time_s)
                np.count_nonzero(values > LIQUIDUS_C)


def measure_analysis(
    *, rounds: int = ROUNDS, repeats: int = REPEATS, long_samples: int = LONG_SAMPLES
) -> list[Figure]:
    """Measure a usual recording against one pass over it, and a long one in time and memory.

    Usual: 5 channels of 9,000 samples; long: 16 channels of `long_samples`. All that is ever
    asked of a recording is in it.
    """
    return [
        *_measure_usual(rounds, repeats),
        *_measure_long(min(rounds, _LONG_ROUNDS), long_samples),
    ]


def _measure_usual(rounds: int, repeats: int) -> list[Figure]:
    work = make_work(channels=CHANNELS, samples=SAMPLES)
    times = _time(work, passes=_PASSES, rounds=rounds, repeats=repeats)
    what = f"{CHANNELS} channels of {SAMPLES:,} samples"
    return [
        Figure("analysis", what, times["analysis"] * 1e3, "ms", Bound.AT_MOST, TARGET_MS),
        Figure(
            "analysis",
            "against one difference and one comparison of the same data",
            times["analysis"] / times["bare"],
            "times as long",
            Bound.AT_MOST,
            TARGET_TIMES,
        ),
    ]


def _measure_long(rounds: int, samples: int) -> list[Figure]:
    work = make_work(channels=LONG_CHANNELS, samples=samples)
    times = _time(work, passes=_LONG_PASSES, rounds=rounds, repeats=1)
    peak_bytes = _measure_peak_bytes(work.analyse)
    what = f"{LONG_CHANNELS} channels of {samples:,} samples"
    return [
        Figure("analysis", what, times["analysis"], "s", Bound.AT_MOST, LONG_TARGET_S),
        Figure(
            "analysis",
            "against one difference and one comparison of the same data",
            times["analysis"] / times["bare"],
            "times as long",
        ),
        Figure(
            "analysis",
            f"most memory beside the data itself, {what}",
            peak_bytes / work.size_bytes,
            "times the data",
            Bound.AT_MOST,
            LONG_TARGET_TIMES,
        ),
    ]


def make_work(*, channels: int, samples: int) -> Work:
    """Make a recording of so many channels and samples; the same each time."""
    trace = make_trace(channels=channels, samples=samples)
    names = (f"channel {place}" for place in range(channels))
    return Work(trace.time_s, dict(zip(names, trace.channels_c, strict=True)))


def _time(work: Work, *, passes: int, rounds: int, repeats: int) -> dict[str, float]:
    """Time (s) one analysis and one bare pass."""
    times = time_in_turns(
        {"analysis": work.analyse, "bare": lambda: work.pass_over(passes)},
        rounds=rounds,
        repeats=repeats,
    )
    return {"analysis": times["analysis"], "bare": times["bare"] / passes}


def _measure_peak_bytes(do: Callable[[], object]) -> int:
    tracemalloc.start()
    try:
        before, _ = tracemalloc.get_traced_memory()
        do()
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    return most - before
