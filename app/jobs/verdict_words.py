"""What a kept verdict says, in sentences for a page, a file and the command line."""

import math
from collections.abc import Mapping
from typing import Any, Final

from app.jobs.scale_words import spell_on_scale
from app.jobs.scales import Scale
from app.numerics.guard_band import Conformity, decide
from app.numerics.uncertainty import Source
from app.recipes.body.window import METRICS, Metric
from app.recipes.verdict import VerdictState
from app.recipes.verdict_order import get_rank
from app.traces.rules import ChannelRole

# What a share of the uncertainty is, and what would make it small.
REMEDIES: Final[Mapping[str, tuple[str, str]]] = {
    Source.THERMOCOUPLE: ("the wire's class", "a calibrated thermocouple"),
    Source.LOGGER: ("the logger's accuracy", "a calibration of the logger's input"),
    Source.CALIBRATION: ("the calibration itself", "a better calibration"),
    Source.RESOLUTION: ("the last digit in the file", "a logger with a finer last digit"),
    Source.NOISE: ("noise", "a quieter connection"),
    Source.SELECTION: ("noise among many readings", "a quieter connection"),
    Source.PEAK_MOMENT: ("how flat the peak is", "a sharper peak, or a faster logger"),
    Source.TIME_BASE: ("the logger's clock", "a checked clock"),
    Source.JITTER: ("the jitter of its moments", "a steadier logger"),
}
_MOST = 100.0


def spell_verdict(verdict: Mapping[str, Any], scale: Scale = Scale.CELSIUS) -> str:
    """Say what to look at: the deciding limit, by how much, and what would settle it."""
    line = verdict["deciding"]
    if line is None:
        return "No limit of the window could be held against this trace."
    metric, channel = spell_metric(line, scale), line["channel"]
    what = f"{metric} of {channel}" if channel else metric
    if line["value"] is None:
        reason = spell_on_scale(line["reason"], scale).rstrip(".")
        # A channel that is missing names itself, with where it sits.
        is_named = bool(channel) and reason.startswith(f"{channel} (")
        return f"{metric} of {reason}." if is_named else f"{what}: {reason}."
    use = line["window_use_pct"]
    parts = [
        f"{what} is {spell_value(line, scale)} against {spell_limits(line, scale)}",
        _spell_distance(line, scale),
    ]
    said = f"{''.join(parts)}{'' if use is None else f'; window use {use:.0f} %'}."
    return f"{said} {spell_remedy(line)}".rstrip()


def spell_metric(line: Mapping[str, Any], scale: Scale = Scale.CELSIUS) -> str:
    """Spell what a line is about: `Maximum ramp up over 5 s`; kept lines of before 3 lack the time.

    Temperatures that are part of a name are on the scale too.
    """
    label = spell_on_scale(METRICS[Metric(line["metric"])].label, scale)
    return label if line.get("over_s") is None else f"{label} over {line['over_s']:g} s"


def list_worst_first(verdict: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return a kept verdict's lines, the deciding one first, then as verdict_order has them."""
    deciding = verdict.get("deciding")
    return sorted(verdict.get("lines", []), key=lambda line: (line != deciding, _get_rank(line)))


def _get_rank(line: Mapping[str, Any]) -> tuple[float, ...]:
    role = line.get("role")
    return get_rank(
        state=VerdictState(line["state"]),
        metric=Metric(line["metric"]),
        role=None if role is None else ChannelRole(role),
        value=line["value"],
        lower=line["lower"],
        upper=line["upper"],
        is_censored=line.get("is_censored", False),
    )


def spell_value(
    line: Mapping[str, Any], scale: Scale = Scale.CELSIUS, *, with_expanded: bool = False
) -> str:
    """Spell a line's value with as many digits as its uncertainty deserves; a dash for none."""
    if line["value"] is None:
        return "–"
    more = "at least " if line.get("is_censored") and line["unit"] != "K/s" else ""
    expanded = find_expanded(line)
    spelt = scale.spell_with(line["value"], line["unit"], expanded, shown=with_expanded)
    return f"{more}{spelt}"


def find_expanded(line: Mapping[str, Any]) -> float | None:
    """Return U (k = 2) of a line, None where there is none; figures of before 2 have none."""
    known = line.get("uncertainty")
    return None if known is None else float(known["expanded"])


def spell_limits(line: Mapping[str, Any], scale: Scale = Scale.CELSIUS) -> str:
    """Return a line's limits: `60 to 90 s`, `at most 3 K/s`, `at least 60 s`."""
    unit = line["unit"]
    lower, upper = (
        None if line[side] is None else scale.convert_figure(line[side], unit)
        for side in ("lower", "upper")
    )
    if lower is not None and upper is not None:
        return f"{_round(lower[0])} to {_round(upper[0])} {upper[1]}"
    if lower is not None:
        return f"at least {_round(lower[0])} {lower[1]}"
    return f"at most {_round(upper[0])} {upper[1]}" if upper is not None else ""


def spell_remedy(line: Mapping[str, Any]) -> str:
    """Say what the largest part of the uncertainty is where that decides; else nothing."""
    known = line.get("uncertainty")
    if line["state"] != VerdictState.TOO_CLOSE or known is None or not known["parts"]:
        return ""
    source, share_pct = next(iter(known["parts"].items()))
    what, remedy = REMEDIES[source]
    rest = known["expanded"] * math.sqrt(max(0.0, 1.0 - share_pct / _MOST))
    found = decide(line["value"], rest, lower=line["lower"], upper=line["upper"])
    does = "would settle it" if found is not Conformity.TOO_CLOSE else "alone would not settle it"
    return f"{share_pct:.0f} % of that uncertainty is {what}; {remedy} {does}."


def _spell_distance(line: Mapping[str, Any], scale: Scale) -> str:
    """Say how far the value is from the nearer limit, beside its uncertainty."""
    reason = f", {spell_on_scale(line['reason'], scale)}" if line["reason"] else ""
    expanded = find_expanded(line)
    if expanded is None or line["state"] == VerdictState.CANNOT_SAY:
        return reason
    value, unit = line["value"], line["unit"]
    distances = [
        sign * (value - line[side])
        for side, sign in (("lower", 1.0), ("upper", -1.0))
        if line[side] is not None
    ]
    nearest = min(distances)
    apart = scale.spell_difference(abs(nearest), unit, expanded)
    around = scale.spell_difference(expanded, unit, expanded)
    where = "inside" if nearest >= 0.0 else "beyond"
    return f": {apart} {where} it, uncertainty ± {around}"


def _round(limit: float) -> str:
    """Spell a limit without the noughts of its conversion."""
    return f"{round(limit, 2):g}"
