"""What must not change the analysis of a recording, tried on made-up runs of random parts."""

import dataclasses
import math
from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from app.measure.synthetic_faults import Recording, inject, make_recording
from app.numerics.crossings import TimeAbove
from app.numerics.faults import FaultKind, FaultRole
from app.numerics.recording import RecordingAnalysis, Targets, analyse_recording
from app.numerics.site import LiftRule
from app.numerics.values import Measured, Unit
from app.numerics.zones import ZonePlan
from tests.numerics.recordings import CHAIN

ROLES: Final = {
    "centre": FaultRole.JOINT,
    "corner": FaultRole.JOINT,
    "body": FaultRole.BODY,
    "board": FaultRole.BOARD,
    "adjacent": FaultRole.ADJACENT,
}
SEEDS: Final = st.integers(0, 10_000)
LIFTED_AT_S: Final = 200.0
TARGETS: Final = Targets(
    liquidus_c=217.0,
    soak_min_c=150.0,
    soak_max_c=200.0,
    classification_c=245.0,
    times_above_c=(100.0, 230.0),
    ceilings_c={"body": (230.0,), "adjacent": (120.0,)},
    zones=(ZonePlan("preheat", 60.0, 150.0), ZonePlan("soak", 100.5, 180.0)),
    lift_rule=LiftRule(("centre", "corner"), 217.0, 5.0),
    lifted_at_s=LIFTED_AT_S,
)
MOMENTS: Final = frozenset({"at_s", "until_s", "start_s", "end_s", "starts_at_s", "ends_at_s"})
# How often a recording is sampled is not what it measured.
SAMPLING: Final = frozenset({"reading_count", "longest_gap_s", "noise_k"})


def _analyse(recording: Recording, targets: Targets = TARGETS) -> RecordingAnalysis:
    chains = dict.fromkeys(recording.channels_c, CHAIN)
    return analyse_recording(
        recording.time_s, recording.channels_c, roles=ROLES, targets=targets, chains=chains
    )


def _retime(recording: Recording, *, shift_s: float = 0.0) -> Recording:
    """Put the samples on quarters of a second, so that shifting them is exact."""
    quarters = np.arange(recording.time_s.size) / 4.0
    return dataclasses.replace(recording, time_s=quarters + shift_s)


def _unround(recording: Recording, seed: int) -> Recording:
    """Take away the digits, so that no two windows or readings are equal."""
    dice = np.random.default_rng(seed)
    return dataclasses.replace(
        recording,
        channels_c={
            name: values + dice.uniform(-0.05, 0.05, values.size)
            for name, values in recording.channels_c.items()
        },
    )


def _cut(recording: Recording, part: slice) -> Recording:
    return dataclasses.replace(
        recording,
        time_s=recording.time_s[part],
        channels_c={name: values[part] for name, values in recording.channels_c.items()},
    )


def _list_leaves(value: object, path: tuple[str, ...] = ()) -> Iterator[tuple[str, object]]:
    """List every number of an analysis by its path; of sentences only that they are there."""
    if isinstance(value, Measured) and value.unit is Unit.SECOND and value.value == value.at_s:
        # A moment, such as that at which all are above, is a value as well.
        yield "/".join((*path, "value", "at_s")), value.value
        yield "/".join((*path, "at_s")), value.at_s
    elif dataclasses.is_dataclass(value):
        yield "/".join((*path, "type")), type(value).__name__
        for field in dataclasses.fields(value):
            yield from _list_leaves(getattr(value, field.name), (*path, field.name))
    elif isinstance(value, Mapping):
        for key, one in value.items():
            yield from _list_leaves(one, (*path, str(key)))
    elif isinstance(value, tuple):
        for place, one in enumerate(value):
            yield from _list_leaves(one, (*path, str(place)))
    elif path[-1] != "reason" and path[0] != "left_out":
        yield "/".join(path), value


def _check_same(
    found: RecordingAnalysis,
    expected: RecordingAnalysis,
    *,
    later_s: float = 0.0,
    apart_from: frozenset[str] = frozenset(),
) -> None:
    assert found.left_out.keys() == expected.left_out.keys()
    left, right = dict(_list_leaves(found)), dict(_list_leaves(expected))
    assert left.keys() == right.keys()
    for path, value in left.items():
        other, last = right[path], path.rsplit("/", 1)[-1]
        if last in apart_from:
            continue
        if isinstance(value, float) and isinstance(other, float):
            shift_s = later_s if last in MOMENTS or last == "lifted_at_s" else 0.0
            assert math.isclose(value - shift_s, other, rel_tol=1e-9, abs_tol=1e-7), path
        else:
            assert value == other, path


