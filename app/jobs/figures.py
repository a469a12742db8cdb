"""A run's figures as the JSON that is kept with it, and spelt back for people."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from app.jobs.run_figures import (
    DEFINITIONS,
    RunFigures,
    analyse_run,
    analyse_trace,
    find_silence_s,
    list_faults,
)
from app.jobs.scale_words import spell_on_scale
from app.jobs.scales import Scale
from app.numerics.crossings import TimeAbove
from app.numerics.faults import ChannelFault
from app.numerics.lift import LiftJudgement
from app.numerics.metrics import ChannelMetrics
from app.numerics.recording import ChannelAnalysis, SiteAnalysis, spell_fault
from app.numerics.uncertainty import (
    ChannelUncertainty,
    Expanded,
    TimeAboveUncertainty,
    Uncertainty,
)
from app.numerics.values import CannotSay, Measured, NotReached, Outcome
from app.numerics.zones import ZoneMetrics
from app.plant.measuring import MeasuringChain, list_lapses, parse_used_chain, spell_chain
from app.recipes.verdict import Verdict, VerdictLine

__all__ = [
    "CHANNEL_FIGURES",
    "DEFINITIONS",
    "RunFigures",
    "analyse_run",
    "analyse_trace",
    "describe_channel",
    "describe_figures",
    "describe_line",
    "describe_outcome",
    "describe_site",
    "describe_time_above",
    "describe_verdict",
    "find_kept_chain",
    "find_kept_lift_s",
    "find_silence_s",
    "list_faults",
    "list_kept_lapses",
    "spell_figure_name",
    "spell_outcome",
]

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
# Slopes that mean nothing without the time they are taken over.
STEEPEST: Final = frozenset({"maximum_ramp", "maximum_fall"})
MOST_STRETCHES: Final = 50
# Parts of an uncertainty below this share of its square are not worth a word.
_LEAST_SHARE_PCT: Final = 1.0


def describe_figures(figures: RunFigures) -> dict[str, Any]:
    """Return the figures as the JSON that is kept with the run."""
    analysis = figures.analysis
    return {
        "definitions": DEFINITIONS,
        "chain": {
            "is_assumed": figures.is_assumed,
            "words": spell_chain(figures.chain),
            "described": figures.chain.model_dump(mode="json"),
        },
        "channels": [
            {
                "name": reading.name,
                "role": str(reading.role),
                **_describe_used(figures, reading.name),
                **describe_channel(reading.metrics, reading.uncertainty),
                "ceilings": _describe_ceilings(
                    figures.ceilings_c.get(reading.name, ()), analysis.channels[reading.name]
                ),
                "zones": _describe_zones(figures, analysis.channels[reading.name].zones),
            }
            for reading in figures.channels
        ],
        "site": describe_site(analysis.site),
        "faults": dict(figures.faults),
        "findings": [describe_fault(fault) for fault in analysis.faults],
        "verdict": describe_verdict(figures.verdict),
    }


def find_kept_chain(figures: Mapping[str, Any] | None) -> MeasuringChain | None:
    """Return the chain that kept figures were made with, None where it was only assumed."""
    kept = (figures or {}).get("chain")
    return None if kept is None or kept["is_assumed"] else parse_used_chain(kept["described"])


def list_kept_lapses(figures: Mapping[str, Any] | None) -> tuple[str, ...]:
    """Return one sentence for each calibration that was over when kept figures were made."""
    chain = find_kept_chain(figures)
    return () if chain is None else list_lapses(chain)


def find_kept_lift_s(figures: Mapping[str, Any] | None) -> float | None:
    """Return the moment of the lift that kept figures were made with, or None."""
    lifted = (figures or {}).get("site", {}).get("lifted")
    return None if lifted is None else float(lifted["lifted_at_s"])


def describe_channel(
    metrics: ChannelMetrics, uncertainty: ChannelUncertainty | None = None
) -> dict[str, Any]:
    """Return one channel's metrics as JSON: name → outcome, and how many readings there were."""
    figures: dict[str, Any] = {
        "reading_count": metrics.reading_count,
        "missing_count": metrics.missing_count,
        "ramp_window_s": metrics.ramp_window_s,
    }
    for name in CHANNEL_FIGURES:
        outcome = getattr(metrics, name)
        weighed = None if uncertainty is None else getattr(uncertainty, name)
        if isinstance(outcome, TimeAbove):
            figures[name] = describe_time_above(outcome, weighed)
        else:
            figures[name] = None if outcome is None else describe_outcome(outcome, weighed)
    return figures


