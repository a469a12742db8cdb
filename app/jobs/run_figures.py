"""What one run's trace amounts to: faults, every metric with its uncertainty, and the verdict."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from app.jobs.rules import StepKind
from app.numerics.faults import FaultRole
from app.numerics.metrics import SiteMetrics
from app.numerics.recording import RecordingAnalysis, Targets, analyse_recording
from app.numerics.site import LiftRule
from app.numerics.zones import ZonePlan
from app.plant.measuring import (
    ASSUMED_CHAIN,
    ChannelCorrection,
    MeasuringChain,
    find_correction,
    make_measurement,
)
from app.recipes.body.heating import LiftRule as BodyLiftRule
from app.recipes.body.heating import Zone
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.setup import Thermocouple
from app.recipes.body.window import Metric, Window
from app.recipes.verdict import ChannelReading, Verdict, judge, list_lift_channels
from app.traces.files import FindingKind
from app.traces.queries import RecordedChannel, RecordedTrace
from app.traces.rules import ChannelRole

# Raised whenever a definition changes, so that kept figures tell by which one they were made.
# 1: metrics against limits by simple acceptance. 2: faults first, uncertainty, guarded acceptance,
# zones, ceilings, calibration corrections. 3: a lapsed calibration's tolerances count again, the
# window use is the deciding line's, and a passed highest peak decides before other lines outside.
DEFINITIONS: Final = 3

# A column with these was not connected for a while: between its readings nothing is known.
FAULTY: Final = frozenset(
    str(kind)
    for kind in (
        FindingKind.OPEN,
        FindingKind.OVER,
        FindingKind.UNDER,
        FindingKind.ERROR,
        FindingKind.SENTINEL,
        FindingKind.IMPOSSIBLE,
    )
)

# A channel silent for longer than both of these was not there for a while, whatever its file wrote
# in place of its readings; loggers that read some channels less often are not meant. Our own rule.
LONGEST_SILENCE_S: Final = 5.0
LONGEST_SILENCE_OF_USUAL: Final = 10

FAULT_ROLES: Final[Mapping[ChannelRole, FaultRole]] = {
    ChannelRole.JOINT_CENTRE: FaultRole.JOINT,
    ChannelRole.JOINT_CORNER: FaultRole.JOINT,
    ChannelRole.BODY: FaultRole.BODY,
    ChannelRole.BOARD: FaultRole.BOARD,
    ChannelRole.ADJACENT: FaultRole.ADJACENT,
    ChannelRole.AIR: FaultRole.AIR,
}


@dataclass(frozen=True)
class UsedChannel:
    """How a channel's readings were taken: K added to each, and their last digit in K."""

    correction: ChannelCorrection | None
    resolution_k: float


@dataclass(frozen=True, eq=False)
class RunFigures:
    """The metrics of the usable channels, of the site, the faults and the verdict.

    `faults` says why a channel is left out. `chain` is what the uncertainty was reckoned with;
    `is_assumed` that nobody had described one. `ceilings_c` are the upper limits of the peak that
    channels beside the joints were held against.
    """

    channels: tuple[ChannelReading, ...]
    analysis: RecordingAnalysis
    faults: Mapping[str, str]
    verdict: Verdict
    chain: MeasuringChain
    is_assumed: bool
    used: Mapping[str, UsedChannel]
    zones: tuple[ZonePlan, ...]
    ceilings_c: Mapping[str, tuple[float, ...]]

    @property
    def site(self) -> SiteMetrics:
        """What the joints show together."""
        return self.analysis.site.metrics


def analyse_run(
    body: RecipeBody,
    recorded: RecordedTrace,
    *,
    findings: Iterable[Mapping[str, Any]],
    step: StepKind,
    chain: MeasuringChain | None = None,
    lifted_at_s: float | None = None,
) -> RunFigures:
    """Compute a trace's metrics by the recipe's own definitions and hold them against its window.

    A removal is held against the window's upper limits alone: its lower ones are about a joint
    that is to last. `chain` is the bench's, None where none is described; `lifted_at_s` the moment
    on the trace's axis at which the part was lifted, where somebody said so.
    """
    window = body.window if step is not StepKind.REMOVE else drop_lower_limits(body.window)
    return analyse_trace(
        recorded,
        window=window,
        plan=body.thermocouples,
        lift_rule=body.lift_rule,
        findings=findings,
        zones=plan_zones(body.zones),
        chain=chain,
        lifted_at_s=lifted_at_s,
    )


