"""Millivolts of a thermocouple to °C and back, by the ITS-90 functions."""

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.numerics.errors import MalformedArrays, NumericsError
from app.numerics.thermocouple_tables import FUNCTIONS, InversePiece, ThermocoupleType
from app.numerics.trace import FloatArray

_GRID_STEP_K = 1.0
_CLOSE_ENOUGH_K = 1e-9
# From a bracket of 1 K Newton's rule needs three or four steps; the rest is for -270 °C.
_MOST_STEPS = 20


class OutsideThermocoupleRange(NumericsError):
    """A temperature or an emf for which the type's function is not defined."""


def compute_emf_mv(temperature_c: ArrayLike, kind: ThermocoupleType) -> FloatArray:
    """Emf (mV) at temperatures in °C with the cold junction at 0 °C; NaN stays NaN.

    ITS-90 reference functions (NIST Monograph 175): K, T and N from -270 °C, J from -210 °C, to
    1372, 400, 1300 and 1200 °C. Raises OutsideThermocoupleRange.
    """
    temperature = np.asarray(temperature_c, dtype=np.float64)
    functions = FUNCTIONS[kind]
    _check_within(temperature, functions.from_c, functions.to_c, kind=kind, unit="°C")
    return _evaluate(temperature, kind)


def compute_seebeck_mv_per_k(temperature_c: ArrayLike, kind: ThermocoupleType) -> FloatArray:
    """Slope (mV/K) of the reference function at temperatures in °C; NaN stays NaN.

    What one millivolt of error is worth in K is its reciprocal. Raises OutsideThermocoupleRange.
    """
    temperature = np.asarray(temperature_c, dtype=np.float64)
    functions = FUNCTIONS[kind]
    _check_within(temperature, functions.from_c, functions.to_c, kind=kind, unit="°C")
    return _evaluate_slope(temperature, kind)


def compute_temperature_c(
    emf_mv: ArrayLike, kind: ThermocoupleType, *, cold_junction_c: ArrayLike = 0.0
) -> FloatArray:
    """Temperature (°C) of a measured emf (mV) whose cold junction is at `cold_junction_c` (°C).

    The junction's own emf is added before anything is inverted: adding its temperature to the
    result would be wrong by up to some kelvin. The inverse is exact: the root of the reference
    function, to better than 1e-6 K above -200 °C. One cold junction for all, or one for each;
    NaN in either gives NaN. Raises OutsideThermocoupleRange when a sum or a junction is outside
    the reference function, MalformedArrays when emfs and junctions do not go together.
    """
    total = _add_cold_junction(emf_mv, cold_junction_c, kind)
    grid_c, grid_mv = _tabulate(kind)
    _check_within(total, float(grid_mv[0]), float(grid_mv[-1]), kind=kind, unit="mV")
    place = np.clip(np.searchsorted(grid_mv, total, side="right") - 1, 0, grid_c.size - 2)
    low, high = grid_c[place], grid_c[place + 1]
    temperature: FloatArray = np.asarray(np.interp(total, grid_mv, grid_c))
    for _ in range(_MOST_STEPS):
        step = (_evaluate(temperature, kind) - total) / _evaluate_slope(temperature, kind)
        improved = np.clip(temperature - step, low, high)
        furthest = np.nanmax(np.abs(improved - temperature), initial=0.0)
        temperature = improved
        if furthest <= _CLOSE_ENOUGH_K:
            break
    return temperature


def approximate_temperature_c(
    emf_mv: ArrayLike, kind: ThermocoupleType, *, cold_junction_c: ArrayLike = 0.0
) -> FloatArray:
    """Temperature (°C) by the published inverse polynomials, as many loggers compute it.

    Within the printed error band of its piece (`list_inverse_pieces`), from -200 °C (J: -210 °C)
    up. Cold junction and refusals as in compute_temperature_c.
    """
    total = _add_cold_junction(emf_mv, cold_junction_c, kind)
    pieces = FUNCTIONS[kind].inverse
    _check_within(total, pieces[0].from_mv, pieces[-1].to_mv, kind=kind, unit="mV")
    temperature = np.full(total.shape, np.nan)
    for piece in reversed(pieces):
        is_here = total <= piece.to_mv
        temperature[is_here] = _horner(total[is_here], piece.coefficients)
    return temperature


