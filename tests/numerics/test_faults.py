"""Each fault on a plain trace: where it is, what shows it, and what cannot be said any more."""

from dataclasses import fields

import numpy as np
import pytest

from app.numerics.errors import MalformedArrays
from app.numerics.faults import FaultKind, find_faults
from app.numerics.faults.shapes import CLIPPED, EVERY_METRIC
from app.numerics.metrics import ChannelMetrics
from tests.numerics.fault_site import (
    JOINTS,
    SOAK_PROFILE,
    TIME_S,
    find_all,
    find_one,
    get_figure,
    get_samples,
    make_noisy,
    make_round_site,
    make_site,
)


def test_the_metrics_that_cannot_be_said_are_those_of_a_channel() -> None:
    counts = {"reading_count", "missing_count", "longest_gap_s", "ramp_window_s"}
    assert set(EVERY_METRIC) == {field.name for field in fields(ChannelMetrics)} - counts


def test_readings_that_stop_are_an_open_circuit_and_leave_the_channel_out() -> None:
    site = make_site()
    site["joint"][200:] = np.nan
    fault = find_one(site)
    assert (fault.kind, fault.channel, get_samples(fault)) == (
        FaultKind.OPEN_CIRCUIT,
        "joint",
        (200, 679),
    )
    assert fault.evidence.at_s == 100.0
    assert fault.consequence.is_left_out
    assert fault.consequence.unsayable == EVERY_METRIC


def test_one_reading_that_no_thermocouple_gives_is_an_open_circuit_too() -> None:
    site = make_site()
    site["joint"][300] = 1372.0
    fault = find_one(site)
    assert (fault.kind, get_samples(fault)) == (FaultKind.OPEN_CIRCUIT, (300, 300))
    assert fault.consequence.is_left_out


def test_a_channel_that_is_silent_for_two_and_a_half_seconds_is_only_a_caution() -> None:
    site = make_site()
    site["joint"][300:305] = np.nan
    fault = find_one(site)
    assert (fault.kind, get_figure(fault, "silence")) == (FaultKind.OPEN_CIRCUIT, 3.0)
    assert not fault.consequence.is_left_out
    assert "above_liquidus" in fault.consequence.unsayable
    assert "peak" not in fault.consequence.unsayable


def test_a_channel_at_room_temperature_beside_hot_ones_is_shorted() -> None:
    site = make_site()
    site["joint"] = make_noisy(np.full(TIME_S.size, 25.5))
    fault = find_one(site)
    assert (fault.kind, fault.channel, get_samples(fault)) == (
        FaultKind.SHORT_CIRCUIT,
        "joint",
        (0, 679),
    )


def test_a_channel_that_drops_to_the_room_and_stays_is_shorted() -> None:
    site = make_site()
    site["joint"][400:] = make_noisy(np.full(280, 26.0))
    fault = find_one(site)
    assert (fault.kind, get_samples(fault)) == (FaultKind.SHORT_CIRCUIT, (400, 679))
    assert get_figure(fault, "drop") == pytest.approx(150.0, abs=30.0)


@pytest.mark.parametrize(("width", "height_k"), [(1, 30.0), (2, -20.0), (3, 12.0)])
def test_up_to_three_readings_out_of_line_are_a_spike(width: int, height_k: float) -> None:
    site = make_site()
    site["joint"][300 : 300 + width] += height_k
    fault = find_one(site)
    assert (fault.kind, get_samples(fault)) == (FaultKind.SPIKE, (300, 299 + width))
    assert get_figure(fault, "height") == pytest.approx(height_k, abs=2.0)
    assert not fault.consequence.is_left_out
    assert "peak" not in fault.consequence.unsayable


def test_a_spike_above_the_peak_hides_the_peak() -> None:
    site = make_site()
    site["joint"][470] += 40.0
    assert "peak" in find_one(site).consequence.unsayable


@pytest.mark.parametrize("count", [1, 4, 12])
def test_a_burst_far_above_everything_before_and_after_is_a_spike(count: int) -> None:
    site = make_site()
    site["joint"][500 : 500 + count] = 850.0 + 2.0 * np.arange(count)
    fault = find_one(site)
    assert (fault.kind, get_samples(fault)) == (FaultKind.SPIKE, (500, 499 + count))
    assert get_figure(fault, "height") > 600.0
    assert not fault.consequence.is_left_out


