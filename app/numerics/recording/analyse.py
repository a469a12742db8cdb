"""The pipeline: faults first, then metrics of what is left, then their uncertainty."""

from collections.abc import Iterable, Mapping

from numpy.typing import ArrayLike

from app.numerics.faults import ChannelFault, FaultRole, Readings, inspect_recording
from app.numerics.recording.channel import add_noise, analyse_one
from app.numerics.recording.doubts import list_doubts, narrow_fault
from app.numerics.recording.shapes import RecordingAnalysis, Targets
from app.numerics.recording.site import analyse_joints
from app.numerics.recording.spelling import spell_fault
from app.numerics.trace import Memory, Trace
from app.numerics.uncertainty import MeasurementUncertainty


def analyse_recording(
    time_s: ArrayLike,
    channels_c: Mapping[str, ArrayLike],
    *,
    roles: Mapping[str, FaultRole],
    targets: Targets,
    chains: Mapping[str, MeasurementUncertainty] | None = None,
    excluded: Mapping[str, str] | None = None,
    air_c: float | None = None,
) -> RecordingAnalysis:
    """Find the faults of a recording, then measure every channel that is usable, and the site.

    `time_s` are moments in s in the order recorded, `channels_c` °C on the same samples, NaN = no
    reading. `roles` may name joints that are not there: what needs every joint then cannot be
    said. `excluded` names channels that are left out already, with the reason; they are not looked
    at. `chains` are the measuring chains by channel; the estimated noise takes the place of theirs
    when it is larger. `air_c` is the room in °C, estimated when None.

    Samples that do not rise in time are left out. Raises MalformedArrays for arrays that are no
    recording, UnusableLimit, UnusableWindow and UnusableZones for targets that cannot be measured.
    """
    given = dict(excluded or {})
    inspected = inspect_recording(
        time_s,
        {name: values for name, values in channels_c.items() if name not in given},
        roles=roles,
        air_c=air_c,
    )
    left_out = given | _list_left_out(inspected.faults)
    usable = {name: one for name, one in inspected.readings.items() if name not in left_out}
    traces = _make_traces(inspected.sample_count, usable)
    doubts = {name: list_doubts(inspected.faults, name, trace) for name, trace in traces.items()}
    noisy = {
        name: add_noise(chain, usable[name].noise_k)
        for name, chain in (chains or {}).items()
        if name in usable
    }
    channels = {
        name: analyse_one(
            traces[name],
            targets=targets,
            ceilings_c=targets.ceilings_c.get(name, ()),
            doubts=doubts[name],
            noise_k=readings.noise_k,
            chain=noisy.get(name),
        )
        for name, readings in usable.items()
    }
    measured = {name: one.metrics for name, one in channels.items()}
    return RecordingAnalysis(
        channels=channels,
        site=analyse_joints(
            traces,
            joints=tuple(name for name, role in roles.items() if role is FaultRole.JOINT),
            targets=targets,
            doubts=doubts,
            left_out=left_out,
            chains=noisy,
        ),
        faults=tuple(narrow_fault(fault, measured) for fault in inspected.faults),
        left_out=left_out,
    )


def _list_left_out(faults: Iterable[ChannelFault]) -> dict[str, str]:
    left_out: dict[str, str] = {}
    for fault in faults:
        if fault.channel is not None and fault.consequence.is_left_out:
            left_out.setdefault(fault.channel, spell_fault(fault))
    return left_out


def _make_traces(sample_count: int, channels: Mapping[str, Readings]) -> dict[str, Trace]:
    # Channels that miss no reading stand on one and the same array of moments.
    clocks = {id(readings.time_s): Memory() for readings in channels.values()}
    return {
        name: Trace(
            time_s=readings.time_s,
            temperature_c=readings.value_c,
            missing_count=sample_count - readings.value_c.size,
            clock=clocks[id(readings.time_s)],
        )
        for name, readings in channels.items()
    }
