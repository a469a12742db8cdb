"""Heating and cooling of a body that has one temperature: time constant, Biot check, times."""

import math
from dataclasses import dataclass

import numpy as np

from app.numerics.errors import NumericsError
from app.numerics.values import Measured, NotReached, Unit

STEFAN_BOLTZMANN_W_PER_M2_K4 = 5.670374419e-8
ABSOLUTE_ZERO_C = -273.15
# Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, chapter 5: below it the error of one
# temperature for the whole body is small.
LARGEST_BIOT = 0.1

_HOTTEST_C = 3000.0
_LARGEST = 1e9
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)
_STEPS_PER_TIME_CONSTANT = 100
# After so many time constants what is left is below the last digit of a double.
_LONGEST_TIME_CONSTANTS = 40.0


class UnusableBody(NumericsError):
    """A property of a body or of what surrounds it that is no number in its range."""


@dataclass(frozen=True, slots=True)
class Body:
    """A body: density (kg/m³), specific heat (J/(kg·K)), conductivity (W/(m·K)), all above 0.

    `length_m` is its volume over the area that exchanges heat: D/6 for a sphere, half the
    thickness for a plate heated on both faces, the thickness for one heated on one.
    """

    density_kg_per_m3: float
    specific_heat_j_per_kg_k: float
    conductivity_w_per_m_k: float
    length_m: float

    def __post_init__(self) -> None:
        _check_above_zero(
            density_kg_per_m3=self.density_kg_per_m3,
            specific_heat_j_per_kg_k=self.specific_heat_j_per_kg_k,
            conductivity_w_per_m_k=self.conductivity_w_per_m_k,
            length_m=self.length_m,
        )

    @property
    def heat_j_per_m2_k(self) -> float:
        """Heat the body takes per kelvin and per area: ρ·c·V/A."""
        return self.density_kg_per_m3 * self.specific_heat_j_per_kg_k * self.length_m


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Gas at `gas_c` with film coefficient `film_w_per_m2_k` (above 0), and perhaps walls.

    Walls at `walls_c` exchange radiation with all of the body's area at `emissivity`, 0 to 1; the
    walls are large, so that theirs does not matter. None means the gas temperature.
    """

    gas_c: float
    film_w_per_m2_k: float
    walls_c: float | None = None
    emissivity: float = 0.0

    def __post_init__(self) -> None:
        _check_above_zero(film_w_per_m2_k=self.film_w_per_m2_k)
        _check_temperature(gas_c=self.gas_c, walls_c=self.far_c)
        if not 0.0 <= self.emissivity <= 1.0:
            raise UnusableBody(f"emissivity must be 0 to 1, not {self.emissivity:g}.")

    @property
    def far_c(self) -> float:
        """Temperature (°C) of the walls."""
        return self.gas_c if self.walls_c is None else self.walls_c


@dataclass(frozen=True, slots=True)
class LumpedSum:
    """Time constant ρ·c·(V/A)/(h + h_rad) in s, and whether one temperature may stand for all.

    `biot` is (h + h_rad)·(V/A)/k. The radiation's share h_rad = ε·σ·(T + T_w)·(T² + T_w²), in
    kelvin, holds at the body temperature it was asked for.
    """

    time_constant_s: float
    biot: float
    radiation_w_per_m2_k: float

    @property
    def holds(self) -> bool:
        """Whether the Biot number is at most 0.1."""
        return self.biot <= LARGEST_BIOT

    @property
    def sentence(self) -> str:
        """What the Biot number says, for a person."""
        if self.holds:
            return f"The Biot number {self.biot:.2g} is at most {LARGEST_BIOT:g}: the sum holds."
        return (
            f"The sum does not hold: the Biot number {self.biot:.2g} is above {LARGEST_BIOT:g}, "
            "the inside lags behind the surface."
        )


def compute_lumped(body: Body, around: Surroundings, *, body_c: float) -> LumpedSum:
    """Time constant (s) and Biot number at a body temperature (°C); radiation linearised there.

    With radiation, ask for the hottest temperature of the heating: there h is largest.
    Incropera & DeWitt, chapter 5. Raises UnusableBody.
    """
    _check_temperature(body_c=body_c)
    radiation = _radiation_at(around, body_c)
    film = around.film_w_per_m2_k + radiation
    return LumpedSum(
        time_constant_s=body.heat_j_per_m2_k / film,
        biot=film * body.length_m / body.conductivity_w_per_m_k,
        radiation_w_per_m2_k=radiation,
    )


def compute_steady_c(around: Surroundings) -> float:
    """Temperature (°C) at which gas and walls take from the body what they give it."""
    low, high = sorted((around.gas_c, around.far_c))
    for _ in range(200):
        middle = (low + high) / 2.0
        if middle in {low, high}:
            break
        if _flux(around, middle) > 0.0:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def compute_time_to(
    body: Body, around: Surroundings, *, from_c: float, to_c: float
) -> Measured | NotReached:
    """Time (s) in which the body goes from one temperature to another (°C).

    Exact for convection alone, τ·ln((T0 − T∞)/(T − T∞)); with radiation the integral of dT over
    the net flux, by Gauss and Legendre. Not reached when the steady temperature does not lie
    beyond `to_c`. Raises UnusableBody.
    """
    _check_temperature(from_c=from_c, to_c=to_c)
    steady_c = compute_steady_c(around)
    start, target = from_c - steady_c, to_c - steady_c
    if from_c == to_c:
        return Measured(0.0, Unit.SECOND)
    # Approached from one side and never crossed.
    if not 0.0 < target / start < 1.0 if start else True:
        return NotReached(
            f"From {from_c:g} °C the body tends to {steady_c:.1f} °C and does not come to "
            f"{to_c:g} °C."
        )
    # In u = ln|T − T_steady| the integrand is smooth up to the steady temperature.
    low, high = math.log(abs(target)), math.log(abs(start))
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    total = 0.0
    for node, weight in zip(_NODES.tolist(), _WEIGHTS.tolist(), strict=True):
        off = math.copysign(math.exp(middle + half * node), start)
        total += weight * -off / _flux(around, steady_c + off)
    return Measured(body.heat_j_per_m2_k * half * total, Unit.SECOND)


def compute_temperature_after(
    body: Body, around: Surroundings, *, from_c: float, time_s: float
) -> float:
    """Temperature (°C) of the body after `time_s` (s, 0 or more) from `from_c` (°C).

    Exact without radiation; with it by Runge and Kutta's rule of fourth order in hundredths of
    the time constant. Raises UnusableBody.
    """
    _check_temperature(from_c=from_c)
    if not 0.0 <= time_s <= _LARGEST:
        raise UnusableBody(f"time_s must be 0 to {_LARGEST:g} s, not {time_s:g}.")
    if around.emissivity == 0.0:
        lump = compute_lumped(body, around, body_c=from_c)
        return around.gas_c + (from_c - around.gas_c) * math.exp(-time_s / lump.time_constant_s)
    hottest_c = max(from_c, around.gas_c, around.far_c)
    quickest_s = compute_lumped(body, around, body_c=hottest_c).time_constant_s
    slowest_s = body.heat_j_per_m2_k / around.film_w_per_m2_k
    if time_s > _LONGEST_TIME_CONSTANTS * slowest_s:
        return compute_steady_c(around)
    count = max(1, math.ceil(time_s / quickest_s * _STEPS_PER_TIME_CONSTANT))
    step, at_c = time_s / count / body.heat_j_per_m2_k, from_c
    for _ in range(count):
        first = _flux(around, at_c)
        second = _flux(around, at_c + step / 2.0 * first)
        third = _flux(around, at_c + step / 2.0 * second)
        fourth = _flux(around, at_c + step * third)
        at_c += step / 6.0 * (first + 2.0 * second + 2.0 * third + fourth)
    return at_c


def _flux(around: Surroundings, body_c: float) -> float:
    convection = around.film_w_per_m2_k * (around.gas_c - body_c)
    return convection + _radiation_at(around, body_c) * (around.far_c - body_c)


def _radiation_at(around: Surroundings, body_c: float) -> float:
    body_k, walls_k = body_c - ABSOLUTE_ZERO_C, around.far_c - ABSOLUTE_ZERO_C
    fourth_power = (body_k + walls_k) * (body_k**2 + walls_k**2)
    return around.emissivity * STEFAN_BOLTZMANN_W_PER_M2_K4 * fourth_power


def _check_above_zero(**values: float) -> None:
    for name, value in values.items():
        if not 1.0 / _LARGEST <= value <= _LARGEST:
            raise UnusableBody(f"{name} must be above 0 and at most {_LARGEST:g}, not {value:g}.")


def _check_temperature(**values: float) -> None:
    for name, value in values.items():
        if not ABSOLUTE_ZERO_C < value <= _HOTTEST_C:
            raise UnusableBody(
                f"{name} must be above {ABSOLUTE_ZERO_C:g} and at most {_HOTTEST_C:g} °C, "
                f"not {value:g}."
            )
