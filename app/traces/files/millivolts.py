"""Temperatures computed from the millivolts of thermocouples and their cold junction."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.core.refusals import Unacceptable
from app.numerics.thermocouple_tables import ThermocoupleType
from app.numerics.thermocouples import (
    compute_seebeck_mv_per_k,
    compute_temperature_c,
    is_readable_emf,
)
from app.traces.files.decoding import FIELD
from app.traces.files.markers import FindingKind
from app.traces.files.reading import Finding, TemperatureColumn
from app.traces.rules import TemperatureUnit

# A thousandth of a microvolt is worth less in any type.
DECIMALS: Final = 4
_FIXED_DECIMALS: Final = 6


class EmfOutsideRange(Unacceptable):
    """An emf with its cold junction lies where the type's function is not defined."""

    code = "traces.emf_outside_range"


def make_fixed_junction(temperature_c: float, *, count: int) -> TemperatureColumn:
    """Return a cold junction that stood at one temperature (°C) for all samples."""
    value = round(temperature_c * 10**_FIXED_DECIMALS)
    return TemperatureColumn(
        index=-1,
        header="",
        unit=TemperatureUnit.CELSIUS,
        decimals=_FIXED_DECIMALS,
        values=np.full(count, value, dtype=np.int64),
        missing=np.zeros(count, dtype=np.bool_),
    )


def compute_temperatures(
    emf: TemperatureColumn,
    junction: TemperatureColumn,
    *,
    kind: ThermocoupleType,
    rows: NDArray[np.int64],
) -> tuple[TemperatureColumn, list[Finding]]:
    """Return the column in °C with four decimals, by the ITS-90 function of the type.

    `emf` holds mV as written, `junction` the cold junction in its own unit, `rows` the file's row
    of each sample. A sample without a cold junction is missing and listed. Raises EmfOutsideRange
    with the row of the first emf that the type cannot give.
    """
    emf_mv = emf.values / 10.0**emf.decimals
    emf_mv[emf.missing] = np.nan
    junction_c = junction.temperature_c()
    is_known = ~emf.missing & ~junction.missing
    outside = np.flatnonzero(is_known & ~is_readable_emf(emf_mv, kind, cold_junction_c=junction_c))
    if outside.size:
        place = int(outside[0])
        raise EmfOutsideRange(
            f"Row {rows[place]}, column {emf.index + 1} “{emf.header}”: {emf.spell(place)} mV with "
            f"a cold junction of {junction_c[place]:.1f} °C is beyond what a thermocouple of type "
            f"{kind} gives. Another type or unit was meant, or the sensor was open: leave the "
            "column out then.",
            field=FIELD,
        )
    temperature_c = compute_temperature_c(
        np.where(is_known, emf_mv, np.nan), kind, cold_junction_c=np.where(is_known, junction_c, 0)
    )
    values = np.where(is_known, np.rint(temperature_c * 10**DECIMALS), 0).astype(np.int64)
    missing = ~is_known
    values.setflags(write=False)
    missing.setflags(write=False)
    column = TemperatureColumn(
        emf.index,
        emf.header,
        TemperatureUnit.CELSIUS,
        DECIMALS,
        values,
        missing,
        computed_step_k=_find_step_k(temperature_c[is_known], emf, junction, kind),
    )
    return column, _find_without_junction(emf, junction, rows)


def _find_step_k(
    temperature_c: NDArray[np.float64],
    emf: TemperatureColumn,
    junction: TemperatureColumn,
    kind: ThermocoupleType,
) -> float:
    """Return what the last digits of emf and junction are worth together, where most, in K."""
    if not temperature_c.size:
        return 0.0
    ends = np.array([temperature_c.min(), temperature_c.max()])
    least_mv_per_k = float(compute_seebeck_mv_per_k(ends, kind).min())
    is_fixed = junction.index < 0
    return 10.0**-emf.decimals / least_mv_per_k + (0.0 if is_fixed else junction.resolution_k)


def _find_without_junction(
    emf: TemperatureColumn, junction: TemperatureColumn, rows: NDArray[np.int64]
) -> list[Finding]:
    lost = rows[junction.missing & ~emf.missing]
    if not lost.size:
        return []
    first, last = int(lost[0]), int(lost[-1])
    sentence = (
        f"Column {emf.index + 1} “{emf.header}”: {lost.size} × millivolts without a cold junction "
        f"(rows {first} to {last})."
    )
    return [Finding(emf.index, FindingKind.NO_COLD_JUNCTION, first, last, int(lost.size), sentence)]
