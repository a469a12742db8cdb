"""Faults put into made-up runs, and what becomes of them from the samples to the last number."""

from dataclasses import fields

import numpy as np
import pytest

from app.measure.synthetic_faults import Recording, inject, make_recording
from app.numerics.faults import FaultKind, FaultRole
from app.numerics.metrics import ChannelMetrics
from app.numerics.recording import RecordingAnalysis, analyse_recording, spell_fault
from app.numerics.uncertainty import ChannelUncertainty
from app.numerics.values import CannotSay
from tests.numerics.recordings import CHAIN, TARGETS
from tests.numerics.recordings import ROLES as SITE_ROLES

ROLES = {**SITE_ROLES, "adjacent": FaultRole.ADJACENT}
SEEDS = range(4)
WEIGHED = tuple(field.name for field in fields(ChannelUncertainty))
LEFT_OUT = {
    FaultKind.OPEN_CIRCUIT,
    FaultKind.SHORT_CIRCUIT,
    FaultKind.FLAT_LINE,
    FaultKind.REVERSED_POLARITY,
    FaultKind.LOOSE_JUNCTION,
    FaultKind.SWAPPED,
}


def _analyse(recording: Recording) -> RecordingAnalysis:
    return analyse_recording(
        recording.time_s,
        recording.channels_c,
        roles=ROLES,
        targets=TARGETS,
        chains=dict.fromkeys(recording.channels_c, CHAIN),
    )


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", FaultKind)
def test_a_fault_takes_away_what_it_must_and_nothing_from_the_others(
    kind: FaultKind, seed: int
) -> None:
    dice = np.random.default_rng((seed, 417))
    recording = make_recording(dice)
    sound, injected = _analyse(recording), inject(dice, recording, kind)
    found = _analyse(injected.recording)
    # Some reversed channels fall so low that a logger would mean an open wire by it.
    beside = {FaultKind.OPEN_CIRCUIT} if kind is FaultKind.REVERSED_POLARITY else set()
    assert {kind} <= {fault.kind for fault in found.faults} <= {kind} | beside
    accused = {fault.channel for fault in found.faults}
    assert set(found.left_out) == (accused if kind in LEFT_OUT else set())
    for name, channel in found.channels.items():
        about = [fault for fault in found.faults if fault.channel in {name, None}]
        for metric in {name for fault in about for name in fault.consequence.unsayable}:
            sentences = [spell_fault(f) for f in about if metric in f.consequence.unsayable]
            told = CannotSay(sentences[0])
            if kind is FaultKind.GAP:
                # It is every channel's, and touches each of them elsewhere.
                everybody = [one.metrics for one in found.channels.values()]
                assert any(getattr(one, metric) == told for one in everybody)
            else:
                assert getattr(channel.metrics, metric) == told
            is_doubted = getattr(channel.metrics, metric) == told
            assert (getattr(channel.uncertainty, metric) == told) is is_doubted
        if not about:
            assert channel == sound.channels[name]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", FaultKind)
def test_a_joint_in_doubt_leaves_no_verdict_on_the_joints_together(
    kind: FaultKind, seed: int
) -> None:
    dice = np.random.default_rng((seed, 418))
    recording = make_recording(dice)
    found = _analyse(inject(dice, recording, kind).recording)
    # A gap or a spike takes away only what it touches.
    joints = {
        name
        for name in ("centre", "corner")
        if name in found.left_out
        or any(
            isinstance(getattr(found.channels[name].metrics, metric), CannotSay)
            for metric in ("peak", "above_liquidus", "area_above_liquidus")
        )
    }
    if joints:
        for outcome in (found.site.metrics.spread, found.site.spread_uncertainty):
            assert isinstance(outcome, CannotSay)
            assert any(name in outcome.reason for name in joints)
    elif kind is not FaultKind.GAP:
        assert found.site.metrics == _analyse(recording).site.metrics


def test_every_metric_has_an_uncertainty_of_its_name() -> None:
    assert set(WEIGHED) < {field.name for field in fields(ChannelMetrics)}
