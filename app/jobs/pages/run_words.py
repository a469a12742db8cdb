"""A run's figures and verdict in the words of a page, on the scale asked for."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from app.jobs.figure_words import OLDER, spell_definition
from app.jobs.figures import (
    CHANNEL_FIGURES,
    DEFINITIONS,
    list_kept_lapses,
    spell_figure_name,
    spell_outcome,
)
from app.jobs.pages.words import StateWords, word_verdict
from app.jobs.scale_words import spell_on_scale
from app.jobs.scales import Scale
from app.jobs.tables import Run
from app.jobs.verdict_words import (
    find_expanded,
    list_worst_first,
    spell_limits,
    spell_metric,
    spell_value,
)
from app.jobs.verdict_words import spell_verdict as spell_whole
from app.traces.rules import ChannelRole

_SITE_LABELS: Final = {
    "spread": "Spread between joints",
    "spread_at_coldest_peak": "Spread at the coldest joint's peak",
    "all_above_liquidus": "All joints above liquidus from",
    "lift": "The part may be lifted from",
}
_RESTING: Final = (
    ("Window use", "window_use"),
    ("± U", "uncertainty"),
    ("Decision rule", "decision"),
)


@dataclass(frozen=True)
class VerdictWords:
    """One line of the verdict; `around` is its uncertainty, empty where none is shown."""

    metric: str
    channel: str
    value: str
    around: str
    limit: str
    use: str
    state: StateWords
    reason: str


@dataclass(frozen=True)
class Definition:
    """A figure's name and how it is computed."""

    name: str
    words: str


@dataclass(frozen=True)
class FigureRow:
    """One figure of every channel; `notes` say why there is no value."""

    definition: Definition
    values: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ChannelHead:
    """A channel in the table's head; `note` says what was added to its readings."""

    name: str
    role: str
    note: str


def spell_verdict(figures: Mapping[str, Any], scale: Scale) -> str:
    """Say what the verdict rests on: the deciding limit and how much of it is used."""
    return spell_whole(figures["verdict"], scale) if figures else ""


def spell_made_by(figures: Mapping[str, Any], scale: Scale = Scale.CELSIUS) -> tuple[str, ...]:
    """Say by which rule and definitions the figures were made; the chain where it is assumed."""
    if not figures:
        return ()
    number = figures["definitions"]
    if number not in {DEFINITIONS, *OLDER}:
        return (f"Made by definitions {number}, which this program lacks.",)
    said = [OLDER[number]] if number in OLDER else []
    if "rule" in figures["verdict"]:
        said.append(f"Decided by {figures['verdict']['rule']}; definitions {number}.")
    if figures.get("chain", {}).get("is_assumed"):
        said.append(f"Measuring chain: {spell_chain_used(figures, scale)}.")
    return *said, *list_kept_lapses(figures)


def spell_chain_used(figures: Mapping[str, Any], scale: Scale = Scale.CELSIUS) -> str:
    """Return the words of the chain that kept figures were made with; nothing before 2."""
    chain = figures.get("chain")
    if chain is None:
        return ""
    told = " (no chain is described for this bench)" if chain["is_assumed"] else ""
    return f"{spell_on_scale(chain['words'], scale)}{told}"


def word_line(
    line: Mapping[str, Any], scale: Scale, *, with_expanded: bool = False
) -> VerdictWords:
    """Return one limit held against one channel, in words."""
    use, expanded = line["window_use_pct"], find_expanded(line)
    around = ""
    if with_expanded and expanded is not None:
        around = f"± {scale.spell_difference(expanded, line['unit'], expanded)}"
    return VerdictWords(
        metric=spell_metric(line, scale),
        channel=line["channel"],
        value=spell_value(line, scale),
        around=around,
        limit=spell_limits(line, scale),
        use="" if use is None else f"{use:.0f} %",
        state=word_verdict(line["state"]),
        reason=spell_on_scale(line["reason"], scale),
    )


def list_lines(
    figures: Mapping[str, Any], scale: Scale, *, with_expanded: bool = False
) -> tuple[VerdictWords, ...]:
    """Return every limit in words, the deciding one first, then the worst."""
    lines = list_worst_first(figures.get("verdict", {}))
    return tuple(word_line(line, scale, with_expanded=with_expanded) for line in lines)


