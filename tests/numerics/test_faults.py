"""Each fault on a plain trace: where it is, what shows it, and what cannot be said any more.

And no alarm where a trace is only quiet, steep, coarse or sparse. The soak profile and the
sinusoid are those of the metric tests. The plate is the step of a plate thermometer put into a
furnace and taken out, sampled every 5 s: 24 °C to 480 °C with a time constant near 85 s, of the
order of published furnace tests (numbers from memory).
"""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from app.numerics.errors import MalformedArrays
from app.numerics.faults import ChannelFault, FaultKind, find_faults
from app.numerics.faults.shapes import CLIPPED, EVERY_METRIC
from app.numerics.metrics import ChannelMetrics
from app.numerics.trace import FloatArray

SOAK_PROFILE = (
    [0.0, 100.0, 190.0, 230.0, 250.0, 340.0],
    [25.0, 150.0, 180.0, 240.0, 240.0, 60.0],
)
TIME_S = np.arange(0.0, 340.0, 0.5)
JOINTS = {"joint": "joint", "body": "body", "board": "board"}


def _noisy(values: FloatArray, seed: int = 0) -> FloatArray:
    noise = np.random.default_rng(seed).normal(0.0, 0.15, values.size)
    return np.asarray(np.round(values + noise, 1), dtype=np.float64)


def _site() -> dict[str, FloatArray]:
    body = np.interp(TIME_S, *SOAK_PROFILE)
    joint = np.interp(TIME_S - 3.0, *SOAK_PROFILE)
    board = 25.0 + 0.6 * (np.interp(TIME_S - 12.0, *SOAK_PROFILE) - 25.0)
    return {"joint": _noisy(joint, 1), "body": _noisy(body, 2), "board": _noisy(board, 3)}


def _find(channels: dict[str, FloatArray], time_s: ArrayLike = TIME_S) -> list[ChannelFault]:
    return list(find_faults(time_s, channels, roles=JOINTS))


def _find_one(channels: dict[str, FloatArray], time_s: ArrayLike = TIME_S) -> ChannelFault:
    (fault,) = _find(channels, time_s)
    return fault


def _figure(fault: ChannelFault, name: str) -> float:
    return next(figure.value for figure in fault.evidence.figures if figure.name == name)


def _samples(fault: ChannelFault) -> tuple[int, int]:
    return fault.evidence.first_sample, fault.evidence.last_sample


def test_the_metrics_that_cannot_be_said_are_those_of_a_channel() -> None:
    counts = {"reading_count", "missing_count", "longest_gap_s", "ramp_window_s"}
    assert set(EVERY_METRIC) == {field.name for field in fields(ChannelMetrics)} - counts


def test_a_sound_site_has_no_fault() -> None:
    assert _find(_site()) == []


def test_readings_that_stop_are_an_open_circuit_and_leave_the_channel_out() -> None:
    site = _site()
    site["joint"][200:] = np.nan
    fault = _find_one(site)
    assert (fault.kind, fault.channel, _samples(fault)) == (
        FaultKind.OPEN_CIRCUIT,
        "joint",
        (200, 679),
    )
    assert fault.evidence.at_s == 100.0
    assert fault.consequence.is_left_out
    assert fault.consequence.unsayable == EVERY_METRIC


def test_one_reading_that_no_thermocouple_gives_is_an_open_circuit_too() -> None:
    site = _site()
    site["joint"][300] = 1372.0
    fault = _find_one(site)
    assert (fault.kind, _samples(fault)) == (FaultKind.OPEN_CIRCUIT, (300, 300))
    assert fault.consequence.is_left_out


def test_a_channel_that_is_silent_for_two_and_a_half_seconds_is_only_a_caution() -> None:
    site = _site()
    site["joint"][300:305] = np.nan
    fault = _find_one(site)
    assert (fault.kind, _figure(fault, "silence")) == (FaultKind.OPEN_CIRCUIT, 3.0)
    assert not fault.consequence.is_left_out
    assert "above_liquidus" in fault.consequence.unsayable
    assert "peak" not in fault.consequence.unsayable


