"""The check before heat: findings, each with its reason, numbers, source and way out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from app.approval.rules import RevisionState
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.window import Metric
from app.recipes.rules import Fit
from app.traces.rules import ChannelRole

# Raised whenever a rule changes, so that a kept clearance tells by which rules it was made.
RULES: Final = 1

MAKER_LIMIT: Final = "the part's own sheet, as entered under Materials"
COMMON_CYCLES: Final = (
    "the part's own sheet; without one, 3 cycles in all is a common maker limit (initial + 2)"
)
OWN_RULE: Final = "the plant's own setting"


class Signal(StrEnum):
    """What a finding says."""

    GO = "go"
    CAUTION = "caution"
    STOP = "stop"


_ORDER: Final = {Signal.STOP: 0, Signal.CAUTION: 1, Signal.GO: 2}


@dataclass(frozen=True)
class Finding:
    """One thing that was checked; `way_out` says what would put it right."""

    code: str
    signal: Signal
    sentence: str
    source: str
    way_out: str = ""


@dataclass(frozen=True)
class PartLimits:
    """What a part's own sheet allows, as far as it was entered; °C and cycles."""

    part_number: str
    classification_c: float | None
    max_body_c: float | None
    reflow_cycles_allowed: int


@dataclass(frozen=True)
class SiteCase:
    """One site of the job as it is before heat.

    `heats` counts the runs the site has had, `reworks` the closed jobs which reflowed it.
    """

    designator: str
    recipe_code: str
    body: RecipeBody
    state: RevisionState
    fit: Fit
    part: PartLimits | None
    heats: int
    reworks: int


@dataclass(frozen=True)
class JobCase:
    """A job as it is before heat: its sites, its bench, and what stands in the way."""

    is_held: bool
    hold_reason: str
    is_scrapped: bool
    bench_code: str
    bench_has_nitrogen: bool
    reworks_allowed: int
    sites: tuple[SiteCase, ...]


def find_all(case: JobCase) -> tuple[Finding, ...]:
    """Return every finding, stops first, in the order in which they are put right."""
    found: list[Finding] = [*_look_at_job(case)]
    for site in case.sites:
        found += _look_at_recipe(site, case)
        found += _look_at_part(site)
        found += _look_at_heats(site, case)
    return tuple(sorted(found, key=lambda finding: _ORDER[finding.signal]))


def is_clear(findings: Iterable[Finding]) -> bool:
    """Say whether nothing stops the heat."""
    return all(finding.signal is not Signal.STOP for finding in findings)


def describe_findings(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Return findings as the JSON that is kept with a job and a run."""
    return [
        {
            "code": finding.code,
            "signal": str(finding.signal),
            "sentence": finding.sentence,
            "source": finding.source,
            "way_out": finding.way_out,
        }
        for finding in findings
    ]


def _look_at_job(case: JobCase) -> Iterable[Finding]:
    if case.is_held:
        yield Finding(
            "hold", Signal.STOP, f"The job is on hold: {case.hold_reason}", OWN_RULE,
            "An engineer lifts the hold.",
        )  # fmt: skip
    if case.is_scrapped:
        yield Finding("scrapped", Signal.STOP, "The board is scrapped.", OWN_RULE)
    if not case.is_held and not case.is_scrapped:
        yield Finding("free", Signal.GO, "No hold is on the job, the board is in use.", OWN_RULE)


def _look_at_recipe(site: SiteCase, case: JobCase) -> Iterable[Finding]:
    name = f"{site.designator}: recipe {site.recipe_code}"
    if not site.fit.fits:
        yield Finding(
            "fit", Signal.STOP, f"{name} does not fit: {site.fit.reason}.", "the recipe itself",
            "Cancel this job and open one with a recipe that fits.",
        )  # fmt: skip
    elif site.state is RevisionState.RETIRED:
        yield Finding(
            "retired", Signal.CAUTION,
            f"{name} was retired after this job was opened; the job keeps it.", OWN_RULE,
            "Ask the engineer whether the newer revision should be used.",
        )  # fmt: skip
    elif site.state is not RevisionState.PUBLISHED:
        yield Finding(
            "unpublished", Signal.STOP, f"{name} is {site.state}, not published.", OWN_RULE,
            "Use a published revision.",
        )  # fmt: skip
    else:
        yield Finding("recipe", Signal.GO, f"{name} is published and fits.", "the recipe itself")
    if any(zone.nitrogen for zone in site.body.zones) and not case.bench_has_nitrogen:
        yield Finding(
            "nitrogen", Signal.STOP,
            f"{name} asks for nitrogen and bench {case.bench_code} has none.", "the recipe itself",
            "Choose a bench with nitrogen.",
        )  # fmt: skip


def _look_at_part(site: SiteCase) -> Iterable[Finding]:
    if site.part is None:
        yield Finding(
            "part-unknown", Signal.CAUTION,
            f"{site.designator}: the part is not entered, so its limits were not checked.",
            MAKER_LIMIT, "An engineer enters the part under Materials and links it.",
        )  # fmt: skip
        return
    upper = _find_body_peak_limit(site.body)
    limits = [
        ("classification temperature", site.part.classification_c),
        ("maximum body temperature", site.part.max_body_c),
    ]
    known = [(name, limit_c) for name, limit_c in limits if limit_c is not None]
    if not known or upper is None:
        missing = "the part's temperatures are" if not known else "the recipe's body limit is"
        yield Finding(
            "body-limit-unknown", Signal.CAUTION,
            f"{site.designator}: {missing} not entered, so the body was not checked.",
            MAKER_LIMIT, "An engineer enters what the maker's sheet says.",
        )  # fmt: skip
        return
    for name, limit_c in known:
        if upper > limit_c:
            yield Finding(
                "body-limit", Signal.STOP,
                f"{site.designator}: the recipe lets the body reach {upper:g} °C; the {name} of "
                f"{site.part.part_number} is {limit_c:g} °C.",
                MAKER_LIMIT, "Use a recipe with a lower body limit.",
            )  # fmt: skip
            return
    least = min(limit_c for _, limit_c in known)
    yield Finding(
        "body", Signal.GO,
        f"{site.designator}: body at most {upper:g} °C, the part allows {least:g} °C.",
        MAKER_LIMIT,
    )  # fmt: skip


def _look_at_heats(site: SiteCase, case: JobCase) -> Iterable[Finding]:
    allowed = site.part.reflow_cycles_allowed if site.part else None
    if allowed is not None and site.heats + 1 > allowed:
        yield Finding(
            "heats", Signal.CAUTION,
            f"{site.designator} has been heated {site.heats} times on this board; its part allows "
            f"{allowed} cycles.",
            COMMON_CYCLES, "Fit a new part, or ask the engineer.",
        )  # fmt: skip
    if site.reworks >= case.reworks_allowed:
        yield Finding(
            "reworks", Signal.CAUTION,
            f"{site.designator} was reworked {site.reworks} times before; the plant's limit is "
            f"{case.reworks_allowed}.",
            f"{OWN_RULE} (common practice, no source)", "Ask the engineer before going on.",
        )  # fmt: skip
    elif allowed is None or site.heats + 1 <= allowed:
        yield Finding(
            "heat-count", Signal.GO,
            f"{site.designator}: {site.heats} heats and {site.reworks} reworks before this job.",
            "the runs recorded for this board",
        )  # fmt: skip


def _find_body_peak_limit(body: RecipeBody) -> float | None:
    uppers = [
        limit.upper
        for limit in body.window.limits
        if limit.metric is Metric.PEAK_C and ChannelRole.BODY in limit.roles and limit.upper
    ]
    return max(uppers, default=None)
