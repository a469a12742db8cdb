"""A site for the tests of whole recordings: two joints, the body above them, and the board.

The profile is that of the metric tests: 25 °C, 150 °C at 100 s, 180 °C at 190 s, 240 °C from 230 s
to 250 s, 60 °C at 340 s. The body leads the joints, as gas meets it first.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from app.numerics.faults import FaultRole
from app.numerics.recording import RecordingAnalysis, Targets, analyse_recording
from app.numerics.site import LiftRule
from app.numerics.thermocouple_limits import ThermocoupleType, ToleranceClass, get_tolerance
from app.numerics.trace import FloatArray
from app.numerics.uncertainty import MeasurementUncertainty
from app.numerics.zones import ZonePlan

PROFILE: Final = (
    [0.0, 100.0, 190.0, 230.0, 250.0, 340.0],
    [25.0, 150.0, 180.0, 240.0, 240.0, 60.0],
)
TIME_S: Final = np.arange(0.0, 340.0, 0.5)
ROLES: Final[Mapping[str, FaultRole]] = {
    "centre": FaultRole.JOINT,
    "corner": FaultRole.JOINT,
    "body": FaultRole.BODY,
    "board": FaultRole.BOARD,
}
RULE: Final = LiftRule(channels=("centre", "corner"), above_c=217.0, for_s=10.0)
TARGETS: Final = Targets(
    liquidus_c=217.0,
    soak_min_c=150.0,
    soak_max_c=180.0,
    classification_c=240.0,
    times_above_c=(100.0, 217.0),
    ceilings_c={"body": (245.0, 230.0), "board": (200.0,)},
    zones=(ZonePlan("soak", 190.0, 185.0), ZonePlan("reflow", 250.0, 245.0)),
    lift_rule=RULE,
    lifted_at_s=245.0,
)
WIRE: Final = get_tolerance(ThermocoupleType.K, ToleranceClass.IEC_1)
CHAIN: Final = MeasurementUncertainty(thermocouple=WIRE, logger_accuracy_k=1.0, resolution_k=0.1)
CHAINS: Final = dict.fromkeys(ROLES, CHAIN)


def make_site() -> dict[str, FloatArray]:
    """Return °C of the four channels at TIME_S, with noise of 0.15 K and digits of 0.1 K."""
    body = np.interp(TIME_S, *PROFILE)
    centre = np.interp(TIME_S - 3.0, *PROFILE)
    corner = np.interp(TIME_S - 2.0, *PROFILE) - 4.0
    board = 25.0 + 0.6 * (np.interp(TIME_S - 12.0, *PROFILE) - 25.0)
    return {
        "centre": add_noise(centre, 1),
        "corner": add_noise(corner, 4),
        "body": add_noise(body, 2),
        "board": add_noise(board, 3),
    }


def add_noise(values: FloatArray, seed: int) -> FloatArray:
    """Return the readings as a logger writes them."""
    noise = np.random.default_rng(seed).normal(0.0, 0.15, values.size)
    return np.asarray(np.round(values + noise, 1), dtype=np.float64)


def analyse(
    channels: Mapping[str, ArrayLike],
    *,
    time_s: ArrayLike = TIME_S,
    targets: Targets = TARGETS,
    chains: Mapping[str, MeasurementUncertainty] | None = None,
    excluded: Mapping[str, str] | None = None,
) -> RecordingAnalysis:
    """Analyse channels of the site."""
    return analyse_recording(
        time_s, channels, roles=ROLES, targets=targets, chains=chains, excluded=excluded
    )