def test_a_channel_read_at_every_fourth_moment_is_not_silent() -> None:
    site = _site()
    is_read = np.arange(TIME_S.size) % 4 == 0
    site["board"] = np.where(is_read, site["board"], np.nan)
    assert _find(site) == []


def test_a_channel_at_room_temperature_beside_hot_ones_is_shorted() -> None:
    site = _site()
    site["joint"] = _noisy(np.full(TIME_S.size, 25.5))
    fault = _find_one(site)
    assert (fault.kind, fault.channel, _samples(fault)) == (
        FaultKind.SHORT_CIRCUIT,
        "joint",
        (0, 679),
    )


def test_a_channel_that_drops_to_the_room_and_stays_is_shorted() -> None:
    site = _site()
    site["joint"][400:] = _noisy(np.full(280, 26.0))
    fault = _find_one(site)
    assert (fault.kind, _samples(fault)) == (FaultKind.SHORT_CIRCUIT, (400, 679))
    assert _figure(fault, "drop") == pytest.approx(150.0, abs=30.0)


def test_an_air_channel_may_stay_cold() -> None:
    site = {**_site(), "room": _noisy(np.full(TIME_S.size, 23.5))}
    assert find_faults(TIME_S, site, roles={**JOINTS, "room": "air"}) == ()


def test_a_sensor_far_from_the_heat_may_hardly_warm() -> None:
    far = np.interp(TIME_S, [0.0, 340.0], [25.0, 31.0])
    site = {**_site(), "far": _noisy(far)}
    assert find_faults(TIME_S, site, roles={**JOINTS, "far": "adjacent"}) == ()
    assert find_faults(TIME_S, site, roles={**JOINTS, "far": "joint"}) != ()


@pytest.mark.parametrize(("width", "height_k"), [(1, 30.0), (2, -20.0), (3, 12.0)])
def test_up_to_three_readings_out_of_line_are_a_spike(width: int, height_k: float) -> None:
    site = _site()
    site["joint"][300 : 300 + width] += height_k
    fault = _find_one(site)
    assert (fault.kind, _samples(fault)) == (FaultKind.SPIKE, (300, 299 + width))
    assert _figure(fault, "height") == pytest.approx(height_k, abs=2.0)
    assert not fault.consequence.is_left_out
    assert "peak" not in fault.consequence.unsayable


def test_a_spike_above_the_peak_hides_the_peak() -> None:
    site = _site()
    site["joint"][470] += 40.0
    assert "peak" in _find_one(site).consequence.unsayable


@pytest.mark.parametrize("count", [1, 4, 12])
def test_a_burst_far_above_everything_before_and_after_is_a_spike(count: int) -> None:
    site = _site()
    site["joint"][500 : 500 + count] = 850.0 + 2.0 * np.arange(count)
    fault = _find_one(site)
    assert (fault.kind, _samples(fault)) == (FaultKind.SPIKE, (500, 499 + count))
    assert _figure(fault, "height") > 600.0
    assert not fault.consequence.is_left_out


@pytest.mark.parametrize("place", [0, -1])
def test_a_first_or_last_reading_out_of_line_is_a_spike(place: int) -> None:
    site = _site()
    site["joint"][place] += 60.0
    fault = _find_one(site)
    assert (fault.kind, _samples(fault)) == (FaultKind.SPIKE, (place % 680, place % 680))


def test_a_reading_that_stands_still_while_the_site_heats_is_a_flat_line() -> None:
    site = _site()
    site["joint"][100:160] = site["joint"][100]
    fault = _find_one(site)
    assert (fault.kind, _samples(fault)) == (FaultKind.FLAT_LINE, (100, 159))
    assert _figure(fault, "equal readings") == 60.0
    assert fault.consequence.is_left_out


