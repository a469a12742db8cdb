"""A whole recording: the numbers of its parts, and what a fault takes away from which."""

from dataclasses import replace

import numpy as np
import pytest

from app.numerics.ceilings import AgainstCeiling, compare_with_ceiling, list_times_above
from app.numerics.crossings import TimeAbove
from app.numerics.errors import MalformedArrays
from app.numerics.faults import FaultKind, FaultRole, find_faults
from app.numerics.faults.shapes import EVERY_METRIC
from app.numerics.lift import compute_spread_at_coldest_peak, judge_lift
from app.numerics.metrics import UnusableLimit, analyse_channel, analyse_site
from app.numerics.recording import Targets, analyse_recording, spell_fault
from app.numerics.trace import read_trace
from app.numerics.uncertainty import Expanded, Source, compute_uncertainty
from app.numerics.values import CannotSay, Measured
from app.numerics.zones import measure_zones
from tests.numerics.recordings import (
    CHAIN,
    CHAINS,
    ROLES,
    RULE,
    TARGETS,
    TIME_S,
    add_noise,
    analyse,
    make_site,
)


def _reason(outcome: object) -> str:
    assert isinstance(outcome, CannotSay)
    return outcome.reason


def test_a_sound_recording_has_the_numbers_of_its_parts() -> None:
    site = make_site()
    found = analyse(site)
    assert (found.faults, found.left_out, list(found.channels)) == ((), {}, list(site))
    for name, values in site.items():
        one, trace = found.channels[name], read_trace(TIME_S, values)
        assert one.metrics == analyse_channel(
            TIME_S,
            values,
            liquidus_c=217.0,
            soak_min_c=150.0,
            soak_max_c=180.0,
            classification_c=240.0,
        )
        assert one.times_above == list_times_above(trace, (100.0, 217.0))
        assert one.zones == measure_zones(trace, TARGETS.zones)
        assert one.uncertainty is None
    body = read_trace(TIME_S, site["body"])
    assert found.channels["body"].ceilings == tuple(
        compare_with_ceiling(body, ceiling_c) for ceiling_c in (245.0, 230.0)
    )
    assert found.channels["centre"].ceilings == ()


def test_a_sound_site_has_the_numbers_of_its_parts() -> None:
    site = make_site()
    found = analyse(site).site
    joints = {name: read_trace(TIME_S, site[name]) for name in ("centre", "corner")}
    assert found.metrics == analyse_site(
        TIME_S, site, joints=("centre", "corner"), liquidus_c=217.0, lift_rule=RULE
    )
    assert found.spread_at_coldest_peak == compute_spread_at_coldest_peak(list(joints.values()))
    assert found.lift == judge_lift(RULE, joints, lifted_at_s=245.0)
    assert found.lift is not None
    assert found.lift.was_early is False
    assert found.spread_uncertainty is None


def test_a_lift_is_judged_only_where_its_moment_is_known() -> None:
    found = analyse(make_site(), targets=replace(TARGETS, lifted_at_s=None))
    assert found.site.lift is None
    assert isinstance(found.site.metrics.lift, Measured)


def test_the_noise_seen_in_the_readings_is_in_the_uncertainty() -> None:
    site = make_site()
    one = analyse(site, chains=CHAINS).channels["centre"]
    assert one.noise_k == pytest.approx(0.15, rel=0.2)
    assert one.uncertainty == compute_uncertainty(
        TIME_S,
        site["centre"],
        one.metrics,
        measurement=replace(CHAIN, noise_k=one.noise_k),
        liquidus_c=217.0,
        soak_min_c=150.0,
        soak_max_c=180.0,
        classification_c=240.0,
    )


def test_a_noise_stated_larger_than_seen_is_kept() -> None:
    loud = replace(CHAIN, noise_k=1.0)
    one = analyse(make_site(), chains={"centre": loud}).channels["centre"]
    assert one.uncertainty is not None
    assert isinstance(one.uncertainty.peak, Expanded)
    noise = {c.source: c.standard for c in one.uncertainty.peak.contributions}
    assert noise[Source.NOISE] == 1.0


def test_a_channel_without_a_chain_has_no_uncertainty() -> None:
    found = analyse(make_site(), chains={"body": CHAIN})
    assert found.channels["centre"].uncertainty is None
    assert found.channels["body"].uncertainty is not None
    assert found.site.spread_uncertainty is None


