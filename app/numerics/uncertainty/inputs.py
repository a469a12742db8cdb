"""What is known about a measuring chain, as standard uncertainties."""

import math
from dataclasses import dataclass, fields
from typing import Final

from app.numerics.errors import NumericsError
from app.numerics.thermocouple_limits import Tolerance
from app.numerics.uncertainty.budget import COVERAGE_FACTOR, Source

# A bound ± a within which every value is as likely: standard uncertainty a/√3 (JCGM 100, 4.3.7).
RECTANGULAR: Final = 1.0 / math.sqrt(3.0)


class UnusableUncertainty(NumericsError):
    """An input that is no finite number from 0 up."""


@dataclass(frozen=True, slots=True)
class CalibrationCorrection:
    """A correction added to every reading (K), and its own expanded uncertainty (K, k = 2).

    The correction is in the readings already and adds nothing; its uncertainty is common to all
    of them. Where the calibration covers wire or logger, leave their tolerance out.
    """

    correction_k: float
    expanded_k: float


@dataclass(frozen=True, slots=True)
class MeasurementUncertainty:
    """One channel's measuring chain; whatever is left out adds nothing.

    Common to all readings of a run: the wire's tolerance (its share of the temperature also as an
    error of gain), `logger_accuracy_k` (a bound ± K, cold junction included) and the calibration.
    Each reading's own: `resolution_k` (the last digit, K) and `noise_k` (a standard deviation,
    K). Time: `timebase_relative` (a bound ± of the clock's rate, 1 = 100 %) and
    `timebase_jitter_s` (a standard deviation of each moment, s). Bounds are rectangular, the
    others normal. Raises UnusableUncertainty.
    """

    thermocouple: Tolerance | None = None
    logger_accuracy_k: float = 0.0
    resolution_k: float = 0.0
    calibration: CalibrationCorrection | None = None
    noise_k: float = 0.0
    timebase_relative: float = 0.0
    timebase_jitter_s: float = 0.0

    def __post_init__(self) -> None:
        sizes = {
            field.name: getattr(self, field.name)
            for field in fields(self)
            if field.name not in {"thermocouple", "calibration"}
        }
        if self.calibration is not None:
            sizes["calibration.expanded_k"] = self.calibration.expanded_k
            if not math.isfinite(self.calibration.correction_k):
                raise UnusableUncertainty("calibration.correction_k must be a finite number.")
        for name, size in sizes.items():
            if not (math.isfinite(size) and size >= 0.0):
                raise UnusableUncertainty(f"{name} must be a number from 0 up, not {size:g}.")

    def compute_common(self, temperature_c: float) -> dict[Source, float]:
        """Compute the standard uncertainties (K) that all readings near a temperature (°C) share.

        Raises OutsideTolerance where the wire's class gives no tolerance.
        """
        wire, correction = self.thermocouple, self.calibration
        return {
            Source.THERMOCOUPLE: 0.0 if wire is None else wire.at(temperature_c) * RECTANGULAR,
            Source.LOGGER: self.logger_accuracy_k * RECTANGULAR,
            Source.CALIBRATION: 0.0
            if correction is None
            else correction.expanded_k / COVERAGE_FACTOR,
        }

    def compute_own(self) -> dict[Source, float]:
        """Compute those (K) of one reading by itself: half a digit each way, and noise."""
        return {
            Source.RESOLUTION: self.resolution_k / 2.0 * RECTANGULAR,
            Source.NOISE: self.noise_k,
        }

    def compute_gain(self) -> float:
        """Compute that of a temperature difference, relative: the wire's share of |t|."""
        return 0.0 if self.thermocouple is None else self.thermocouple.share * RECTANGULAR

    def compute_rate(self) -> float:
        """Compute that of a duration, relative."""
        return self.timebase_relative * RECTANGULAR
