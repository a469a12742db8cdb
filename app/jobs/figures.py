"""What one run's trace amounts to: every metric, the verdict, and the same as JSON to keep."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from app.jobs.rules import StepKind
from app.jobs.scales import Scale
from app.numerics.crossings import TimeAbove
from app.numerics.metrics import ChannelMetrics, SiteMetrics, analyse_channel, analyse_site
from app.numerics.site import LiftRule
from app.numerics.values import CannotSay, Measured, NotReached, Outcome
from app.recipes.body.heating import LiftRule as BodyLiftRule
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.setup import Thermocouple
from app.recipes.body.window import Window
from app.recipes.verdict import ChannelReading, Verdict, VerdictLine, judge, list_lift_channels
from app.traces.files import FindingKind
from app.traces.queries import RecordedTrace

# Raised whenever a definition changes, so that kept figures tell by which one they were made.
DEFINITIONS: Final = 1

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

CHANNEL_FIGURES: Final[Mapping[str, str]] = {
    "peak": "Peak",
    "above_liquidus": "Time above liquidus",
    "area_above_liquidus": "Area above liquidus",
    "maximum_ramp": "Maximum ramp",
    "average_ramp": "Average ramp, liquidus to peak",
    "soak_time": "Soak time",
    "average_cooling": "Cooling rate, peak to liquidus",
    "maximum_fall": "Maximum fall",
    "time_25_c_to_peak": "25 °C to peak",
    "near_classification": "Time within 5 °C of classification",
}


@dataclass(frozen=True)
class RunFigures:
    """The metrics of the usable channels, of the site, the faults and the verdict."""

    channels: tuple[ChannelReading, ...]
    site: SiteMetrics
    faults: Mapping[str, str]
    verdict: Verdict


def analyse_run(
    body: RecipeBody,
    recorded: RecordedTrace,
    *,
    findings: Iterable[Mapping[str, Any]],
    step: StepKind,
) -> RunFigures:
    """Compute a trace's metrics by the recipe's own definitions and hold them against its window.

    A channel that was open, silent or out of range for a while is left out and named. A removal
    is held against the window's upper limits alone: its lower ones are about a joint that is to
    last.
    """
    window = body.window if step is not StepKind.REMOVE else drop_lower_limits(body.window)
    return analyse_trace(
        recorded,
        window=window,
        plan=body.thermocouples,
        lift_rule=body.lift_rule,
        findings=findings,
    )


def analyse_trace(
    recorded: RecordedTrace,
    *,
    window: Window,
    plan: Sequence[Thermocouple],
    lift_rule: BodyLiftRule | None,
    findings: Iterable[Mapping[str, Any]],
) -> RunFigures:
    """Compute a trace's metrics by the window's own definitions and hold them against its limits.

    A channel that was open, silent or out of range for a while is left out and named. `plan` says
    which channels no verdict can do without; without a lift rule no moment of lifting is found.
    """
    faults = list_faults(recorded, findings)
    usable = [channel for channel in recorded.channels if channel.name not in faults]
    temperatures = {channel.name: channel.temperature_c() for channel in usable}
    readings = tuple(
        ChannelReading(
            channel.name,
            channel.role,
            analyse_channel(
                recorded.time_s,
                temperatures[channel.name],
                liquidus_c=window.liquidus_c,
                soak_min_c=window.soak_min_c,
                soak_max_c=window.soak_max_c,
                ramp_window_s=window.ramp_window_s,
                classification_c=window.classification_c,
            ),
        )
        for channel in usable
    )
    roles = {channel.name: channel.role for channel in usable}
    site = analyse_site(
        recorded.time_s,
        temperatures,
        joints=tuple(name for name, role in roles.items() if role.is_joint),
        liquidus_c=window.liquidus_c,
        lift_rule=None
        if lift_rule is None
        else LiftRule(list_lift_channels(lift_rule, roles), lift_rule.above_c, lift_rule.for_s),
    )
    verdict = judge(window, plan=plan, channels=readings, site=site, faults=faults)
    return RunFigures(readings, site, faults, verdict)


def drop_lower_limits(window: Window) -> Window:
    """Return the window with its upper limits alone; a limit that had only a lower one is gone."""
    kept = tuple(
        limit.model_copy(update={"lower": None})
        for limit in window.limits
        if limit.upper is not None
    )
    return window.model_copy(update={"limits": kept})


def list_faults(recorded: RecordedTrace, findings: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """Return channel → why it is left out: what its file says is wrong, or its silence."""
    names = {channel.column.index: channel.name for channel in recorded.channels}
    silences = {
        channel.name: find_silence_s(recorded.time_s, channel.column.missing)
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


def describe_figures(figures: RunFigures) -> dict[str, Any]:
    """Return the figures as the JSON that is kept with the run."""
    return {
        "definitions": DEFINITIONS,
        "channels": [
            {
                "name": reading.name,
                "role": str(reading.role),
                **describe_channel(reading.metrics),
            }
            for reading in figures.channels
        ],
        "site": {
            "spread": describe_outcome(figures.site.spread),
            "all_above_liquidus": describe_outcome(figures.site.all_above_liquidus),
            "lift": None if figures.site.lift is None else describe_outcome(figures.site.lift),
        },
        "faults": dict(figures.faults),
        "verdict": {
            "state": str(figures.verdict.state),
            "window_use_pct": figures.verdict.window_use_pct,
            "deciding": _describe_line(figures.verdict.deciding),
            "lines": [_describe_line(line) for line in figures.verdict.lines],
            "left_out": list(figures.verdict.left_out),
        },
    }


def describe_channel(metrics: ChannelMetrics) -> dict[str, Any]:
    """Return one channel's metrics as JSON: name → outcome, and how many readings there were."""
    figures: dict[str, Any] = {
        "reading_count": metrics.reading_count,
        "missing_count": metrics.missing_count,
        "ramp_window_s": metrics.ramp_window_s,
    }
    for name in CHANNEL_FIGURES:
        outcome = getattr(metrics, name)
        if isinstance(outcome, TimeAbove):
            figures[name] = {
                **describe_outcome(outcome.total),
                "longest": describe_outcome(outcome.longest),
                "threshold_c": outcome.threshold_c,
            }
        else:
            figures[name] = None if outcome is None else describe_outcome(outcome)
    return figures