def describe_time_above(
    above: TimeAbove, uncertainty: TimeAboveUncertainty | CannotSay | None = None
) -> dict[str, Any]:
    """Return a time above a temperature as JSON: total, longest, and its first 50 stretches."""
    weighed = uncertainty if isinstance(uncertainty, TimeAboveUncertainty) else None
    return {
        **describe_outcome(above.total, weighed.total if weighed else None),
        "longest": describe_outcome(above.longest, weighed.longest if weighed else None),
        "threshold_c": above.threshold_c,
        "stretches": [
            [
                None if one.starts_open else one.start_s,
                None if one.ends_open else one.end_s,
            ]
            for one in above.stretches[:MOST_STRETCHES]
        ],
    }


def describe_site(site: SiteAnalysis) -> dict[str, Any]:
    """Return what the joints show together as JSON."""
    metrics = site.metrics
    return {
        "spread": describe_outcome(metrics.spread, site.spread_uncertainty),
        "spread_at_coldest_peak": describe_outcome(
            site.spread_at_coldest_peak, site.spread_at_coldest_peak_uncertainty
        ),
        "all_above_liquidus": describe_outcome(metrics.all_above_liquidus),
        "lift": None if metrics.lift is None else describe_outcome(metrics.lift),
        "lifted": None if site.lift is None else _describe_lift(site.lift),
    }


def describe_outcome(outcome: Outcome, uncertainty: Uncertainty | None = None) -> dict[str, Any]:
    """Return an outcome as JSON: a value, with U (k = 2) where known, or why there is none."""
    match outcome:
        case Measured():
            described: dict[str, Any] = {
                "value": outcome.value,
                "unit": str(outcome.unit),
                "at_s": outcome.at_s,
                "is_censored": outcome.is_censored,
            }
            if isinstance(uncertainty, Expanded):
                described["expanded"] = _shorten(uncertainty.expanded)
            return described
        case NotReached():
            return {"not_reached": outcome.reason}
        case CannotSay():
            return {"cannot_say": outcome.reason}


def describe_fault(fault: ChannelFault) -> dict[str, Any]:
    """Return a fault as JSON: what and where it is, what shows it, what follows."""
    evidence = fault.evidence
    return {
        "channel": fault.channel,
        "kind": str(fault.kind),
        "partner": fault.partner,
        "sentence": spell_fault(fault),
        "first_sample": evidence.first_sample,
        "last_sample": evidence.last_sample,
        "at_s": evidence.at_s,
        "until_s": evidence.until_s,
        "figures": [
            {
                "name": one.name,
                "value": _shorten(one.value),
                "unit": None if one.unit is None else str(one.unit),
            }
            for one in evidence.figures
        ],
        "is_left_out": fault.consequence.is_left_out,
        "unsayable": list(fault.consequence.unsayable),
    }


def describe_verdict(verdict: Verdict) -> dict[str, Any]:
    """Return the verdict with the rule it was decided by as JSON."""
    return {
        "state": str(verdict.state),
        "rule": str(verdict.rule),
        "window_use_pct": verdict.window_use_pct,
        "deciding": None if verdict.deciding is None else describe_line(verdict.deciding),
        "lines": [describe_line(line) for line in verdict.lines],
        "left_out": list(verdict.left_out),
    }


def describe_line(line: VerdictLine) -> dict[str, Any]:
    """Return one limit held against one channel as JSON."""
    return {
        "metric": str(line.metric),
        "channel": line.channel,
        "role": None if line.role is None else str(line.role),
        "over_s": line.over_s,
        "value": line.value,
        "unit": line.unit,
        "lower": line.lower,
        "upper": line.upper,
        "state": str(line.state),
        "window_use_pct": line.window_use_pct,
        "reason": line.reason,
        "at_s": line.at_s,
        "is_censored": line.is_censored,
        "uncertainty": None if line.uncertainty is None else _describe_budget(line.uncertainty),
    }


