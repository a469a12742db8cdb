"""Traces made for measuring: two masses heated by gas, with the noise and digits of a logger."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from app.numerics.column_codec import IntArray
from app.numerics.sample_codec import ScaledColumn
from app.numerics.trace import FloatArray

LIQUIDUS_C: Final = 217.0
# Zones of a usual run, (s, °C of the gas): preheat, soak, ramp, reflow, cooling.
ZONES: Final = ((90, 170.0), (80, 220.0), (40, 290.0), (45, 330.0), (105, 25.0))
RUN_S: Final = sum(length_s for length_s, _ in ZONES)
# A package answers the gas, and the joint the package; from no real part, only of that order.
PACKAGE_S: Final = 30.0
JOINT_S: Final = 12.0
NOISE_K: Final = 0.15
DECIMALS: Final = 1
TICK_DECIMALS: Final = 3


@dataclass(frozen=True)
class SyntheticTrace:
    """Moments in s and one row of °C a channel, in tenths as loggers write them."""

    time_s: FloatArray
    channels_c: tuple[FloatArray, ...]

    def as_columns(self) -> tuple[ScaledColumn, ...]:
        """Return the channels as the codec takes them."""
        return tuple(make_column(values, decimals=DECIMALS) for values in self.channels_c)


def make_trace(*, channels: int, samples: int, seed: int = 20260304) -> SyntheticTrace:
    """Make one run of `samples` rows at an even rate; the same seed makes the same trace."""
    rng = np.random.default_rng(seed)
    step_s = RUN_S / samples
    ends_s = np.cumsum([length_s for length_s, _ in ZONES])
    time_s = np.arange(samples, dtype=np.float64) * step_s
    gas_c = np.array([zone_c for _, zone_c in ZONES])[np.searchsorted(ends_s, time_s, "right")]
    found: list[FloatArray] = []
    for place in range(channels):
        package_c = _follow(gas_c, step_s / (PACKAGE_S * (1 + 0.04 * place)))
        joint_c = _follow(package_c, step_s / JOINT_S)
        noisy = joint_c + rng.normal(0.0, NOISE_K, samples)
        found.append(np.asarray(np.round(noisy, DECIMALS), dtype=np.float64))
    return SyntheticTrace(time_s, tuple(found))


def make_column(values: FloatArray, *, decimals: int) -> ScaledColumn:
    """Return readings as whole numbers of their last digit; NaN is no reading."""
    missing = np.isnan(values)
    scaled = np.rint(np.where(missing, 0.0, values) * 10.0**decimals).astype(np.int64)
    return ScaledColumn(scaled, decimals, missing)


def _follow(driver_c: FloatArray, share: float) -> FloatArray:
    """Let a mass take on a share of its distance to the driver at each step."""
    followed = np.empty_like(driver_c)
    now_c = 25.0
    for place, target_c in enumerate(driver_c):
        now_c += (target_c - now_c) * share
        followed[place] = now_c
    return followed


def spell_ticks(time_s: FloatArray) -> tuple[IntArray, int]:
    """Return moments as whole numbers of their last digit, a thousandth of a second."""
    return np.rint(time_s * 10.0**TICK_DECIMALS).astype(np.int64), TICK_DECIMALS
