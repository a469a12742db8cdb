"""Fault finding over made-up runs: every fault put in is found, and nothing else is."""

import numpy as np
import pytest

from app.measure.fault_rates import is_false, is_found, measure_fault_rates
from app.measure.synthetic_faults import ROLES, Injected, inject, make_recording
from app.numerics.faults import ChannelFault, FaultKind, find_faults

SEED = 417


def test_every_fault_is_found_and_no_sound_channel_is_accused_in_a_few_hundred_runs() -> None:
    rates = measure_fault_rates(330, SEED)
    assert rates.found == dict.fromkeys(FaultKind, 1.0)
    assert rates.false_alarms == 0.0
    assert rates.cut_accused == 0.0
    assert rates.warm_accused == 0.0
    assert rates.sound_channels_accused == 0.0


def test_the_same_seed_gives_the_same_rates() -> None:
    assert measure_fault_rates(22, SEED) == measure_fault_rates(22, SEED)


@pytest.mark.parametrize("kind", FaultKind)
def test_a_fault_that_is_not_told_counts_as_missed(kind: FaultKind) -> None:
    dice = np.random.default_rng(SEED)
    injected = inject(dice, make_recording(dice), kind)
    faults = find_faults(injected.recording.time_s, injected.recording.channels_c, roles=ROLES)
    assert is_found(injected, faults)
    assert not is_found(injected, [fault for fault in faults if fault.kind is not kind])
    assert not is_found(injected, ())


def test_a_made_up_fault_changes_the_recording() -> None:
    dice = np.random.default_rng(SEED)
    sound = make_recording(dice)
    assert find_faults(sound.time_s, sound.channels_c, roles=ROLES) == ()
    injected = inject(dice, sound, FaultKind.FLAT_LINE)
    assert injected.channel is not None
    first, last = injected.spans[0]
    assert np.ptp(injected.recording.channels_c[injected.channel][first : last + 1]) == 0.0
    assert np.ptp(sound.channels_c[injected.channel][first : last + 1]) > 0.0


def test_an_alarm_on_another_channel_is_false() -> None:
    dice = np.random.default_rng(SEED)
    injected: Injected = inject(dice, make_recording(dice), FaultKind.REVERSED_POLARITY)
    (fault,) = find_faults(injected.recording.time_s, injected.recording.channels_c, roles=ROLES)
    assert not is_false(injected, fault)
    elsewhere = ChannelFault(fault.kind, "another", fault.evidence, fault.consequence)
    assert is_false(injected, elsewhere)