def test_a_joint_left_out_takes_spread_and_all_above_with_it_and_is_named() -> None:
    site = make_site()
    site["corner"][300:] = np.nan
    found = analyse(site, chains=CHAINS)
    (fault,) = found.faults
    assert found.left_out == {"corner": spell_fault(fault)}
    assert list(found.channels) == ["centre", "body", "board"]
    assert _reason(found.site.metrics.spread) == (
        f"Joint channel corner is left out. {spell_fault(fault)}"
    )
    assert found.site.metrics.all_above_liquidus == found.site.metrics.spread
    assert found.site.spread_at_coldest_peak == found.site.metrics.spread
    assert found.site.spread_uncertainty == found.site.metrics.spread
    assert found.site.metrics.all_above_stretches == ()
    assert "corner of the lift rule is left out" in _reason(found.site.metrics.lift)
    assert found.site.lift is not None
    assert found.site.lift.was_early is None


def test_a_body_left_out_leaves_the_joints_as_they_are() -> None:
    sound, site = analyse(make_site()), make_site()
    site["body"][:] = site["body"][0]
    found = analyse(site)
    assert list(found.left_out) == ["body"]
    assert found.site == sound.site
    assert found.channels["centre"] == sound.channels["centre"]


def test_a_channel_its_file_calls_open_is_left_out_with_that_reason_and_not_looked_at() -> None:
    site = make_site()
    site["corner"][100:110] = 1372.0
    found = analyse(site, excluded={"corner": "its file says OPEN 10 times"})
    assert found.left_out == {"corner": "its file says OPEN 10 times"}
    assert found.faults == ()
    assert "corner" not in found.channels
    assert "OPEN" in _reason(found.site.metrics.spread)


def test_a_joint_that_was_planned_and_is_not_there_makes_the_site_unable_to_say() -> None:
    site = make_site()
    del site["corner"]
    found = analyse(site)
    assert "corner" in _reason(found.site.metrics.spread)
    assert "corner" in _reason(found.site.spread_at_coldest_peak)


def test_a_recording_without_joints_cannot_say_its_spread() -> None:
    site = make_site()
    targets = replace(TARGETS, lift_rule=None)
    found = analyse_recording(
        TIME_S, {"body": site["body"]}, roles={"body": FaultRole.BODY}, targets=targets
    )
    assert isinstance(found.site.metrics.spread, CannotSay)
    assert isinstance(found.site.spread_at_coldest_peak, CannotSay)
    assert found.site.metrics.lift is None


def test_a_spike_is_no_reading_and_leaves_what_does_not_need_it() -> None:
    sound, site = analyse(make_site(), chains=CHAINS), make_site()
    site["centre"][100] += 60.0
    found = analyse(site, chains=CHAINS)
    (fault,) = found.faults
    assert (fault.kind, fault.consequence.unsayable) == (FaultKind.SPIKE, ())
    one, before = found.channels["centre"], sound.channels["centre"]
    assert one.metrics.missing_count == 1
    for name in EVERY_METRIC:
        if name != "area_above_liquidus":
            assert getattr(one.metrics, name) == getattr(before.metrics, name)
    assert one.times_above == before.times_above
    assert found.site == sound.site
    # It lies in the first of two zones, and not at its end.
    assert one.zones[0].reached == before.zones[0].reached
    assert one.zones[0].settled_for == CannotSay(spell_fault(fault))
    assert one.zones[1] == before.zones[1]
    assert found.channels["corner"] == sound.channels["corner"]


def test_a_spike_where_the_trace_melts_makes_the_time_above_unsayable() -> None:
    sound, site = analyse(make_site(), chains=CHAINS), make_site()
    above = sound.channels["centre"].metrics.above_liquidus
    assert isinstance(above, TimeAbove)
    site["centre"][int(np.searchsorted(TIME_S, above.crossings[0].at_s))] += 60.0
    found = analyse(site, chains=CHAINS)
    (fault,) = found.faults
    one, doubt = found.channels["centre"], CannotSay(spell_fault(fault))
    assert "above_liquidus" in fault.consequence.unsayable
    assert "peak" not in fault.consequence.unsayable
    assert one.metrics.above_liquidus == doubt
    assert one.metrics.peak == sound.channels["centre"].metrics.peak
    assert one.times_above == (sound.channels["centre"].times_above[0], doubt)
    assert one.uncertainty is not None
    assert one.uncertainty.above_liquidus == doubt
    assert isinstance(one.uncertainty.peak, Expanded)
    assert _reason(found.site.metrics.spread) == f"Joint channel centre: {doubt.reason}"


