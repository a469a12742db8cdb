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
            assert getattr(channel.metrics, metric) == CannotSay(sentences[0])
            assert getattr(channel.uncertainty, metric) == CannotSay(sentences[0])
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
    # A short gap far below the peak is told and takes nothing away.
    accused = {fault.channel for fault in found.faults if fault.consequence.unsayable}
    joints = accused & {"centre", "corner", None}
    if joints:
        for outcome in (found.site.metrics.spread, found.site.spread_uncertainty):
            assert isinstance(outcome, CannotSay)
            assert all(name is None or name in outcome.reason for name in joints)
    else:
        assert found.site.metrics == _analyse(recording).site.metrics


def test_every_metric_has_an_uncertainty_of_its_name() -> None:
    assert set(WEIGHED) < {field.name for field in fields(ChannelMetrics)}
