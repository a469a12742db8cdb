"""The temperatures that are looked up when limits are moved by what all readings share."""

from collections.abc import Iterable

from app.numerics.metrics import NEAR_CLASSIFICATION_K, ROOM_C
from app.numerics.thermocouple_limits import OutsideTolerance
from app.numerics.uncertainty.budget import COVERAGE_FACTOR, Parts, total
from app.numerics.uncertainty.inputs import MeasurementUncertainty


def list_shifts(common: Parts) -> tuple[float, float]:
    """List by how much (K) limits are moved to see what a common error does."""
    shift_k = COVERAGE_FACTOR * total(common.values())
    return -shift_k, shift_k


def list_weighed_c(
    measurement: MeasurementUncertainty,
    *,
    liquidus_c: float,
    soak_min_c: float,
    soak_max_c: float,
    classification_c: float | None = None,
    more_c: Iterable[float] = (),
) -> list[float]:
    """List the temperatures (°C) at which weigh_channel will ask when the trace is above them.

    `more_c` are those for which weigh_time_above will be asked.
    """
    asked: list[tuple[float, ...]] = [(liquidus_c,), (ROOM_C,), (soak_max_c, soak_min_c)]
    asked += [(one,) for one in more_c]
    if classification_c is not None:
        asked.append((classification_c - NEAR_CLASSIFICATION_K,))
    return [moved_c for together in asked for moved_c in _move(measurement, together)]


def list_weighed_areas_c(
    measurement: MeasurementUncertainty, *, liquidus_c: float, peak_c: float
) -> list[float]:
    """List the temperatures (°C) above which weigh_channel will ask for the area."""
    try:
        shifts_k = list_shifts(measurement.compute_common(max(liquidus_c, peak_c)))
    except OutsideTolerance:
        return []
    return [liquidus_c + shift_k for shift_k in shifts_k]


def _move(measurement: MeasurementUncertainty, thresholds_c: tuple[float, ...]) -> list[float]:
    """Move temperatures by twice what all readings share near the first of them."""
    try:
        shifts_k = list_shifts(measurement.compute_common(thresholds_c[0]))
    except OutsideTolerance:
        return []
    return [one + shift_k for one in thresholds_c for shift_k in shifts_k]