@pytest.mark.parametrize("place", [0, -1])
def test_a_first_or_last_reading_out_of_line_is_a_spike(place: int) -> None:
    site = make_site()
    site["joint"][place] += 60.0
    fault = find_one(site)
    assert (fault.kind, get_samples(fault)) == (FaultKind.SPIKE, (place % 680, place % 680))


def test_a_reading_that_stands_still_while_the_site_heats_is_a_flat_line() -> None:
    site = make_site()
    site["joint"][100:160] = site["joint"][100]
    fault = find_one(site)
    assert (fault.kind, get_samples(fault)) == (FaultKind.FLAT_LINE, (100, 159))
    assert get_figure(fault, "equal readings") == 60.0
    assert fault.consequence.is_left_out


def test_a_quiet_channel_that_stops_in_a_slope_while_others_heat_is_a_flat_line() -> None:
    site = {name: np.round(np.interp(TIME_S, *SOAK_PROFILE), 0) for name in JOINTS}
    site["joint"][100:] = site["joint"][100]
    fault = find_one(site)
    assert (fault.kind, fault.channel) == (FaultKind.FLAT_LINE, "joint")
    assert get_samples(fault)[1] == 679


def test_a_top_that_repeats_one_value_in_a_noisy_channel_is_saturated() -> None:
    site = make_site()
    site["joint"] = np.minimum(site["joint"], 230.0)
    fault = find_one(site)
    assert fault.kind is FaultKind.SATURATION
    assert get_figure(fault, "reading") == 230.0
    assert not fault.consequence.is_left_out
    assert "peak" in fault.consequence.unsayable
    # Crossings below the clipped top are exact.
    assert "above_liquidus" not in fault.consequence.unsayable


@pytest.mark.parametrize("hidden_k", [1.5, 4.0, 15.0, 40.0])
@pytest.mark.parametrize("name", ["joint", "body", "board"])
def test_a_quiet_channel_clipped_below_its_round_top_is_saturated(
    name: str, hidden_k: float
) -> None:
    site = make_round_site()
    assert find_all(site) == []
    end_c = round(float(site[name].max()) - hidden_k, 1)
    site[name] = np.minimum(site[name], end_c)
    fault = find_one(site)
    assert (fault.kind, fault.channel) == (FaultKind.SATURATION, name)
    assert get_figure(fault, "reading") == end_c
    assert fault.consequence.unsayable == CLIPPED


def test_a_logger_that_clips_all_channels_at_once_has_them_all_saturated() -> None:
    site = {name: np.minimum(values, 230.0) for name, values in make_round_site().items()}
    assert {(f.kind, f.channel) for f in find_all(site)} == {
        (FaultKind.SATURATION, name) for name in site
    }


def test_a_channel_that_falls_as_the_others_rise_is_reversed() -> None:
    site = make_site()
    site["joint"] = 50.0 - site["joint"]
    fault = find_one(site)
    assert (fault.kind, fault.channel) == (FaultKind.REVERSED_POLARITY, "joint")
    assert get_figure(fault, "lowest") < -150.0


def test_a_single_channel_that_falls_from_the_room_is_reversed_too() -> None:
    fault = find_one({"joint": 50.0 - make_site()["joint"]})
    assert fault.kind is FaultKind.REVERSED_POLARITY


def test_a_body_that_lags_the_joint_names_both_as_swapped() -> None:
    site = make_site()
    site["joint"], site["body"] = site["body"], site["joint"]
    faults = find_all(site)
    assert {(fault.kind, fault.channel, fault.partner) for fault in faults} == {
        (FaultKind.SWAPPED, "body", "joint"),
        (FaultKind.SWAPPED, "joint", "body"),
    }
    assert get_figure(faults[0], "body lags the joint by") == pytest.approx(3.0, abs=1.0)


def test_a_body_exchanged_with_the_board_accuses_these_two_and_no_joint() -> None:
    site = make_site()
    site["corner"] = make_noisy(np.interp(TIME_S - 4.0, *SOAK_PROFILE) - 1.0, 4)
    site["body"], site["board"] = site["board"], site["body"]
    faults = find_faults(TIME_S, site, roles={**JOINTS, "corner": "joint"})
    assert {(fault.channel, fault.partner) for fault in faults} == {
        ("body", "board"),
        ("board", "body"),
    }
    assert all(fault.consequence.is_left_out for fault in faults)