def list_channel_heads(run: Run, scale: Scale) -> tuple[ChannelHead, ...]:
    """Return the channels that have figures, with where they sit and what was added to them."""
    roles = {c["name"]: c for c in (run.trace.channels if run.trace else [])}
    return tuple(
        ChannelHead(
            one["name"],
            ChannelRole(one["role"]).words
            + (f" {roles[one['name']]['designator']}" if roles[one["name"]]["designator"] else ""),
            ""
            if one.get("correction_k") is None
            else f"{scale.spell(one['correction_k'], 'K', signed=True)} added to its readings",
        )
        for one in (run.figures or {}).get("channels", [])
    )


def list_figures(run: Run, scale: Scale, *, with_expanded: bool = False) -> tuple[FigureRow, ...]:
    """Return every figure of every channel."""
    channels = (run.figures or {}).get("channels", [])
    if not channels:
        return ()
    times_s = {one["ramp_window_s"] for one in channels if "ramp_window_s" in one}
    rows = [
        FigureRow(
            Definition(
                spell_figure_name(name, over_s=times_s, scale=scale), spell_definition(name, scale)
            ),
            tuple(
                _spell_cell(one.get(name), scale, with_expanded=with_expanded) for one in channels
            ),
        )
        for name in CHANNEL_FIGURES
    ]
    longest = tuple(
        _spell_cell(
            one["above_liquidus"].get("longest") or one["above_liquidus"],
            scale,
            with_expanded=with_expanded,
        )
        for one in channels
    )
    rows.insert(
        2,
        FigureRow(
            Definition(
                "Longest time above liquidus", spell_definition("longest_above_liquidus", scale)
            ),
            longest,
        ),
    )
    return tuple(rows)


def list_site_figures(
    figures: Mapping[str, Any], scale: Scale, *, with_expanded: bool = False
) -> tuple[tuple[Definition, str], ...]:
    """Return the figures of the whole site."""
    site = figures.get("site", {})
    found = [
        (
            Definition(label, spell_definition(name, scale)),
            " · ".join(filter(None, _spell_cell(site[name], scale, with_expanded=with_expanded))),
        )
        for name, label in _SITE_LABELS.items()
        if site.get(name) is not None
    ]
    lifted = spell_lift(figures, scale)
    if lifted:
        found.append((Definition("The part was lifted", spell_definition("lifted", scale)), lifted))
    return tuple(found)


def spell_lift(figures: Mapping[str, Any], scale: Scale) -> str:
    """Say when the part was lifted and whether the rule was met; nothing where nobody said."""
    lifted = figures.get("site", {}).get("lifted")
    if lifted is None:
        return ""
    at, margin = scale.spell(lifted["lifted_at_s"], "s"), lifted["margin"]
    cold = lifted["cold_channels"]
    still = f"; {', '.join(cold)} not above the rule's temperature then" if cold else ""
    if lifted["was_early"] is None:
        why = margin.get("cannot_say") or margin.get("not_reached") or "the trace starts above it"
        return f"at {at}; whether the rule was met cannot be said: {spell_on_scale(why, scale)}"
    if "value" not in margin:
        return f"at {at}, too early: the rule was not met{still}"
    apart = scale.spell(abs(margin["value"]), "s")
    if lifted["was_early"]:
        return f"at {at}, too early: {apart} before the rule was met{still}"
    return f"at {at}, {apart} after the rule was met{still}"


def is_lifted_early(figures: Mapping[str, Any]) -> bool:
    """Say whether the part was lifted before its rule was met."""
    lifted = figures.get("site", {}).get("lifted")
    return bool(lifted and lifted["was_early"])


def list_resting(scale: Scale = Scale.CELSIUS) -> tuple[Definition, ...]:
    """Return what every verdict rests on, in words."""
    return tuple(Definition(label, spell_definition(name, scale)) for label, name in _RESTING)


def _spell_cell(
    said: Mapping[str, Any] | None, scale: Scale, *, with_expanded: bool
) -> tuple[str, str]:
    return spell_outcome(said, scale=scale, with_expanded=with_expanded), _spell_note(said, scale)


def _spell_note(said: Mapping[str, Any] | None, scale: Scale) -> str:
    if said is None:
        return ""
    if "value" not in said:
        return spell_on_scale(str(said.get("not_reached") or said.get("cannot_say") or ""), scale)
    moment = said["at_s"]
    is_moment = said["unit"] == "s" and moment == said["value"]
    return "" if moment is None or is_moment else f"at {moment:.1f} s"