def spell_figure_name(
    name: str, *, over_s: Iterable[float] = (), scale: Scale = Scale.CELSIUS
) -> str:
    """Spell a figure's name: `Maximum ramp over 5 s`, with each time that its slopes are over."""
    label = spell_on_scale(CHANNEL_FIGURES[name], scale)
    times = " and ".join(f"{one:g} s" for one in sorted(set(over_s)))
    return f"{label} over {times}" if name in STEEPEST and times else label


def spell_outcome(
    said: Mapping[str, Any] | None, *, scale: Scale = Scale.CELSIUS, with_expanded: bool = False
) -> str:
    """Spell a kept outcome for people: `238.4 °C`, `not reached`, `cannot say`; `–` for none.

    A value has no more digits than its uncertainty deserves; that is added where asked for.
    """
    if said is None:
        return "–"
    if "value" not in said:
        return "not reached" if "not_reached" in said else "cannot say"
    more = "at least " if said.get("is_censored") and said["unit"] != "K/s" else ""
    expanded = said.get("expanded")
    return f"{more}{scale.spell_with(said['value'], said['unit'], expanded, shown=with_expanded)}"


def _describe_used(figures: RunFigures, name: str) -> dict[str, Any]:
    used = figures.used[name]
    return {
        "correction_k": used.correction.correction_k if used.correction else None,
        "resolution_k": _shorten(used.resolution_k),
        "noise_k": _shorten(figures.analysis.channels[name].noise_k),
    }


def _describe_ceilings(
    ceilings_c: tuple[float, ...], channel: ChannelAnalysis
) -> list[dict[str, Any]]:
    """Tell how a channel stands to each ceiling; its headroom is as uncertain as its peak."""
    weighed = channel.ceilings_uncertainty or (None,) * len(ceilings_c)
    peak = None if channel.uncertainty is None else channel.uncertainty.peak
    return [
        {"ceiling_c": ceiling_c, "cannot_say": one.reason}
        if isinstance(one, CannotSay)
        else {
            "ceiling_c": ceiling_c,
            "peak": describe_outcome(one.peak, peak),
            "headroom": describe_outcome(one.headroom, peak),
            "above": describe_outcome(
                one.above.total, above.total if isinstance(above, TimeAboveUncertainty) else None
            ),
            "area_above": describe_outcome(one.area_above),
        }
        for ceiling_c, one, above in zip(ceilings_c, channel.ceilings, weighed, strict=True)
    ]


def _describe_zones(figures: RunFigures, zones: Iterable[ZoneMetrics]) -> list[dict[str, Any]]:
    return [
        {
            "name": one.name,
            "starts_at_s": one.starts_at_s,
            "ends_at_s": one.ends_at_s,
            "set_c": plan.set_c,
            "reached": _describe_shortly(one.reached),
            "above_setting": None
            if one.above_setting is None
            else _describe_shortly(one.above_setting),
            "end_rate": _describe_shortly(one.end_rate),
            "settled_for": _describe_shortly(one.settled_for),
        }
        for plan, one in zip(figures.zones, zones, strict=True)
    ]


def _describe_shortly(outcome: Outcome) -> dict[str, Any]:
    """Leave the moment out, which the zone has, and what is not cut off."""
    return {
        name: said
        for name, said in describe_outcome(outcome).items()
        if name != "at_s" and said is not False
    }


def _describe_lift(lift: LiftJudgement) -> dict[str, Any]:
    cold = lift.cold_channels
    return {
        "lifted_at_s": lift.lifted_at_s,
        "rule_met": describe_outcome(lift.rule_met),
        "margin": describe_outcome(lift.margin),
        "was_early": lift.was_early,
        "cold_channels": None if isinstance(cold, CannotSay) else list(cold),
    }


def _describe_budget(uncertainty: Expanded) -> dict[str, Any]:
    whole = uncertainty.standard**2
    shares = [(one.source, 100.0 * one.standard**2 / whole) for one in uncertainty.contributions]
    return {
        "expanded": _shorten(uncertainty.expanded),
        "is_censored": uncertainty.is_censored,
        "parts": {
            str(source): round(share, 1) for source, share in shares if share >= _LEAST_SHARE_PCT
        },
    }


def _shorten(value: float) -> float:
    """Keep four digits: an uncertainty deserves no more."""
    return float(f"{value:.4g}")