def test_a_quiet_channel_that_stops_in_a_slope_while_others_heat_is_a_flat_line() -> None:
    site = {name: np.round(np.interp(TIME_S, *SOAK_PROFILE), 0) for name in JOINTS}
    site["joint"][100:] = site["joint"][100]
    fault = _find_one(site)
    assert (fault.kind, fault.channel) == (FaultKind.FLAT_LINE, "joint")
    assert _samples(fault)[1] == 679


def test_a_top_that_repeats_one_value_in_a_noisy_channel_is_saturated() -> None:
    site = _site()
    site["joint"] = np.minimum(site["joint"], 230.0)
    fault = _find_one(site)
    assert fault.kind is FaultKind.SATURATION
    assert _figure(fault, "reading") == 230.0
    assert not fault.consequence.is_left_out
    assert "peak" in fault.consequence.unsayable
    # Crossings below the clipped top are exact.
    assert "above_liquidus" not in fault.consequence.unsayable


def _round_site() -> dict[str, FloatArray]:
    """Return a quiet site whose channels all have round tops, 240 °C to 254 °C."""
    rise = 1.0 / (1.0 + np.exp(-(TIME_S - 150.0) / 45.0))
    fall = 1.0 / (1.0 + np.exp(-(TIME_S - 275.0) / 14.0))
    shape = rise * (1.0 - fall)
    tops_c = {"body": 254.0, "joint": 247.0, "board": 240.0}
    return {
        name: np.round(24.0 + (top_c - 24.0) * shape / shape.max(), 1)
        for name, top_c in tops_c.items()
    }


@pytest.mark.parametrize("hidden_k", [1.5, 4.0, 15.0, 40.0])
@pytest.mark.parametrize("name", ["joint", "body", "board"])
def test_a_quiet_channel_clipped_below_its_round_top_is_saturated(
    name: str, hidden_k: float
) -> None:
    site = _round_site()
    assert _find(site) == []
    end_c = round(float(site[name].max()) - hidden_k, 1)
    site[name] = np.minimum(site[name], end_c)
    fault = _find_one(site)
    assert (fault.kind, fault.channel) == (FaultKind.SATURATION, name)
    assert _figure(fault, "reading") == end_c
    assert fault.consequence.unsayable == CLIPPED


def test_a_logger_that_clips_all_channels_at_once_has_them_all_saturated() -> None:
    site = {name: np.minimum(values, 230.0) for name, values in _round_site().items()}
    assert {(f.kind, f.channel) for f in _find(site)} == {
        (FaultKind.SATURATION, name) for name in site
    }


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


def test_a_channel_that_falls_as_the_others_rise_is_reversed() -> None:
    site = _site()
    site["joint"] = 50.0 - site["joint"]
    fault = _find_one(site)
    assert (fault.kind, fault.channel) == (FaultKind.REVERSED_POLARITY, "joint")
    assert _figure(fault, "lowest") < -150.0


def test_a_single_channel_that_falls_from_the_room_is_reversed_too() -> None:
    fault = _find_one({"joint": 50.0 - _site()["joint"]})
    assert fault.kind is FaultKind.REVERSED_POLARITY


def test_a_body_that_lags_the_joint_names_both_as_swapped() -> None:
    site = _site()
    site["joint"], site["body"] = site["body"], site["joint"]
    faults = _find(site)
    assert {(fault.kind, fault.channel, fault.partner) for fault in faults} == {
        (FaultKind.SWAPPED, "body", "joint"),
        (FaultKind.SWAPPED, "joint", "body"),
    }
    assert _figure(faults[0], "body lags the joint by") == pytest.approx(3.0, abs=1.0)


