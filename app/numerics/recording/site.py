"""The joints of a recording together: spread with its uncertainty, all above, and the lift."""

from collections.abc import Mapping
from dataclasses import replace

from app.numerics.lift import LiftJudgement, compute_spread_at_coldest_peak, judge_lift
from app.numerics.metrics import measure_site
from app.numerics.recording.doubts import Doubts
from app.numerics.recording.shapes import SiteAnalysis, Targets
from app.numerics.recording.spread import weigh_difference, weigh_spread
from app.numerics.site import LiftRule
from app.numerics.trace import Trace
from app.numerics.uncertainty import MeasurementUncertainty
from app.numerics.values import CannotSay, Outcome


def analyse_joints(
    traces: Mapping[str, Trace],
    *,
    joints: tuple[str, ...],
    targets: Targets,
    doubts: Mapping[str, Doubts],
    left_out: Mapping[str, str],
    chains: Mapping[str, MeasurementUncertainty],
) -> SiteAnalysis:
    """Measure what the usable channels show together; `doubts` has each of them.

    A joint that is left out, or doubtful in its peak or its time above liquidus, makes spread and
    all-above CannotSay, and names it; so does a channel of the lift rule for the lift.
    """
    rule = targets.lift_rule
    metrics = measure_site(traces, joints=joints, liquidus_c=targets.liquidus_c, lift_rule=rule)
    at_coldest: Outcome = _measure_at_coldest(traces, joints)
    doubt = _find_doubt_of_joints(joints, targets.liquidus_c, doubts, left_out)
    if doubt is not None:
        metrics = replace(metrics, spread=doubt, all_above_liquidus=doubt, all_above_stretches=())
        at_coldest = doubt
    lift: LiftJudgement | None = None
    if rule is not None:
        lift_doubt = _find_doubt_of_lift(rule, doubts, left_out)
        if lift_doubt is not None:
            metrics = replace(metrics, lift=lift_doubt)
        if targets.lifted_at_s is not None:
            lift = judge_lift(rule, traces, lifted_at_s=targets.lifted_at_s)
            if lift_doubt is not None:
                lift = LiftJudgement(targets.lifted_at_s, lift_doubt, lift_doubt, None, lift_doubt)
    members = {name: traces[name] for name in joints if name in traces}
    return SiteAnalysis(
        metrics=metrics,
        spread_uncertainty=weigh_spread(members, metrics.spread, chains),
        spread_at_coldest_peak=at_coldest,
        spread_at_coldest_peak_uncertainty=weigh_difference(members, at_coldest, chains),
        lift=lift,
    )


def _measure_at_coldest(traces: Mapping[str, Trace], joints: tuple[str, ...]) -> Outcome:
    absent = [name for name in joints if name not in traces]
    if absent:
        return CannotSay(f"Joint channel {absent[0]} has no readings.")
    return compute_spread_at_coldest_peak([traces[name] for name in joints])


def _find_doubt_of_joints(
    joints: tuple[str, ...],
    liquidus_c: float,
    doubts: Mapping[str, Doubts],
    left_out: Mapping[str, str],
) -> CannotSay | None:
    for name in joints:
        if name in left_out:
            return CannotSay(f"Joint channel {name} is {_spell_left_out(left_out[name])}")
    for name in joints:
        if name not in doubts:
            continue
        doubt = doubts[name].find_about_peak() or doubts[name].find_about_hot(liquidus_c)
        if doubt is not None:
            return CannotSay(f"Joint channel {name}: {doubt.reason}")
    return None


def _find_doubt_of_lift(
    rule: LiftRule, doubts: Mapping[str, Doubts], left_out: Mapping[str, str]
) -> CannotSay | None:
    for name in rule.channels:
        if name in left_out:
            return CannotSay(
                f"Channel {name} of the lift rule is {_spell_left_out(left_out[name])}"
            )
    for name in rule.channels:
        doubt = doubts[name].find_about_above(rule.above_c) if name in doubts else None
        if doubt is not None:
            return CannotSay(f"Channel {name} of the lift rule: {doubt.reason}")
    return None


def _spell_left_out(reason: str) -> str:
    # Some reasons say it themselves.
    return reason if reason.startswith("left out") else f"left out. {reason}"