def describe_outcome(outcome: Outcome) -> dict[str, Any]:
    """Return an outcome as JSON: a value, or why there is none."""
    match outcome:
        case Measured():
            return {
                "value": outcome.value,
                "unit": str(outcome.unit),
                "at_s": outcome.at_s,
                "is_censored": outcome.is_censored,
            }
        case NotReached():
            return {"not_reached": outcome.reason}
        case CannotSay():
            return {"cannot_say": outcome.reason}


def spell_outcome(said: Mapping[str, Any] | None, *, scale: Scale = Scale.CELSIUS) -> str:
    """Spell a kept outcome for people: `238.4 °C`, `not reached`, `cannot say`; `–` for none."""
    if said is None:
        return "–"
    if "value" not in said:
        return "not reached" if "not_reached" in said else "cannot say"
    more = "at least " if said["is_censored"] and said["unit"] != "K/s" else ""
    return f"{more}{scale.spell(said['value'], said['unit'])}"


def _describe_line(line: VerdictLine | None) -> dict[str, Any] | None:
    if line is None:
        return None
    return {
        "metric": str(line.metric),
        "channel": line.channel,
        "value": line.value,
        "unit": line.unit,
        "lower": line.lower,
        "upper": line.upper,
        "state": str(line.state),
        "window_use_pct": line.window_use_pct,
        "reason": line.reason,
        "at_s": line.at_s,
    }
