"""The thermal model steps exactly, and each kind of run does what its name says."""

import numpy as np
import pytest

from seed_demo.plant import get_assembly, get_part
from seed_demo.recipes import Recipe, list_recipes
from seed_demo.runs import list_gas_zones
from seed_demo.thermal_model import (
    CHANNELS,
    GasZone,
    SimulatedTrace,
    ThermalSite,
    Variant,
    compute_site,
    compute_temperatures,
    simulate_run,
)
from seed_demo.thermal_network import TwoMasses, compute_exponential, step

RECIPES = list_recipes()
RATE_HZ = 4
SEEDS = range(8)

# Two nodes with C 8 and 40 J/K, G12 1.5, G1 0.4, G2 0.6 W/K. Figures recomputed with a general
# matrix exponential and an ODE solver (scipy expm and solve_ivp), which agree to 1e-10.
TWO_NODES = TwoMasses(c1_j_per_k=8, c2_j_per_k=40, g12_w_per_k=1.5, g1_w_per_k=0.4, g2_w_per_k=0.6)


def run(recipe: Recipe, variant: Variant = Variant.NORMAL, seed: int = 1) -> SimulatedTrace:
    site = compute_site(get_part(recipe.part_number), get_assembly(recipe.assembly_part_number))
    zones = list_gas_zones(recipe.revisions[-1].body)
    return simulate_run(site, zones, variant=variant, seed=seed, rate_hz=RATE_HZ)


def compute_time_above_s(trace: SimulatedTrace, channel: str, level_c: float) -> float:
    return float((trace.get_channel(channel) > level_c).sum()) / RATE_HZ


def test_two_nodes_have_the_time_constants_of_the_closed_form() -> None:
    times_s = sorted(-1 / np.linalg.eigvals(TWO_NODES.compute_rates()).real)
    assert times_s == pytest.approx([3.705764, 49.62757], rel=1e-6)


def test_two_nodes_cool_as_the_closed_form_says() -> None:
    state = step(
        np.array([220.0, 0.0]), rates=TWO_NODES.compute_rates(), drive=np.zeros(2), time_s=10
    )
    assert state == pytest.approx([36.189626, 24.786242], abs=1e-6)


def test_two_nodes_settle_where_300_w_balance_the_losses() -> None:
    drive = np.array([300 / 8, 0.0])
    state = step(np.zeros(2), rates=TWO_NODES.compute_rates(), drive=drive, time_s=3000)
    assert state == pytest.approx([362.068966, 258.620690], abs=1e-6)


def test_a_long_step_is_many_short_ones() -> None:
    rates = TWO_NODES.compute_rates()
    many = np.linalg.matrix_power(compute_exponential(rates * 0.1), 200)
    assert compute_exponential(rates * 20) == pytest.approx(many, abs=1e-12)


def test_samples_do_not_depend_on_the_rate_or_on_where_zones_end() -> None:
    site = ThermalSite(3.0, 20.0, 0.04, 0.1, 0.3, 0.08)
    zones = (GasZone(30.3, 200, 180, 20), GasZone(20.1, 250, 200, 25))
    slow = compute_temperatures(site, zones, ambient_c=23, rate_hz=2)
    fast = compute_temperatures(site, zones, ambient_c=23, rate_hz=4)
    assert fast.values_c[::2] == pytest.approx(slow.values_c, abs=1e-9)


def test_a_site_left_alone_stays_at_room_temperature() -> None:
    site = ThermalSite(3.0, 20.0, 0.04, 0.1, 0.3, 0.08)
    trace = compute_temperatures(site, (GasZone(60, None, None, 20),), ambient_c=23, rate_hz=2)
    assert trace.values_c == pytest.approx(np.full((121, 5), 23.0), abs=1e-9)


def test_more_air_heats_faster() -> None:
    site = ThermalSite(3.0, 20.0, 0.04, 0.1, 0.3, 0.08)
    ends = [
        compute_temperatures(
            site, (GasZone(40, 250, 150, airflow),), ambient_c=23, rate_hz=2
        ).get_channel("joint_corner")[-1]
        for airflow in (10, 20, 30)
    ]
    assert ends == sorted(ends)
    assert ends[2] - ends[0] > 10


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
@pytest.mark.parametrize("seed", SEEDS)
def test_a_normal_run_stays_in_the_window(recipe: Recipe, seed: int) -> None:
    trace = run(recipe, seed=seed)
    for joint in ("joint_centre", "joint_corner"):
        assert 232 <= trace.get_channel(joint).max() <= 245
        assert 45 <= compute_time_above_s(trace, joint, 217) <= 90
    assert trace.get_channel("body").max() < 250
    assert trace.get_channel("adjacent").max() < 200
    rise = trace.values_c[5 * RATE_HZ :, :3] - trace.values_c[: -5 * RATE_HZ, :3]
    assert rise.max() / 5 <= 3
    assert rise.min() / 5 >= -6


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
def test_the_centre_joint_lags_the_corner_joint(recipe: Recipe) -> None:
    trace = run(recipe)
    first_above = [
        int(np.argmax(trace.get_channel(joint) > 200)) for joint in ("joint_corner", "joint_centre")
    ]
    assert first_above[0] < first_above[1]


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
def test_a_cool_run_peaks_too_low_and_a_hot_one_too_high(recipe: Recipe) -> None:
    for seed in SEEDS:
        assert run(recipe, Variant.COOL, seed).get_channel("joint_centre").max() < 230
        assert run(recipe, Variant.HOT, seed).get_channel("body").max() > 250


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
def test_a_warm_neighbour_passes_its_limit_and_the_joint_does_not(recipe: Recipe) -> None:
    trace = run(recipe, Variant.WARM_NEIGHBOUR)
    assert trace.get_channel("adjacent").max() > 205
    assert trace.get_channel("joint_corner").max() < 245


def test_an_open_sensor_reads_until_it_opens_and_never_again() -> None:
    for seed in SEEDS:
        trace = run(RECIPES[0], Variant.OPEN_SENSOR, seed)
        is_open = np.isnan(trace.values_c)
        assert is_open.any(axis=0).sum() == 1
        opened = is_open.sum(axis=1) > 0
        assert not opened[: 60 * RATE_HZ].any()
        assert opened[int(np.argmax(opened)) :].all()


def test_an_aborted_run_ends_before_reflow() -> None:
    for recipe in RECIPES:
        whole, aborted = run(recipe), run(recipe, Variant.ABORTED)
        assert len(aborted.times_s) < len(whole.times_s)
        assert np.nanmax(aborted.values_c) < 217


def test_one_seed_is_one_trace_and_two_seeds_are_two() -> None:
    assert np.array_equal(run(RECIPES[0], seed=3).values_c, run(RECIPES[0], seed=3).values_c)
    assert not np.array_equal(run(RECIPES[0], seed=3).values_c, run(RECIPES[0], seed=4).values_c)


def test_the_noise_is_a_seventh_of_a_kelvin_and_the_digits_are_tenths() -> None:
    trace = run(RECIPES[0])
    assert trace.values_c == pytest.approx(np.round(trace.values_c, 1), abs=1e-9)
    # Second differences of white noise have the sd √6 times the noise's own.
    board = trace.get_channel("board")
    noise_sd_k = float(np.diff(board, n=2).std()) / np.sqrt(6)
    assert 0.12 < noise_sd_k < 0.18


def test_a_channel_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match="not in tuple"):
        run(RECIPES[0]).get_channel("air")
    assert len(CHANNELS) == 5
