"""How far a single reading of a measuring chain may be off at the temperatures of a joint."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from app.numerics.thermocouple_limits import OutsideTolerance
from app.numerics.uncertainty import Source
from app.numerics.uncertainty.budget import expand
from app.numerics.values import Unit
from app.plant.measuring import MeasuringChain, make_measurement

# Preheat, soak and the peak of a lead-free joint.
SHOWN_C: Final = (100.0, 200.0, 250.0)
FORMULA: Final = "U = 2·√((a wire/√3)² + (a logger/√3)² + (U calibration/2)²)"
SOURCE: Final = "JCGM 100 (GUM): bounds ± a as rectangular, 4.3.7; added in squares, 5.1.2; k = 2"


@dataclass(frozen=True, slots=True)
class ReadingUncertainty:
    """U (K, k = 2) of a reading at a temperature in °C, and the source with the largest part.

    `expanded_k` is None where the wire's class gives no tolerance; `largest` is None where
    nothing adds to U.
    """

    temperature_c: float
    expanded_k: float | None
    largest: Source | None


def compute_reading_uncertainty(
    chain: MeasuringChain, channel: str, *, temperatures_c: Sequence[float] = SHOWN_C
) -> tuple[ReadingUncertainty, ...]:
    """Compute U (k = 2) of one reading of a channel by the FORMULA, after JCGM 100.

    Wire, logger and calibration alone: the last digit and the noise come with each recording, the
    clock acts on times. `temperatures_c` in °C. Exact to rounding.
    """
    measurement = make_measurement(chain, channel=channel, resolution_k=0.0)
    answers = []
    for temperature_c in temperatures_c:
        try:
            budget = expand(measurement.compute_common(temperature_c), Unit.KELVIN)
        except OutsideTolerance:
            answers.append(ReadingUncertainty(temperature_c, None, Source.THERMOCOUPLE))
            continue
        parts = budget.contributions
        largest = parts[0].source if parts else None
        answers.append(ReadingUncertainty(temperature_c, budget.expanded, largest))
    return tuple(answers)