def list_inverse_pieces(kind: ThermocoupleType) -> tuple[InversePiece, ...]:
    """Return the inverse polynomials' pieces with their published ranges and error bands."""
    return FUNCTIONS[kind].inverse


def is_readable_emf(
    emf_mv: ArrayLike, kind: ThermocoupleType, *, cold_junction_c: ArrayLike = 0.0
) -> NDArray[np.bool_]:
    """Whether each emf (mV) and its cold junction (°C) lie where compute_temperature_c answers.

    For a column in which an open circuit left values of no meaning; NaN is not readable.
    """
    functions = FUNCTIONS[kind]
    junction = np.asarray(cold_junction_c, dtype=np.float64)
    is_junction_known = (junction >= functions.from_c) & (junction <= functions.to_c)
    junction_mv = _evaluate(np.where(is_junction_known, junction, np.nan), kind)
    total = np.asarray(emf_mv, dtype=np.float64) + junction_mv
    _, grid_mv = _tabulate(kind)
    readable: NDArray[np.bool_] = (total >= grid_mv[0]) & (total <= grid_mv[-1])
    return readable


def _add_cold_junction(
    emf_mv: ArrayLike, cold_junction_c: ArrayLike, kind: ThermocoupleType
) -> FloatArray:
    emf = np.asarray(emf_mv, dtype=np.float64)
    junction = compute_emf_mv(cold_junction_c, kind)
    if junction.ndim and junction.shape != emf.shape:
        raise MalformedArrays(
            f"{junction.size} cold-junction temperatures do not fit {emf.size} emfs, one each."
        )
    total: FloatArray = np.asarray(emf + junction)
    return total


@cache
def _tabulate(kind: ThermocoupleType) -> tuple[FloatArray, FloatArray]:
    functions = FUNCTIONS[kind]
    count = round((functions.to_c - functions.from_c) / _GRID_STEP_K) + 1
    grid_c = np.linspace(functions.from_c, functions.to_c, count)
    return grid_c, _evaluate(grid_c, kind)


def _evaluate(temperature: FloatArray, kind: ThermocoupleType) -> FloatArray:
    functions = FUNCTIONS[kind]
    emf: FloatArray = np.full(temperature.shape, np.nan)
    for piece in reversed(functions.reference):
        is_here = temperature <= piece.to_c
        emf[is_here] = _horner(temperature[is_here], piece.coefficients)
    if functions.exponential:
        size, sharpness, middle_c = functions.exponential
        is_above = temperature > 0.0
        emf[is_above] += size * np.exp(sharpness * (temperature[is_above] - middle_c) ** 2)
    return emf


def _evaluate_slope(temperature: FloatArray, kind: ThermocoupleType) -> FloatArray:
    functions = FUNCTIONS[kind]
    slope: FloatArray = np.full(temperature.shape, np.nan)
    for piece in reversed(functions.reference):
        is_here = temperature <= piece.to_c
        derived = tuple(power * c for power, c in enumerate(piece.coefficients))[1:]
        slope[is_here] = _horner(temperature[is_here], derived)
    if functions.exponential:
        size, sharpness, middle_c = functions.exponential
        is_above = temperature > 0.0
        off = temperature[is_above] - middle_c
        slope[is_above] += 2.0 * sharpness * off * size * np.exp(sharpness * off**2)
    return slope


def _horner(at: FloatArray, coefficients: tuple[float, ...]) -> FloatArray:
    total = np.full(at.shape, coefficients[-1])
    for coefficient in coefficients[-2::-1]:
        total *= at
        total += coefficient
    return total


def _check_within(
    values: FloatArray, low: float, high: float, *, kind: ThermocoupleType, unit: str
) -> None:
    # Written so that NaN, a missing reading, passes and infinity does not.
    is_outside = (values < low) | (values > high)
    if bool(is_outside.any()):
        place = int(np.argmax(is_outside))
        raise OutsideThermocoupleRange(
            f"Type {kind} is defined from {low:g} to {high:g} {unit}; "
            f"value {place} is {values.flat[place]:g} {unit}."
        )