@pytest.mark.parametrize("from_s", [5.0, 20.0, 60.0, 120.0, 200.0, 240.0, 260.0])
def test_a_recording_that_begins_late_accuses_no_channel(from_s: float) -> None:
    is_kept = from_s <= TIME_S
    site = {name: values[is_kept] for name, values in _site().items()}
    assert _find(site, TIME_S[is_kept]) == []


@pytest.mark.parametrize("until_s", [60.0, 180.0, 232.0, 250.0, 270.0])
def test_a_recording_that_ends_early_accuses_no_channel(until_s: float) -> None:
    is_kept = until_s >= TIME_S
    site = {name: values[is_kept] for name, values in _site().items()}
    assert _find(site, TIME_S[is_kept]) == []


def test_a_channel_that_begins_warm_and_cools_to_the_room_is_not_reversed() -> None:
    """A body that cools from 57 °C, while the others begin at 34 °C and end at 27 °C."""
    time_s = np.arange(0.0, 400.0, 0.5)
    rise = np.where(time_s < 200.0, time_s, 400.0 - time_s)
    site = {
        "joint": _noisy(34.0 + rise * 0.9 - time_s * 0.0175, 1),
        "board": _noisy(36.0 + rise * 0.5 - time_s * 0.0225, 2),
        "body": _noisy(57.0 + rise - time_s * 0.075, 3),
    }
    assert _find(site, time_s) == []


def test_a_body_warmer_from_an_earlier_attempt_is_not_swapped() -> None:
    """It begins 18 K below the joint, which cooled slower, and passes it on the way up."""
    time_s = np.arange(0.0, 200.0, 0.5)
    site = {
        "joint": _noisy(70.0 + 170.0 * np.maximum(time_s - 8.0, 0.0) / 200.0, 1),
        "body": _noisy(52.0 + 200.0 * time_s / 200.0, 2),
    }
    assert _find(site, time_s) == []


def test_a_body_exchanged_with_the_board_accuses_these_two_and_no_joint() -> None:
    site = _site()
    site["corner"] = _noisy(np.interp(TIME_S - 4.0, *SOAK_PROFILE) - 1.0, 4)
    site["body"], site["board"] = site["board"], site["body"]
    faults = find_faults(TIME_S, site, roles={**JOINTS, "corner": "joint"})
    assert {(fault.channel, fault.partner) for fault in faults} == {
        ("body", "board"),
        ("board", "body"),
    }
    assert all(fault.consequence.is_left_out for fault in faults)


def test_a_body_exchanged_with_one_of_two_joints_accuses_that_one() -> None:
    site = _site()
    site["corner"] = _noisy(np.interp(TIME_S - 4.0, *SOAK_PROFILE) - 1.0, 4)
    for joint in ("joint", "corner"):
        swapped = {**site, "body": site[joint], joint: site["body"]}
        faults = find_faults(TIME_S, swapped, roles={**JOINTS, "corner": "joint"})
        assert {fault.channel for fault in faults} == {"body", joint}


def test_on_a_slow_rise_noise_makes_no_lag() -> None:
    time_s = np.arange(0.0, 36_000.0, 1.0)
    slow = 25.0 + 200.0 * np.sin(np.pi * time_s / 36_000.0)
    for seed in range(8):
        site = {"body": _noisy(slow, seed), "joint": _noisy(slow, 100 + seed)}
        assert _find(site, time_s) == []


def test_many_spikes_are_summed_up_as_one_loose_junction() -> None:
    site = _site()
    site["joint"][20:-20:40] += 40.0
    fault = _find_one(site)
    assert (fault.kind, _samples(fault)) == (FaultKind.LOOSE_JUNCTION, (20, 620))


def test_a_contact_that_comes_and_goes_is_a_loose_junction() -> None:
    site = _site()
    dice = np.random.default_rng(5)
    site["joint"][300:340] -= 60.0 + dice.normal(0.0, 5.0, 40)
    fault = _find_one(site)
    assert (fault.kind, fault.channel) == (FaultKind.LOOSE_JUNCTION, "joint")
    assert abs(fault.evidence.first_sample - 300) <= 12
    assert abs(fault.evidence.last_sample - 340) <= 12
    assert _figure(fault, "largest drop below the line across") > 50.0


