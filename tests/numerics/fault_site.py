"""A site that is heated, and what is asked of the faults found in it."""

import numpy as np
from numpy.typing import ArrayLike

from app.numerics.faults import ChannelFault, find_faults
from app.numerics.trace import FloatArray

SOAK_PROFILE = (
    [0.0, 100.0, 190.0, 230.0, 250.0, 340.0],
    [25.0, 150.0, 180.0, 240.0, 240.0, 60.0],
)
TIME_S = np.arange(0.0, 340.0, 0.5)
JOINTS = {"joint": "joint", "body": "body", "board": "board"}


def make_noisy(values: FloatArray, seed: int = 0) -> FloatArray:
    noise = np.random.default_rng(seed).normal(0.0, 0.15, values.size)
    return np.asarray(np.round(values + noise, 1), dtype=np.float64)


def make_site() -> dict[str, FloatArray]:
    body = np.interp(TIME_S, *SOAK_PROFILE)
    joint = np.interp(TIME_S - 3.0, *SOAK_PROFILE)
    board = 25.0 + 0.6 * (np.interp(TIME_S - 12.0, *SOAK_PROFILE) - 25.0)
    return {
        "joint": make_noisy(joint, 1),
        "body": make_noisy(body, 2),
        "board": make_noisy(board, 3),
    }


def find_all(channels: dict[str, FloatArray], time_s: ArrayLike = TIME_S) -> list[ChannelFault]:
    return list(find_faults(time_s, channels, roles=JOINTS))


def find_one(channels: dict[str, FloatArray], time_s: ArrayLike = TIME_S) -> ChannelFault:
    (fault,) = find_all(channels, time_s)
    return fault


def get_figure(fault: ChannelFault, name: str) -> float:
    return next(figure.value for figure in fault.evidence.figures if figure.name == name)


def get_samples(fault: ChannelFault) -> tuple[int, int]:
    return fault.evidence.first_sample, fault.evidence.last_sample


def make_round_site() -> dict[str, FloatArray]:
    """Return a quiet site whose channels all have round tops, 240 °C to 254 °C."""
    rise = 1.0 / (1.0 + np.exp(-(TIME_S - 150.0) / 45.0))
    fall = 1.0 / (1.0 + np.exp(-(TIME_S - 275.0) / 14.0))
    shape = rise * (1.0 - fall)
    tops_c = {"body": 254.0, "joint": 247.0, "board": 240.0}
    return {
        name: np.round(24.0 + (top_c - 24.0) * shape / shape.max(), 1)
        for name, top_c in tops_c.items()
    }