@pytest.mark.parametrize(
    ("from_s", "to_s", "unsayable"),
    [
        # Between the temperatures that are asked for, and slower than elsewhere.
        (150.0, 157.0, set()),
        # On the way to the end of the soak.
        (183.0, 190.0, {"soak_time"}),
        # Through the liquidus, on the steepest rise.
        (
            212.0,
            221.0,
            {"above_liquidus", "area_above_liquidus", "average_ramp", "maximum_ramp"},
        ),
    ],
)
def test_a_gap_takes_away_what_it_touches(from_s: float, to_s: float, unsayable: set[str]) -> None:
    kept = (from_s >= TIME_S) | (to_s <= TIME_S)
    sound = analyse(make_site())
    found = analyse(
        {name: values[kept] for name, values in make_site().items()}, time_s=TIME_S[kept]
    )
    (fault,) = found.faults
    assert fault.kind is FaultKind.GAP
    doubt, centre = CannotSay(spell_fault(fault)), found.channels["centre"].metrics
    said = {name for name in EVERY_METRIC if getattr(centre, name) == doubt}
    assert unsayable <= said <= unsayable | {"near_classification"}
    assert centre.peak == sound.channels["centre"].metrics.peak
    everybody = [one.metrics for one in found.channels.values()]
    assert set(fault.consequence.unsayable) == {
        name for name in EVERY_METRIC if any(getattr(one, name) == doubt for one in everybody)
    }


def test_a_gap_that_may_hide_the_peak_leaves_no_peak() -> None:
    kept = (TIME_S <= 225.0) | (TIME_S >= 262.0)
    found = analyse(
        {name: values[kept] for name, values in make_site().items()}, time_s=TIME_S[kept]
    )
    assert {"peak", "above_liquidus"} <= set(found.faults[0].consequence.unsayable)
    assert isinstance(found.channels["centre"].metrics.peak, CannotSay)
    assert isinstance(found.channels["body"].ceilings[0], CannotSay)


def test_a_ceiling_is_not_judged_by_a_channel_whose_peak_cannot_be_said() -> None:
    site = make_site()
    site["body"][480] += 40.0
    found = analyse(site)
    (fault,) = found.faults
    assert found.channels["body"].ceilings == (CannotSay(spell_fault(fault)),) * 2
    assert isinstance(analyse(make_site()).channels["body"].ceilings[0], AgainstCeiling)


def test_a_range_that_ends_below_the_liquidus_cannot_say_that_it_never_melted() -> None:
    site = make_site()
    site["centre"] = np.minimum(site["centre"], 205.0)
    found = analyse(site, chains=CHAINS)
    (fault,) = found.faults
    assert fault.kind is FaultKind.SATURATION
    one = found.channels["centre"]
    assert one.metrics.above_liquidus == CannotSay(spell_fault(fault))
    assert isinstance(one.times_above[0], TimeAbove)
    assert one.times_above[1] == CannotSay(spell_fault(fault))
    assert isinstance(one.metrics.soak_time, Measured)
    assert one.uncertainty is not None
    assert isinstance(one.uncertainty.soak_time, Expanded)
    assert isinstance(found.site.metrics.all_above_liquidus, CannotSay)


def test_a_range_that_ends_below_the_soak_cannot_say_its_end() -> None:
    site = make_site()
    site["centre"] = np.minimum(site["centre"], 175.0)
    assert isinstance(analyse(site).channels["centre"].metrics.soak_time, CannotSay)


def test_a_range_that_ends_above_the_liquidus_keeps_its_time_above() -> None:
    sound, site = analyse(make_site()), make_site()
    site["centre"] = np.minimum(site["centre"], 230.0)
    one = analyse(site).channels["centre"]
    assert one.metrics.above_liquidus == sound.channels["centre"].metrics.above_liquidus
    assert isinstance(one.metrics.peak, CannotSay)


