"""No alarm where a trace is only quiet, steep, coarse, sparse, late or warm.

The soak profile and the sinusoid are those of the metric tests. The plate is the step of a plate
thermometer put into a furnace and taken out, sampled every 5 s: 24 °C to 480 °C with a time
constant near 85 s, of the order of published furnace tests (numbers from memory).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.faults import FaultKind, find_faults
from app.numerics.faults.shapes import EVERY_METRIC
from tests.numerics.fault_site import (
    JOINTS,
    SOAK_PROFILE,
    TIME_S,
    find_all,
    find_one,
    make_noisy,
    make_site,
)


def test_a_sound_site_has_no_fault() -> None:
    assert find_all(make_site()) == []


def test_a_channel_read_at_every_fourth_moment_is_not_silent() -> None:
    site = make_site()
    is_read = np.arange(TIME_S.size) % 4 == 0
    site["board"] = np.where(is_read, site["board"], np.nan)
    assert find_all(site) == []


def test_an_air_channel_may_stay_cold() -> None:
    site = {**make_site(), "room": make_noisy(np.full(TIME_S.size, 23.5))}
    assert find_faults(TIME_S, site, roles={**JOINTS, "room": "air"}) == ()


def test_a_sensor_far_from_the_heat_may_hardly_warm() -> None:
    far = np.interp(TIME_S, [0.0, 340.0], [25.0, 31.0])
    site = {**make_site(), "far": make_noisy(far)}
    assert find_faults(TIME_S, site, roles={**JOINTS, "far": "adjacent"}) == ()
    assert find_faults(TIME_S, site, roles={**JOINTS, "far": "joint"}) != ()


@pytest.mark.parametrize("step_s", [0.25, 0.5, 1.0])
@pytest.mark.parametrize("decimals", [0, 1, 2])
@pytest.mark.parametrize("lag_s", [1.0, 3.0, 8.0])
def test_a_held_top_that_is_settled_into_is_not_saturated(
    lag_s: float, decimals: int, step_s: float
) -> None:
    """A sensor that follows, by one lag, a gas held at 240 °C for 70 s."""
    time_s = np.arange(0.0, 340.0, step_s)
    held = 240.0 - 90.0 * np.exp(-(time_s - 180.0) / lag_s)
    left = 60.0 + (held[time_s < 250.0][-1] - 60.0) * np.exp(-(time_s - 250.0) / 25.0)
    before = 25.0 + 125.0 * time_s / 180.0
    trace = np.where(time_s < 180.0, before, np.where(time_s < 250.0, held, left))
    assert find_faults(time_s, {"a": np.round(trace, decimals)}, roles={"a": "body"}) == ()


@pytest.mark.parametrize("from_s", [5.0, 20.0, 60.0, 120.0, 200.0, 240.0, 260.0])
def test_a_recording_that_begins_late_accuses_no_channel(from_s: float) -> None:
    is_kept = from_s <= TIME_S
    site = {name: values[is_kept] for name, values in make_site().items()}
    assert find_all(site, TIME_S[is_kept]) == []


@pytest.mark.parametrize("until_s", [60.0, 180.0, 232.0, 250.0, 270.0])
def test_a_recording_that_ends_early_accuses_no_channel(until_s: float) -> None:
    is_kept = until_s >= TIME_S
    site = {name: values[is_kept] for name, values in make_site().items()}
    assert find_all(site, TIME_S[is_kept]) == []


def test_a_channel_that_begins_warm_and_cools_to_the_room_is_not_reversed() -> None:
    """A body that cools from 57 °C, while the others begin at 34 °C and end at 27 °C."""
    time_s = np.arange(0.0, 400.0, 0.5)
    rise = np.where(time_s < 200.0, time_s, 400.0 - time_s)
    site = {
        "joint": make_noisy(34.0 + rise * 0.9 - time_s * 0.0175, 1),
        "board": make_noisy(36.0 + rise * 0.5 - time_s * 0.0225, 2),
        "body": make_noisy(57.0 + rise - time_s * 0.075, 3),
    }
    assert find_all(site, time_s) == []


def test_a_body_warmer_from_an_earlier_attempt_is_not_swapped() -> None:
    """It begins 18 K below the joint, which cooled slower, and passes it on the way up."""
    time_s = np.arange(0.0, 200.0, 0.5)
    site = {
        "joint": make_noisy(70.0 + 170.0 * np.maximum(time_s - 8.0, 0.0) / 200.0, 1),
        "body": make_noisy(52.0 + 200.0 * time_s / 200.0, 2),
    }
    assert find_all(site, time_s) == []


def test_on_a_slow_rise_noise_makes_no_lag() -> None:
    time_s = np.arange(0.0, 36_000.0, 1.0)
    slow = 25.0 + 200.0 * np.sin(np.pi * time_s / 36_000.0)
    for seed in range(8):
        site = {"body": make_noisy(slow, seed), "joint": make_noisy(slow, 100 + seed)}
        assert find_all(site, time_s) == []


@pytest.mark.parametrize("step_s", [0.1, 0.5, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("decimals", [12, 1, 0])
def test_a_smooth_profile_gives_no_alarm(step_s: float, decimals: int) -> None:
    time_s = np.arange(0.0, 340.0, step_s)
    body = np.round(np.interp(time_s, *SOAK_PROFILE), decimals)
    joint = np.round(np.interp(time_s - 4.0, *SOAK_PROFILE), decimals)
    board = np.round(25.0 + 0.5 * (np.interp(time_s - 15.0, *SOAK_PROFILE) - 25.0), decimals)
    assert find_all({"joint": joint, "body": body, "board": board}, time_s) == []
    assert find_all({"body": body}, time_s) == []


@pytest.mark.parametrize("decimals", [12, 1, 0])
def test_a_step_into_a_furnace_sampled_every_5_s_gives_no_alarm(decimals: int) -> None:
    time_s = np.arange(0.0, 2_000.0, 5.0)
    heating = 480.0 - 456.0 * np.exp(-time_s / 85.0)
    cooling = 25.0 + 455.0 * np.exp(-(time_s - 1_300.0) / 180.0)
    plate = np.round(np.where(time_s < 1_300.0, heating, cooling), decimals)
    for role in ("joint", "body", "unknown", "air"):
        assert find_faults(time_s, {"plate": plate}, roles={"plate": role}) == ()


def test_knots_alone_a_sinusoid_and_a_steep_triangle_give_no_alarm() -> None:
    knots_s, knots_c = SOAK_PROFILE
    assert find_faults(knots_s, {"knots": knots_c}, roles={}) == ()
    wave = 150.0 + 10.0 * np.sin(2.0 * np.pi * TIME_S / 40.0)
    assert find_faults(TIME_S, {"wave": np.round(wave, 1)}, roles={}) == ()
    time_s = np.arange(0.0, 205.0, 5.0)
    steep = np.interp(time_s, [0.0, 100.0, 200.0], [25.0, 325.0, 25.0])
    assert find_faults(time_s, {"steep": steep}, roles={}) == ()


def test_nothing_and_a_single_reading_have_no_fault() -> None:
    assert find_faults([], {}, roles={}) == ()
    assert find_faults([], {"joint": []}, roles={}) == ()
    assert find_faults([0.0], {"joint": [25.0]}, roles={}) == ()


def test_a_channel_without_any_reading_accuses_no_other() -> None:
    site = make_site()
    site["board"][:] = np.nan
    fault = find_one(site)
    assert (fault.kind, fault.channel) == (FaultKind.OPEN_CIRCUIT, "board")


@given(st.data(), st.integers(0, 40))
def test_any_recording_gets_findings_within_its_samples(data: st.DataObject, size: int) -> None:
    moments = st.lists(st.integers(-5, 60), min_size=size, max_size=size)
    reading = st.sampled_from([np.nan, np.inf, -1e300, 1372.0, 20.0, 25.0, 25.1, 180.0, 240.0])
    readings = st.lists(reading, min_size=size, max_size=size)
    roles = {"a": "joint", "b": "body", "c": "air"}
    channels = {name: data.draw(readings) for name in roles}
    time_s = data.draw(st.one_of(moments, moments.map(sorted), st.just(range(size))))
    for fault in find_faults(time_s, channels, roles=roles):
        assert 0 <= fault.evidence.first_sample <= fault.evidence.last_sample < size
        assert all(np.isfinite(figure.value) for figure in fault.evidence.figures)
        assert set(fault.consequence.unsayable) <= set(EVERY_METRIC)
