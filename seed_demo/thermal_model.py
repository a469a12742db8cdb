"""What the sensors of a site would read during a run: two masses, hot gas, sensors that lag.

An invented model with plausible numbers (common practice, no source), not a measured one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np

from seed_demo.plant import Assembly, Part
from seed_demo.thermal_network import Array, TwoMasses, compute_exponential, step

CHANNELS: Final = ("joint_centre", "joint_corner", "body", "board", "adjacent")

_SOLID_J_PER_K_MM3: Final = 2.0e-3
_NOZZLE_MARGIN_MM: Final = 6.0
_TOP_W_PER_K_MM2: Final = 1.6e-4
_BOTTOM_W_PER_K_MM2: Final = 4.5e-5
_ROOM_W_PER_K_MM2: Final = 1.2e-5
_SPREAD_W_PER_K_MM: Final = 4.5e-4
_HEATED_SHARE: Final = 0.5
_REFERENCE_AIRFLOW_L_PER_MIN: Final = 25.0
_AIRFLOW_POWER: Final = 0.7
_LEAST_AIRFLOW_L_PER_MIN: Final = 2.0
_GAS_LAG_S: Final = 11.0
_CENTRE_LAG_S: Final = 3.0
_CORNER_LAG_S: Final = 1.6
_BODY_LAG_S: Final = 1.2
_BODY_GAS_SHARE: Final = 0.035
_ADJACENT_LAG_S: Final = 9.0
_ADJACENT_SHARE: Final = 0.2
_WARM_ADJACENT_SHARE: Final = 0.7
_COOL_GAS_K: Final = -13.0
_HOT_GAS_K: Final = 18.0
_NOISE_SD_K: Final = 0.15
_RESOLUTION_DECIMALS: Final = 1

_PART, _BOARD, _GAS_TOP, _GAS_BOTTOM, _CENTRE, _CORNER, _BODY, _ADJACENT = range(8)
_STATES: Final = 8
_SHOWN: Final = (_CENTRE, _CORNER, _BODY, _BOARD, _ADJACENT)


class Variant(StrEnum):
    """How a run goes."""

    NORMAL = "normal"
    COOL = "cool"
    HOT = "hot"
    WARM_NEIGHBOUR = "warm_neighbour"
    OPEN_SENSOR = "open_sensor"
    ABORTED = "aborted"


@dataclass(frozen=True)
class GasZone:
    """One zone as the bench runs it; a heater that is None is off and blows room air."""

    time_s: float
    top_c: float | None
    bottom_c: float | None
    airflow_l_per_min: float


@dataclass(frozen=True)
class ThermalSite:
    """One site: heat capacities in J/K; conductances in W/K, the top one at 25 l/min."""

    part_j_per_k: float
    board_j_per_k: float
    between_w_per_k: float
    top_w_per_k: float
    bottom_w_per_k: float
    room_w_per_k: float
    adjacent_share: float = _ADJACENT_SHARE


@dataclass(frozen=True)
class SimulatedTrace:
    """Samples of all channels: times in s from the start, values in °C, NaN where open."""

    times_s: Array
    values_c: Array

    def get_channel(self, name: str) -> Array:
        """Return the samples of one channel; ValueError for a name that is not in CHANNELS."""
        channel: Array = self.values_c[:, CHANNELS.index(name)]
        return channel


def compute_site(part: Part, assembly: Assembly) -> ThermalSite:
    """Compute the lumps of a part on an assembly, from their sizes in mm."""
    under_nozzle_mm2 = (part.length_mm + _NOZZLE_MARGIN_MM) * (part.width_mm + _NOZZLE_MARGIN_MM)
    edge_mm = 2 * (part.length_mm + part.width_mm + 2 * _NOZZLE_MARGIN_MM)
    part_mm3 = part.length_mm * part.width_mm * part.height_mm
    heated_mm2 = assembly.length_mm * assembly.width_mm * _HEATED_SHARE
    return ThermalSite(
        part_j_per_k=_SOLID_J_PER_K_MM3 * (part_mm3 + under_nozzle_mm2 * assembly.thickness_mm),
        board_j_per_k=_SOLID_J_PER_K_MM3 * heated_mm2 * assembly.thickness_mm,
        between_w_per_k=_SPREAD_W_PER_K_MM * edge_mm,
        top_w_per_k=_TOP_W_PER_K_MM2 * under_nozzle_mm2,
        bottom_w_per_k=_BOTTOM_W_PER_K_MM2 * heated_mm2,
        room_w_per_k=_ROOM_W_PER_K_MM2 * heated_mm2,
    )


def compute_two_masses(site: ThermalSite, *, airflow_l_per_min: float) -> TwoMasses:
    """Compute the two masses under gas; the top conductance goes with airflow to the power 0.7."""
    airflow = max(airflow_l_per_min, _LEAST_AIRFLOW_L_PER_MIN)
    top_w_per_k = site.top_w_per_k * (airflow / _REFERENCE_AIRFLOW_L_PER_MIN) ** _AIRFLOW_POWER
    return TwoMasses(
        c1_j_per_k=site.part_j_per_k,
        c2_j_per_k=site.board_j_per_k,
        g12_w_per_k=site.between_w_per_k,
        g1_w_per_k=top_w_per_k,
        g2_w_per_k=site.bottom_w_per_k + site.room_w_per_k,
    )


def compute_temperatures(
    site: ThermalSite,
    zones: Sequence[GasZone],
    *,
    ambient_c: float,
    gas_offset_k: float = 0.0,
    rate_hz: int,
) -> SimulatedTrace:
    """Compute what perfect sensors would read: no noise, no rounding; exact in each zone."""
    state = np.full(_STATES, ambient_c)
    tick_s = 1 / rate_hz
    shown = [state]
    begun_s = 0.0
    for zone in zones:
        rates, drive = _compute_system(site, zone, ambient_c=ambient_c, gas_offset_k=gas_offset_k)
        ended_s = begun_s + zone.time_s
        now_s = begun_s
        rest = np.linalg.solve(rates, -drive)
        whole_tick = compute_exponential(rates * tick_s)
        while (next_s := len(shown) * tick_s) <= ended_s + 1e-9:
            gap_s = next_s - now_s
            if abs(gap_s - tick_s) < 1e-9:
                state = rest + whole_tick @ (state - rest)
            else:
                state = step(state, rates=rates, drive=drive, time_s=gap_s)
            shown.append(state)
            now_s = next_s
        if ended_s - now_s > 1e-9:
            state = step(state, rates=rates, drive=drive, time_s=ended_s - now_s)
        begun_s = ended_s
    times_s = np.arange(len(shown), dtype=np.float64) / rate_hz
    return SimulatedTrace(times_s, np.array(shown)[:, _SHOWN])


def simulate_run(
    site: ThermalSite,
    zones: Sequence[GasZone],
    *,
    variant: Variant = Variant.NORMAL,
    seed: int,
    rate_hz: int,
) -> SimulatedTrace:
    """Simulate what the logger records: one day's air and part, noise of 0.15 K, digits of 0.1 °C.

    The same for the same seed. A cool or hot run blows 13 K too cold or 18 K too hot; an open
    sensor is open from the soak on; an aborted run ends before its reflow zone.
    """
    dice = np.random.default_rng(seed)
    of_the_day = replace(
        site,
        part_j_per_k=site.part_j_per_k * (1 + 0.012 * dice.uniform(-1, 1)),
        adjacent_share=(
            _WARM_ADJACENT_SHARE if variant is Variant.WARM_NEIGHBOUR else site.adjacent_share
        ),
    )
    trace = compute_temperatures(
        of_the_day,
        zones,
        ambient_c=float(dice.uniform(20.5, 23.8)),
        gas_offset_k=float(dice.uniform(-1.5, 1.5)) + _FAULT_GAS_K.get(variant, 0.0),
        rate_hz=rate_hz,
    )
    noisy = trace.values_c + dice.normal(0.0, _NOISE_SD_K, trace.values_c.shape)
    values_c = np.round(noisy, _RESOLUTION_DECIMALS)
    share = float(dice.uniform(0.2, 0.8))
    if variant is Variant.OPEN_SENSOR:
        opened_s = zones[0].time_s + share * zones[1].time_s
        channel = int(dice.integers(0, 3))
        values_c[trace.times_s >= opened_s, channel] = np.nan
    if variant is Variant.ABORTED:
        ended_s = zones[0].time_s + zones[1].time_s + share * zones[2].time_s
        kept = trace.times_s <= ended_s
        return SimulatedTrace(trace.times_s[kept], values_c[kept])
    return SimulatedTrace(trace.times_s, values_c)


_FAULT_GAS_K: Final = {Variant.COOL: _COOL_GAS_K, Variant.HOT: _HOT_GAS_K}


def _compute_system(
    site: ThermalSite, zone: GasZone, *, ambient_c: float, gas_offset_k: float
) -> tuple[Array, Array]:
    """Compute the matrix in 1/s and the drive in K/s of the eight states during one zone."""
    masses = compute_two_masses(site, airflow_l_per_min=zone.airflow_l_per_min)
    rates = np.zeros((_STATES, _STATES))
    drive = np.zeros(_STATES)
    rates[:2, :2] = masses.compute_rates()
    rates[_PART, _GAS_TOP] = masses.g1_w_per_k / masses.c1_j_per_k
    rates[_BOARD, _GAS_BOTTOM] = site.bottom_w_per_k / masses.c2_j_per_k
    drive[_BOARD] = site.room_w_per_k / masses.c2_j_per_k * ambient_c
    for gas, set_c in ((_GAS_TOP, zone.top_c), (_GAS_BOTTOM, zone.bottom_c)):
        rates[gas, gas] = -1 / _GAS_LAG_S
        drive[gas] = (ambient_c if set_c is None else set_c + gas_offset_k) / _GAS_LAG_S
    _follow(rates, _CENTRE, {_PART: 1.0}, lag_s=_CENTRE_LAG_S)
    _follow(rates, _CORNER, {_PART: 1.0}, lag_s=_CORNER_LAG_S)
    share = _BODY_GAS_SHARE
    _follow(rates, _BODY, {_PART: 1 - share, _GAS_TOP: share}, lag_s=_BODY_LAG_S)
    share = site.adjacent_share
    _follow(rates, _ADJACENT, {_PART: share, _BOARD: 1 - share}, lag_s=_ADJACENT_LAG_S)
    return rates, drive


def _follow(rates: Array, state: int, leaders: dict[int, float], *, lag_s: float) -> None:
    rates[state, state] = -1 / lag_s
    for leader, weight in leaders.items():
        rates[state, leader] = weight / lag_s