def test_a_range_that_begins_too_high_cannot_say_what_lies_below() -> None:
    site = make_site()
    # Warm at first, then below the range until it heats up.
    cooling_c = add_noise(np.interp(TIME_S, [0.0, 80.0], [115.0, 95.0]), 5)
    site["centre"] = np.maximum(np.maximum(site["centre"], cooling_c), 105.0)[:640]
    for name in ("corner", "body", "board"):
        site[name] = site[name][:640]
    one = analyse(site, time_s=TIME_S[:640]).channels["centre"]
    assert isinstance(one.times_above[0], CannotSay)
    assert isinstance(one.times_above[1], TimeAbove)


def test_time_that_repeats_keeps_the_peak_and_says_no_time() -> None:
    time_s = TIME_S.copy()
    time_s[200] = time_s[199]
    found = analyse(make_site(), time_s=time_s)
    (fault,) = found.faults
    assert fault.kind is FaultKind.TIME_DOUBLED
    for one in found.channels.values():
        assert isinstance(one.metrics.peak, Measured)
        assert one.metrics.soak_time == CannotSay(spell_fault(fault))
        assert one.zones[1].reached == CannotSay(spell_fault(fault))
    assert isinstance(found.site.metrics.lift, CannotSay)


def test_swapped_channels_are_left_out_and_name_each_other() -> None:
    site = make_site()
    site["body"], site["centre"] = site["centre"], site["body"]
    found = analyse(site)
    assert {fault.kind for fault in found.faults} == {FaultKind.SWAPPED}
    assert set(found.left_out) == {"body", "centre"} == set(ROLES) - set(found.channels)
    assert "exchanged with body" in found.left_out["centre"]
    assert "exchanged with centre" in found.left_out["body"]
    assert "Joint channel centre" in _reason(found.site.metrics.spread)


def test_a_recording_of_one_sample_says_nothing_and_does_not_fail() -> None:
    found = analyse({name: values[:1] for name, values in make_site().items()}, time_s=TIME_S[:1])
    for one in found.channels.values():
        assert isinstance(one.metrics.peak, CannotSay)
        assert all(isinstance(above, CannotSay) for above in one.times_above)
    assert isinstance(found.site.metrics.spread, CannotSay)


def test_a_recording_of_nothing_says_nothing_and_does_not_fail() -> None:
    found = analyse(dict.fromkeys(ROLES, np.empty(0)), time_s=np.empty(0), chains=CHAINS)
    assert all(isinstance(one.metrics.peak, CannotSay) for one in found.channels.values())
    assert analyse({}, time_s=np.empty(0)).channels == {}


@pytest.mark.parametrize(
    "targets",
    [
        Targets(float("nan"), 150.0, 200.0),
        Targets(217.0, 200.0, 150.0),
        replace(TARGETS, times_above_c=(float("inf"),)),
        replace(TARGETS, ceilings_c={"body": (float("nan"),)}),
    ],
)
def test_targets_that_are_no_temperatures_are_refused(targets: Targets) -> None:
    with pytest.raises(UnusableLimit):
        analyse(make_site(), targets=targets)


def test_arrays_of_two_lengths_are_refused_and_the_channel_is_named() -> None:
    site = make_site()
    with pytest.raises(MalformedArrays, match="corner"):
        analyse(site | {"corner": site["corner"][:-1]})


def test_the_faults_are_those_of_the_search_for_faults() -> None:
    """What a spike makes unsayable is told by what was asked: no more than the search says."""
    site = make_site()
    site["centre"][150] += 40.0
    site["board"][:] = site["board"][0]
    found, searched = analyse(site).faults, find_faults(TIME_S, site, roles=ROLES)
    assert [one.evidence for one in found] == [one.evidence for one in searched]
    for one, other in zip(found, searched, strict=True):
        assert set(one.consequence.unsayable) <= set(other.consequence.unsayable)


def test_a_fault_is_spelt_with_its_moment_and_its_figures() -> None:
    site = make_site()
    site["centre"][150] += 40.0
    (fault,) = analyse(site).faults
    height_k = next(figure.value for figure in fault.evidence.figures if figure.name == "height")
    assert spell_fault(fault) == (
        f"Spike: out of line at 75.0 s (height {height_k:.1f} K, readings 1)."
    )