def test_a_calm_drop_that_ends_above_the_room_is_a_loose_junction() -> None:
    site = _site()
    site["joint"][300:340] -= 60.0
    fault = _find_one(site)
    assert (fault.kind, _samples(fault)) == (FaultKind.LOOSE_JUNCTION, (300, 339))


def test_time_that_steps_back_is_told_with_its_place_and_size() -> None:
    time_s = TIME_S.copy()
    time_s[250:] -= 60.0
    fault = _find_one(_site(), time_s)
    assert (fault.kind, fault.channel, _samples(fault)) == (
        FaultKind.TIME_BACKWARDS,
        None,
        (249, 250),
    )
    assert _figure(fault, "largest step back") == pytest.approx(59.5)
    assert "above_liquidus" in fault.consequence.unsayable
    assert "peak" not in fault.consequence.unsayable


def test_a_moment_that_comes_twice_is_told() -> None:
    time_s = TIME_S.copy()
    time_s[250] = time_s[249]
    fault = _find_one(_site(), time_s)
    assert (fault.kind, _samples(fault)) == (FaultKind.TIME_DOUBLED, (249, 250))


def test_a_pause_of_the_recording_is_a_gap_of_every_channel() -> None:
    kept = np.r_[0:440, 470:680]
    site = {name: values[kept] for name, values in _site().items()}
    fault = _find_one(site, TIME_S[kept])
    assert (fault.kind, fault.channel, _samples(fault)) == (FaultKind.GAP, None, (439, 440))
    assert _figure(fault, "gap") == 15.5
    assert "peak" in fault.consequence.unsayable


def test_a_short_pause_while_everything_is_cold_costs_no_metric() -> None:
    kept = np.r_[0:20, 40:680]
    site = {name: values[kept] for name, values in _site().items()}
    fault = _find_one(site, TIME_S[kept])
    assert fault.kind is FaultKind.GAP
    assert fault.consequence.unsayable == ()


@pytest.mark.parametrize("step_s", [0.1, 0.5, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("decimals", [12, 1, 0])
def test_a_smooth_profile_gives_no_alarm(step_s: float, decimals: int) -> None:
    time_s = np.arange(0.0, 340.0, step_s)
    body = np.round(np.interp(time_s, *SOAK_PROFILE), decimals)
    joint = np.round(np.interp(time_s - 4.0, *SOAK_PROFILE), decimals)
    board = np.round(25.0 + 0.5 * (np.interp(time_s - 15.0, *SOAK_PROFILE) - 25.0), decimals)
    assert _find({"joint": joint, "body": body, "board": board}, time_s) == []
    assert _find({"body": body}, time_s) == []


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


def test_a_channel_without_any_reading_is_open() -> None:
    fault = _find_one({"joint": np.full(TIME_S.size, np.nan)})
    assert (fault.kind, _samples(fault)) == (FaultKind.OPEN_CIRCUIT, (0, 679))


def test_a_channel_without_any_reading_accuses_no_other() -> None:
    site = _site()
    site["board"][:] = np.nan
    fault = _find_one(site)
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


def test_arrays_that_fit_no_recording_are_refused() -> None:
    with pytest.raises(MalformedArrays, match="Channel joint: 2 temperatures do not fit 3"):
        find_faults([0.0, 1.0, 2.0], {"joint": [25.0, 26.0]}, roles={})
    with pytest.raises(MalformedArrays, match="no number"):
        find_faults([0.0, float("nan")], {}, roles={})
    with pytest.raises(MalformedArrays, match="'nozzle' is no role"):
        find_faults([0.0], {"joint": [25.0]}, roles={"joint": "nozzle"})
