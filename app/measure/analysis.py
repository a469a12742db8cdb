"""How long the analysis of one long trace takes."""

import numpy as np

from app.measure.figure import Bound, Figure
from app.measure.rounds import time_in_turns
from app.measure.synthetic import LIQUIDUS_C, make_trace
from app.numerics.metrics import analyse_channel, analyse_site

CHANNELS = 5
SAMPLES = 9_000
TARGET_MS = 5.0
ROUNDS = 15
REPEATS = 5


def measure_analysis() -> list[Figure]:
    """Measure every metric of 5 channels of 9,000 samples, and of the site they show together."""
    trace = make_trace(channels=CHANNELS, samples=SAMPLES)
    time_s = trace.time_s
    channels_c = {f"channel {place}": values for place, values in enumerate(trace.channels_c)}

    def analyse() -> None:
        for values in channels_c.values():
            analyse_channel(
                time_s,
                values,
                liquidus_c=LIQUIDUS_C,
                soak_min_c=150.0,
                soak_max_c=200.0,
                classification_c=245.0,
            )
        analyse_site(time_s, channels_c, joints=("channel 0", "channel 1"), liquidus_c=LIQUIDUS_C)

    def pass_once() -> None:
        for values in channels_c.values():
            np.diff(values)
            np.diff(time_s)
            np.count_nonzero(values > LIQUIDUS_C)

    times = time_in_turns({"analysis": analyse, "bare": pass_once}, rounds=ROUNDS, repeats=REPEATS)
    what = f"{CHANNELS} channels of {SAMPLES:,} samples"
    return [
        Figure("analysis", what, times["analysis"] * 1e3, "ms", Bound.AT_MOST, TARGET_MS),
        Figure(
            "analysis",
            "against one difference and one comparison of the same data",
            times["analysis"] / times["bare"],
            "times as long",
        ),
    ]
