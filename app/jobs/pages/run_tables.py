"""The smaller tables of a run's page: zones, ceilings, crossings, faults."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from app.jobs.figures import CHANNEL_FIGURES, spell_outcome
from app.jobs.scale_words import spell_on_scale
from app.jobs.scales import Scale


@dataclass(frozen=True)
class ZoneRow:
    """A zone with its set point, and what each channel reached; the second of a pair is small."""

    name: str
    set: str
    ends: str
    cells: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class CeilingRow:
    """A channel beside the joints against one limit."""

    channel: str
    ceiling: str
    peak: str
    headroom: str
    above: str
    is_passed: bool


@dataclass(frozen=True)
class StretchRow:
    """One time that a channel was above the liquidus."""

    channel: str
    up: str
    down: str
    length: str


@dataclass(frozen=True)
class FaultRow:
    """One fault with what shows it and what follows from it."""

    channel: str
    sentence: str
    samples: str
    consequence: str


_METRIC_WORDS: Final = {name: label.lower() for name, label in CHANNEL_FIGURES.items()}


def list_zones(figures: Mapping[str, Any], scale: Scale) -> tuple[ZoneRow, ...]:
    """Return every zone with what each channel shows of it; none before definitions 2."""
    channels = [one for one in figures.get("channels", []) if one.get("zones")]
    if not channels:
        return ()
    return tuple(
        ZoneRow(
            name=zone["name"],
            set="off" if zone["set_c"] is None else scale.spell(zone["set_c"], "°C"),
            ends=scale.spell(zone["ends_at_s"], "s"),
            cells=tuple(_spell_zone(one["zones"][place], scale) for one in channels),
        )
        for place, zone in enumerate(channels[0]["zones"])
    )


def list_ceilings(
    figures: Mapping[str, Any], scale: Scale, *, with_expanded: bool = False
) -> tuple[CeilingRow, ...]:
    """Return every channel beside the joints against each of its upper limits."""
    return tuple(
        _spell_ceiling(one["name"], ceiling, scale, with_expanded=with_expanded)
        for one in figures.get("channels", [])
        for ceiling in one.get("ceilings", [])
    )


def list_stretches(figures: Mapping[str, Any], scale: Scale) -> tuple[StretchRow, ...]:
    """Return every time that a channel was above the liquidus, by its crossings."""
    return tuple(
        StretchRow(one["name"], *_spell_stretch(stretch, scale))
        for one in figures.get("channels", [])
        for stretch in (one["above_liquidus"] or {}).get("stretches", [])
    )


def list_fault_rows(figures: Mapping[str, Any], scale: Scale) -> tuple[FaultRow, ...]:
    """Return every fault that was found before anything was computed."""
    return tuple(
        FaultRow(
            channel=one["channel"] or "the whole recording",
            sentence=spell_on_scale(one["sentence"], scale),
            samples=str(one["first_sample"] + 1)
            if one["first_sample"] == one["last_sample"]
            else f"{one['first_sample'] + 1:,} to {one['last_sample'] + 1:,}",
            consequence=_spell_consequence(one),
        )
        for one in figures.get("findings", [])
    )


def _spell_zone(zone: Mapping[str, Any], scale: Scale) -> tuple[str, str]:
    reached = spell_outcome(zone["reached"], scale=scale)
    notes: Iterable[str] = (
        _spell_signed(zone["above_setting"], scale, "to set"),
        _spell_signed(zone["end_rate"], scale, ""),
        _spell_settled(zone["settled_for"], scale),
    )
    return reached, " · ".join(filter(None, notes))


def _spell_signed(said: Mapping[str, Any] | None, scale: Scale, after: str) -> str:
    if said is None or "value" not in said:
        return ""
    return f"{scale.spell(said['value'], said['unit'], signed=True)} {after}".rstrip()


def _spell_settled(said: Mapping[str, Any], scale: Scale) -> str:
    return f"settled {spell_outcome(said, scale=scale)}" if "value" in said else ""


def _spell_ceiling(
    channel: str, ceiling: Mapping[str, Any], scale: Scale, *, with_expanded: bool
) -> CeilingRow:
    at = scale.spell(ceiling["ceiling_c"], "°C")
    if "cannot_say" in ceiling:
        why = spell_on_scale(ceiling["cannot_say"], scale)
        return CeilingRow(channel, at, "cannot say", why, "", is_passed=False)
    return CeilingRow(
        channel,
        at,
        spell_outcome(ceiling["peak"], scale=scale, with_expanded=with_expanded),
        scale.spell(ceiling["headroom"]["value"], "K", signed=True),
        spell_outcome(ceiling["above"], scale=scale, with_expanded=with_expanded),
        is_passed=ceiling["headroom"]["value"] < 0.0,
    )


def _spell_stretch(stretch: list[float | None], scale: Scale) -> tuple[str, str, str]:
    up_s, down_s = stretch
    length = "" if up_s is None or down_s is None else scale.spell(down_s - up_s, "s")
    return (
        "before the recording" if up_s is None else scale.spell(up_s, "s"),
        "after the recording" if down_s is None else scale.spell(down_s, "s"),
        length,
    )


def _spell_consequence(fault: Mapping[str, Any]) -> str:
    if fault["is_left_out"]:
        return "the channel is left out"
    unsayable = [_METRIC_WORDS[name] for name in fault["unsayable"] if name in _METRIC_WORDS]
    if not unsayable:
        return "a caution; every figure can be said"
    if len(unsayable) == len(_METRIC_WORDS):
        return "nothing can be said of the channel"
    return f"cannot be said: {', '.join(unsayable)}"
