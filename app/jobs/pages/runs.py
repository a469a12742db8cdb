"""A run: its verdict, its chart, its figures, its file."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.queries import map_account_names
from app.accounts.rules import Person
from app.core.clock import spell_moment
from app.core.request import HouseSettings, PathId, RequestSession
from app.core.settings import Settings
from app.jobs.drawing import CHART_POINTS, PICTURE_POINTS, draw_channels
from app.jobs.figure_words import DEFINITIONS_IN_WORDS, SOURCE
from app.jobs.figures import CHANNEL_FIGURES, spell_outcome, spell_value
from app.jobs.pages.card_words import FindingWords, word_findings
from app.jobs.pages.words import STEP_WORDS, Link, StateWords, word_run, word_verdict
from app.jobs.pictures import COLOURS, draw_chart_svg, draw_trace_svg
from app.jobs.queries import get_run, get_trace_of, load_place
from app.jobs.rules import RunState, StepKind, spell_job
from app.jobs.tables import JobStep, Run
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.window import METRICS, Metric
from app.recipes.queries import get_body
from app.traces.queries import load_samples
from app.traces.rules import ChannelRole
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
# A run that is over never changes; the browser may keep its picture.
_KEEP_PICTURE: Final = {"Cache-Control": "private, max-age=86400"}


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


@dataclass(frozen=True)
class RunPage:
    """All that run.html can see."""

    shell: Shell
    href: str
    job: Link
    place: str
    state: StateWords
    is_complete: bool
    is_recording: bool
    can_read: bool
    sign_href: str
    abort_reason: str
    verdict: str
    is_removal: bool
    chart: str
    samples_href: str
    picture: str
    channels: tuple[ChannelHead, ...]
    figures: tuple[FigureRow, ...]
    site_figures: tuple[tuple[Definition, str], ...]
    lines: tuple[VerdictWords, ...]
    left_out: tuple[str, ...]
    faults: tuple[str, ...]
    found: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    digests: tuple[tuple[str, str], ...]
    recipe: Link
    clearance: tuple[FindingWords, ...]
    cleared_at: str
    source: str
    remark: str


@router.get("/runs/{run_id}")
def show_run(
    run_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Reader,
) -> HTMLResponse:
    """Show a run: verdict first, then chart, figures and what they rest on."""
    run = get_run(session, run_id)
    card, site, step = load_place(session, run)
    body = get_body(site.job_site.revision)
    revision = site.job_site.revision
    names = map_account_names(session, {run.by_id})
    job = card.job
    figures: Mapping[str, Any] = run.figures or {}
    scripts = ("chart.js",) if run.trace else ()
    page = RunPage(
        shell=make_shell(
            request,
            person,
            title=f"Run {run.id} · {site.designator}, {step.kind}",
            scripts=scripts,
        ),
        href=f"/runs/{run.id}",
        job=Link(f"/jobs/{job.id}", f"{spell_job(job.id)} · board {job.board.serial}"),
        place=f"{site.designator}: {STEP_WORDS[step.kind].lower()}",
        state=word_run(run.state, run.verdict),
        is_complete=run.state is RunState.COMPLETE,
        is_recording=run.state is RunState.RECORDING,
        can_read=person.may(Action.JOBS_WORK),
        sign_href=f"/jobs/{job.id}?step={step.id}"
        if run.state is RunState.COMPLETE
        and not site.is_written(step)
        and person.may(Action.JOBS_WORK)
        else "",
        abort_reason=run.abort_reason or "",
        verdict=_spell_verdict(figures),
        is_removal=step.kind is StepKind.REMOVE,
        chart=_describe_chart(body) if run.trace else "",
        samples_href=f"/api/v1/runs/{run.id}/samples",
        picture=_draw_large(session, run, body) if run.trace else "",
        channels=_list_channels(run),
        figures=_list_figures(run),
        site_figures=_list_site_figures(figures),
        lines=tuple(_word_line(line) for line in figures.get("verdict", {}).get("lines", [])),
        left_out=tuple(figures.get("verdict", {}).get("left_out", [])),
        faults=tuple(f"{name}: {why}" for name, why in figures.get("faults", {}).items()),
        found=tuple(one["sentence"] for one in run.trace.reading["findings"]) if run.trace else (),
        facts=_list_facts(run, step, names, settings),
        digests=_list_digests(run, revision.digest or ""),
        recipe=Link(
            f"/recipes/revisions/{revision.id}",
            f"{revision.recipe.code} revision {revision.number}",
        ),
        clearance=word_findings(run.clearance.get("findings", [])),
        cleared_at=str(run.clearance.get("at", "")),
        source=SOURCE,
        remark=run.remark,
    )
    return render("jobs/run.html", page)


@router.get("/runs/{run_id}/picture.svg")
def show_picture(run_id: PathId, session: RequestSession, _: Reader) -> Response:
    """Draw a run's trace as a small picture."""
    run = get_run(session, run_id)
    recorded = load_samples(session, get_trace_of(run))
    picture = draw_trace_svg(
        draw_channels(recorded, points=PICTURE_POINTS),
        liquidus_c=get_body(run.job_site.revision).window.liquidus_c,
        title=f"Trace of run {run.id}",
    )
    return Response(picture, media_type="image/svg+xml", headers=_KEEP_PICTURE)


