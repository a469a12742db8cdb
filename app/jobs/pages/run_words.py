"""A run's figures and verdict in the words of a page, on the scale asked for."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from app.jobs.figure_words import DEFINITIONS_IN_WORDS
from app.jobs.figures import CHANNEL_FIGURES, spell_outcome
from app.jobs.pages.words import StateWords, word_verdict
from app.jobs.scales import Scale
from app.jobs.tables import Run
from app.recipes.body.window import METRICS, Metric
from app.recipes.verdict import VerdictState
from app.traces.rules import ChannelRole


@dataclass(frozen=True)
class VerdictWords:
    """One line of the verdict."""

    metric: str
    channel: str
    value: str
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
    """A channel in the table's head."""

    name: str
    role: str


def spell_verdict(figures: Mapping[str, Any], scale: Scale) -> str:
    """Say what the verdict rests on: the deciding limit and how much of it is used."""
    if not figures:
        return ""
    verdict = figures["verdict"]
    line = verdict["deciding"]
    if line is None:
        return "No limit of the window could be held against this trace."
    words = word_line(line, scale)
    of = f" of {words.channel}" if words.channel else ""
    if line["value"] is None:
        return f"{words.metric}{of}: {words.reason}."
    use = f"; window use {words.use}" if words.use else ""
    reason = f", {words.reason}" if words.reason else ""
    return f"{words.metric}{of} is {words.value} against {words.limit}{reason}{use}."


def word_line(line: Mapping[str, Any], scale: Scale) -> VerdictWords:
    """Return one limit held against one channel, in words."""
    unit = line["unit"]
    lower, upper = (
        None if line[side] is None else scale.convert_figure(line[side], unit)
        for side in ("lower", "upper")
    )
    if lower is not None and upper is not None:
        limit = f"{_round(lower[0])} to {_round(upper[0])} {upper[1]}"
    elif lower is not None:
        limit = f"at least {_round(lower[0])} {lower[1]}"
    else:
        limit = f"at most {_round(upper[0])} {upper[1]}" if upper is not None else ""
    use = line["window_use_pct"]
    return VerdictWords(
        metric=METRICS[Metric(line["metric"])].label,
        channel=line["channel"],
        value="–" if line["value"] is None else scale.spell(line["value"], unit),
        limit=limit,
        use="" if use is None else f"{use:.0f} %",
        state=word_verdict(line["state"]),
        reason=line["reason"],
    )


def list_lines(figures: Mapping[str, Any], scale: Scale) -> tuple[VerdictWords, ...]:
    """Return every limit in words, the deciding one first: outside, cannot say, most used."""
    lines = sorted(
        figures.get("verdict", {}).get("lines", []),
        key=lambda line: (-VerdictState(line["state"]).severity, -(line["window_use_pct"] or 0.0)),
    )
    return tuple(word_line(line, scale) for line in lines)


def list_channel_heads(run: Run) -> tuple[ChannelHead, ...]:
    """Return the channels that have figures, with where they sit."""
    roles = {c["name"]: c for c in (run.trace.channels if run.trace else [])}
    return tuple(
        ChannelHead(
            one["name"],
            ChannelRole(one["role"]).words
            + (f" {roles[one['name']]['designator']}" if roles[one["name"]]["designator"] else ""),
        )
        for one in (run.figures or {}).get("channels", [])
    )


def list_figures(run: Run, scale: Scale) -> tuple[FigureRow, ...]:
    """Return every figure of every channel."""
    channels = (run.figures or {}).get("channels", [])
    if not channels:
        return ()
    return tuple(
        FigureRow(
            Definition(label, DEFINITIONS_IN_WORDS[name]),
            tuple(
                (spell_outcome(one.get(name), scale=scale), _spell_note(one.get(name)))
                for one in channels
            ),
        )
        for name, label in CHANNEL_FIGURES.items()
    )


def list_site_figures(
    figures: Mapping[str, Any], scale: Scale
) -> tuple[tuple[Definition, str], ...]:
    """Return the figures of the whole site."""
    labels = {
        "spread": "Spread between joints",
        "all_above_liquidus": "All joints above liquidus from",
        "lift": "The part may be lifted from",
    }
    site = figures.get("site", {})
    return tuple(
        (Definition(label, DEFINITIONS_IN_WORDS[name]), _spell_with_note(site[name], scale))
        for name, label in labels.items()
        if site.get(name) is not None
    )


def _spell_with_note(said: Mapping[str, Any], scale: Scale) -> str:
    note = _spell_note(said)
    return f"{spell_outcome(said, scale=scale)}{f' · {note}' if note else ''}"


def _spell_note(said: Mapping[str, Any] | None) -> str:
    if said is None:
        return ""
    if "value" not in said:
        return str(said.get("not_reached") or said.get("cannot_say") or "")
    moment = said["at_s"]
    is_moment = said["unit"] == "s" and moment == said["value"]
    return "" if moment is None or is_moment else f"at {moment:.1f} s"


def _round(limit: float) -> str:
    """Spell a limit without the noughts of its conversion."""
    return f"{round(limit, 2):g}"