def test_a_body_exchanged_with_one_of_two_joints_accuses_that_one() -> None:
    site = make_site()
    site["corner"] = make_noisy(np.interp(TIME_S - 4.0, *SOAK_PROFILE) - 1.0, 4)
    for joint in ("joint", "corner"):
        swapped = {**site, "body": site[joint], joint: site["body"]}
        faults = find_faults(TIME_S, swapped, roles={**JOINTS, "corner": "joint"})
        assert {fault.channel for fault in faults} == {"body", joint}


def test_many_spikes_are_summed_up_as_one_loose_junction() -> None:
    site = make_site()
    site["joint"][20:-20:40] += 40.0
    fault = find_one(site)
    assert (fault.kind, get_samples(fault)) == (FaultKind.LOOSE_JUNCTION, (20, 620))


def test_a_contact_that_comes_and_goes_is_a_loose_junction() -> None:
    site = make_site()
    dice = np.random.default_rng(5)
    site["joint"][300:340] -= 60.0 + dice.normal(0.0, 5.0, 40)
    fault = find_one(site)
    assert (fault.kind, fault.channel) == (FaultKind.LOOSE_JUNCTION, "joint")
    assert abs(fault.evidence.first_sample - 300) <= 12
    assert abs(fault.evidence.last_sample - 340) <= 12
    assert get_figure(fault, "largest drop below the line across") > 50.0


def test_a_calm_drop_that_ends_above_the_room_is_a_loose_junction() -> None:
    site = make_site()
    site["joint"][300:340] -= 60.0
    fault = find_one(site)
    assert (fault.kind, get_samples(fault)) == (FaultKind.LOOSE_JUNCTION, (300, 339))


def test_time_that_steps_back_is_told_with_its_place_and_size() -> None:
    time_s = TIME_S.copy()
    time_s[250:] -= 60.0
    fault = find_one(make_site(), time_s)
    assert (fault.kind, fault.channel, get_samples(fault)) == (
        FaultKind.TIME_BACKWARDS,
        None,
        (249, 250),
    )
    assert get_figure(fault, "largest step back") == pytest.approx(59.5)
    assert "above_liquidus" in fault.consequence.unsayable
    assert "peak" not in fault.consequence.unsayable


def test_a_moment_that_comes_twice_is_told() -> None:
    time_s = TIME_S.copy()
    time_s[250] = time_s[249]
    fault = find_one(make_site(), time_s)
    assert (fault.kind, get_samples(fault)) == (FaultKind.TIME_DOUBLED, (249, 250))


def test_a_pause_of_the_recording_is_a_gap_of_every_channel() -> None:
    kept = np.r_[0:440, 470:680]
    site = {name: values[kept] for name, values in make_site().items()}
    fault = find_one(site, TIME_S[kept])
    assert (fault.kind, fault.channel, get_samples(fault)) == (FaultKind.GAP, None, (439, 440))
    assert get_figure(fault, "gap") == 15.5
    assert "peak" in fault.consequence.unsayable


def test_a_short_pause_while_everything_is_cold_costs_no_metric() -> None:
    kept = np.r_[0:20, 40:680]
    site = {name: values[kept] for name, values in make_site().items()}
    fault = find_one(site, TIME_S[kept])
    assert fault.kind is FaultKind.GAP
    assert fault.consequence.unsayable == ()


def test_a_channel_without_any_reading_is_open() -> None:
    fault = find_one({"joint": np.full(TIME_S.size, np.nan)})
    assert (fault.kind, get_samples(fault)) == (FaultKind.OPEN_CIRCUIT, (0, 679))


def test_arrays_that_fit_no_recording_are_refused() -> None:
    with pytest.raises(MalformedArrays, match="Channel joint: 2 temperatures do not fit 3"):
        find_faults([0.0, 1.0, 2.0], {"joint": [25.0, 26.0]}, roles={})
    with pytest.raises(MalformedArrays, match="no number"):
        find_faults([0.0, float("nan")], {}, roles={})
    with pytest.raises(MalformedArrays, match="'nozzle' is no role"):
        find_faults([0.0], {"joint": [25.0]}, roles={"joint": "nozzle"})