def _draw_large(session: Session, run: Run, body: RecipeBody) -> str:
    recorded = load_samples(session, get_trace_of(run))
    return draw_chart_svg(
        draw_channels(recorded, points=CHART_POINTS // 4),
        liquidus_c=body.window.liquidus_c,
        title=f"Trace of run {run.id}: temperature in °C against time in s",
    )


def _describe_chart(body: RecipeBody) -> str:
    """Return what the chart draws beside the samples, as JSON for its script."""
    zones, start = [], 0.0
    for zone in body.zones:
        zones.append(
            {
                "name": str(zone.name),
                "from_s": start,
                "to_s": start + zone.time_s,
                "top_c": zone.top_c,
                "bottom_c": zone.bottom_c,
            }
        )
        start += zone.time_s
    limits = [
        {"label": f"{_spell_side(side)} peak, {', '.join(r.words for r in one.roles)}", "at_c": at}
        for one in body.window.limits
        if one.metric is Metric.PEAK_C
        for side, at in (("least", one.lower), ("most", one.upper))
        if at is not None
    ]
    return json.dumps(
        {
            "liquidus_c": body.window.liquidus_c,
            "zones": zones,
            "limits": limits,
            "colours": COLOURS,
        }
    )


def _spell_side(side: str) -> str:
    return {"least": "lowest", "most": "highest"}[side]


def _spell_verdict(figures: Mapping[str, Any]) -> str:
    """Say what the verdict rests on: the deciding limit and how much of it is used."""
    if not figures:
        return ""
    verdict = figures["verdict"]
    line = verdict["deciding"]
    if line is None:
        return "No limit of the window could be held against this trace."
    words = _word_line(line)
    of = f" of {words.channel}" if words.channel else ""
    if line["value"] is None:
        return f"{words.metric}{of}: {words.reason}."
    use = f"; window use {words.use}" if words.use else ""
    reason = f", {words.reason}" if words.reason else ""
    return f"{words.metric}{of} is {words.value} against {words.limit}{reason}{use}."


def _word_line(line: Mapping[str, Any]) -> VerdictWords:
    lower, upper, unit = line["lower"], line["upper"], line["unit"]
    limit = f"{lower:g} to {upper:g} {unit}" if lower is not None and upper is not None else ""
    if not limit:
        limit = f"at least {lower:g} {unit}" if lower is not None else f"at most {upper:g} {unit}"
    use = line["window_use_pct"]
    return VerdictWords(
        metric=METRICS[Metric(line["metric"])].label,
        channel=line["channel"],
        value="–" if line["value"] is None else spell_value(line["value"], unit),
        limit=limit,
        use="" if use is None else f"{use:.0f} %",
        state=word_verdict(line["state"]),
        reason=line["reason"],
    )


def _list_channels(run: Run) -> tuple[ChannelHead, ...]:
    roles = {c["name"]: c for c in (run.trace.channels if run.trace else [])}
    return tuple(
        ChannelHead(
            one["name"],
            ChannelRole(one["role"]).words
            + (f" {roles[one['name']]['designator']}" if roles[one["name"]]["designator"] else ""),
        )
        for one in (run.figures or {}).get("channels", [])
    )


def _list_figures(run: Run) -> tuple[FigureRow, ...]:
    channels = (run.figures or {}).get("channels", [])
    if not channels:
        return ()
    return tuple(
        FigureRow(
            Definition(label, DEFINITIONS_IN_WORDS[name]),
            tuple((spell_outcome(one.get(name)), _spell_note(one.get(name))) for one in channels),
        )
        for name, label in CHANNEL_FIGURES.items()
    )


def _list_site_figures(figures: Mapping[str, Any]) -> tuple[tuple[Definition, str], ...]:
    labels = {
        "spread": "Spread between joints",
        "all_above_liquidus": "All joints above liquidus from",
        "lift": "The part may be lifted from",
    }
    site = figures.get("site", {})
    return tuple(
        (Definition(label, DEFINITIONS_IN_WORDS[name]), _spell_with_note(site[name]))
        for name, label in labels.items()
        if site.get(name) is not None
    )


def _spell_with_note(said: Mapping[str, Any]) -> str:
    note = _spell_note(said)
    return f"{spell_outcome(said)}{f' · {note}' if note else ''}"


def _spell_note(said: Mapping[str, Any] | None) -> str:
    if said is None:
        return ""
    if "value" not in said:
        return str(said.get("not_reached") or said.get("cannot_say") or "")
    moment = said["at_s"]
    is_moment = said["unit"] == "s" and moment == said["value"]
    return "" if moment is None or is_moment else f"at {moment:.1f} s"


def _list_facts(
    run: Run, step: JobStep, names: Mapping[int, str], settings: Settings
) -> tuple[tuple[str, str], ...]:
    facts = [
        ("Line", STEP_WORDS[step.kind]),
        ("Bench", f"{run.bench.code} · {run.bench.title}"),
        ("Operator", names.get(run.by_id, "")),
        ("Recorded", spell_moment(run.started_at, settings.zone)),
    ]
    if run.ended_at is not None:
        facts.append(("Ended", spell_moment(run.ended_at, settings.zone)))
    trace = run.trace
    if trace is not None:
        facts.append(("Samples", f"{trace.rows:,} over {trace.duration_s:,.1f} s"))
        if trace.started_at is not None:
            facts.append(("First sample", spell_moment(trace.started_at, settings.zone)))
    return tuple(facts)


def _list_digests(run: Run, recipe_digest: str) -> tuple[tuple[str, str], ...]:
    digests = [("Recipe, canonical JSON", recipe_digest), ("The file", run.file_sha256 or "")]
    if run.trace is not None:
        digests.append(("Samples as stored", run.trace.samples_sha256))
    return tuple((label, value) for label, value in digests if value)