@settings(max_examples=25)
@given(seed=SEEDS, shift_s=st.integers(-100_000, 100_000), kind=st.sampled_from([*FaultKind, None]))
def test_shifting_time_changes_nothing_but_the_moments(
    seed: int, shift_s: int, kind: FaultKind | None
) -> None:
    """Without the digits of a logger: two moments may be equally wide apart by them."""
    dice = np.random.default_rng(seed)
    recording = _unround(_retime(make_recording(dice)), seed)
    if kind is not None:
        recording = inject(dice, recording, kind).recording
    later = dataclasses.replace(
        TARGETS,
        zones=tuple(
            dataclasses.replace(zone, ends_at_s=zone.ends_at_s + shift_s) for zone in TARGETS.zones
        ),
        zones_start_s=float(shift_s),
        lifted_at_s=LIFTED_AT_S + shift_s,
    )
    shifted = dataclasses.replace(recording, time_s=recording.time_s + shift_s)
    _check_same(_analyse(shifted, later), _analyse(recording), later_s=float(shift_s))


@settings(max_examples=25)
@given(seed=SEEDS, every=st.integers(1, 7))
def test_samples_added_on_the_line_change_no_metric(seed: int, every: int) -> None:
    """Faults may see more: runs of even steps look unlike noise. Such runs are passed over."""
    recording = _unround(_retime(make_recording(np.random.default_rng(seed))), seed)
    extra_s = recording.time_s[:-1:every] + 0.125
    time_s = np.union1d(recording.time_s, extra_s)
    denser = dataclasses.replace(
        recording,
        time_s=time_s,
        channels_c={
            name: np.interp(time_s, recording.time_s, values)
            for name, values in recording.channels_c.items()
        },
    )
    first, second = (
        analyse_recording(one.time_s, one.channels_c, roles=ROLES, targets=TARGETS)
        for one in (recording, denser)
    )
    assume(not first.faults and not second.faults)
    _check_same(second, first, apart_from=SAMPLING)


@settings(max_examples=25)
@given(seed=SEEDS, share=st.floats(0.2, 0.8))
def test_two_parts_of_a_recording_show_together_what_it_shows(seed: int, share: float) -> None:
    recording = make_recording(np.random.default_rng(seed))
    place = int(share * recording.time_s.size)
    whole, *parts = (
        _analyse(_cut(recording, part))
        for part in (slice(None), slice(0, place + 1), slice(place, None))
    )
    assume(not any(one.faults for one in (whole, *parts)))
    for name, channel in whole.channels.items():
        shown = [part.channels[name] for part in parts]
        assert _value(channel.metrics.peak) == max(_value(one.metrics.peak) for one in shown)
        assert _value(channel.metrics.area_above_liquidus) == pytest.approx(
            sum(_value(one.metrics.area_above_liquidus) for one in shown)
        )
        for number, above in enumerate(channel.times_above):
            assert _total(above) == pytest.approx(
                sum(_total(one.times_above[number]) for one in shown)
            )
    spreads = [part.site.metrics.spread for part in parts]
    assert _value(whole.site.metrics.spread) == pytest.approx(
        max(one.value for one in spreads if isinstance(one, Measured))
    )


def _value(outcome: object) -> float:
    assert isinstance(outcome, Measured)
    return outcome.value


def _total(above: object) -> float:
    assert isinstance(above, TimeAbove)
    return above.total.value


@settings(max_examples=25)
@given(
    seed=SEEDS,
    kind=st.sampled_from([*FaultKind, None]),
    order=st.permutations(["centre", "corner", "body", "board", "adjacent"]),
)
def test_the_order_of_channels_changes_nothing(
    seed: int, kind: FaultKind | None, order: list[str]
) -> None:
    dice = np.random.default_rng(seed)
    recording = make_recording(dice)
    if kind is not None:
        recording = inject(dice, recording, kind).recording
    channels = recording.channels_c
    ordered = {name: channels[name] for name in order if name in channels}
    first, second = (
        _analyse(recording),
        _analyse(dataclasses.replace(recording, channels_c=ordered)),
    )
    assert second.channels == first.channels
    assert second.site == first.site
    assert second.left_out == first.left_out
    assert set(second.faults) == set(first.faults)