def analyse_trace(
    recorded: RecordedTrace,
    *,
    window: Window,
    plan: Sequence[Thermocouple],
    lift_rule: BodyLiftRule | None,
    findings: Iterable[Mapping[str, Any]],
    zones: tuple[ZonePlan, ...] = (),
    chain: MeasuringChain | None = None,
    lifted_at_s: float | None = None,
    times_above_c: tuple[float, ...] = (),
) -> RunFigures:
    """Compute a trace's metrics by the window's own definitions and hold them against its limits.

    A channel that was open, silent, out of range or otherwise faulty is left out and named. `plan`
    says which channels no verdict can do without; without a lift rule no moment of lifting is
    found. `times_above_c` are asked of every channel. Corrections of the chain are added to the
    readings of their channels; without a chain ASSUMED_CHAIN stands in. Raises NumericsError for
    arrays that are no recording.
    """
    known = ASSUMED_CHAIN if chain is None else chain
    used = {
        one.name: UsedChannel(find_correction(known, one.name), find_resolution_k(one))
        for one in recorded.channels
    }
    roles = {one.name: one.role for one in recorded.channels}
    ceilings_c = _list_ceilings(window, roles)
    analysis = analyse_recording(
        recorded.time_s,
        {one.name: _correct(one, used[one.name]) for one in recorded.channels},
        roles={name: FAULT_ROLES.get(role, FaultRole.UNKNOWN) for name, role in roles.items()},
        targets=Targets(
            liquidus_c=window.liquidus_c,
            soak_min_c=window.soak_min_c,
            soak_max_c=window.soak_max_c,
            ramp_window_s=window.ramp_window_s,
            classification_c=window.classification_c,
            times_above_c=times_above_c,
            ceilings_c=ceilings_c,
            zones=zones,
            lift_rule=None
            if lift_rule is None
            else LiftRule(list_lift_channels(lift_rule, roles), lift_rule.above_c, lift_rule.for_s),
            lifted_at_s=lifted_at_s,
        ),
        chains={
            name: make_measurement(known, channel=name, resolution_k=one.resolution_k)
            for name, one in used.items()
        },
        excluded=list_faults(recorded, findings),
    )
    readings = tuple(
        ChannelReading(name, roles[name], one.metrics, one.uncertainty)
        for name, one in analysis.channels.items()
    )
    return RunFigures(
        channels=readings,
        analysis=analysis,
        faults=analysis.left_out,
        verdict=judge(
            window, plan=plan, channels=readings, site=analysis.site, faults=analysis.left_out
        ),
        chain=known,
        is_assumed=chain is None,
        used=used,
        zones=zones,
        ceilings_c=ceilings_c,
    )


def drop_lower_limits(window: Window) -> Window:
    """Return the window with its upper limits alone; a limit that had only a lower one is gone."""
    kept = tuple(
        limit.model_copy(update={"lower": None})
        for limit in window.limits
        if limit.upper is not None
    )
    return window.model_copy(update={"limits": kept})


def plan_zones(zones: Iterable[Zone]) -> tuple[ZonePlan, ...]:
    """Return a recipe's zones laid from the start of a trace, each with its top heater's setting.

    A heater that is off sets nothing.
    """
    planned, ends_at_s = [], 0.0
    for zone in zones:
        ends_at_s += zone.time_s
        planned.append(ZonePlan(str(zone.name), ends_at_s, zone.top_c))
    return tuple(planned)


def find_resolution_k(channel: RecordedChannel) -> float:
    """Return what the last digit of a channel's column stands for, in K; of its emf if computed."""
    return channel.column.resolution_k


def list_faults(recorded: RecordedTrace, findings: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """Return channel → why it is left out: what its file says is wrong, or its silence."""
    names = {channel.column.index: channel.name for channel in recorded.channels}
    # Channels with every reading are silent for as long as the recording itself, all alike.
    whole = [channel for channel in recorded.channels if not channel.column.missing.any()]
    together = find_silence_s(recorded.time_s, whole[0].column.missing) if whole else None
    silences = {
        channel.name: together
        if channel in whole
        else find_silence_s(recorded.time_s, channel.column.missing)
        for channel in recorded.channels
    }
    return {
        name: f"left out: no reading for {silence_s:.1f} s"
        for name, silence_s in silences.items()
        if silence_s is not None
    } | {
        names[finding["column"]]: f"left out: {finding['sentence']}"
        for finding in findings
        if finding["kind"] in FAULTY and finding["column"] in names
    }


def find_silence_s(time_s: NDArray[np.float64], missing: NDArray[np.bool_]) -> float | None:
    """Return a channel's longest time without a reading, in s, where that is a fault, else None.

    It is one when it is longer than 5 s and than ten times the channel's usual gap between two
    readings; before the first reading and after the last one count too.
    """
    there = time_s[~missing]
    if there.size == 0:
        return float(time_s[-1] - time_s[0])
    longest_s = float(np.diff(there, prepend=time_s[0], append=time_s[-1]).max())
    usual_s = float(np.median(np.diff(there))) if there.size > 1 else 0.0
    is_fault = longest_s > max(LONGEST_SILENCE_S, LONGEST_SILENCE_OF_USUAL * usual_s)
    return longest_s if is_fault else None


def _correct(channel: RecordedChannel, used: UsedChannel) -> NDArray[np.float64]:
    readings = channel.recorded_c()
    return readings if used.correction is None else readings + used.correction.correction_k


def _list_ceilings(
    window: Window, roles: Mapping[str, ChannelRole]
) -> dict[str, tuple[float, ...]]:
    """Return the upper limits of the peak of every channel that is no joint."""
    upper: dict[ChannelRole, list[float]] = {}
    for limit in window.limits:
        if limit.metric is Metric.PEAK_C and limit.upper is not None:
            for role in limit.roles:
                upper.setdefault(role, []).append(limit.upper)
    return {
        name: tuple(upper[role])
        for name, role in roles.items()
        if role in upper and not role.is_joint
    }
