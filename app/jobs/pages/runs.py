"""A run: its verdict, its chart, its figures, its file."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.queries import map_account_names
from app.accounts.rules import Person
from app.core.clock import spell_moment
from app.core.request import HouseSettings, PathId, RequestSession
from app.core.settings import Settings
from app.jobs.chart import Chart
from app.jobs.chart_data import list_table_moments, read_at
from app.jobs.chart_picture import draw_chart_svg
from app.jobs.comparison_runs import list_peers
from app.jobs.drawing import PICTURE_POINTS, draw_channels
from app.jobs.figure_words import SOURCE, spell_definition
from app.jobs.pages.aside_words import RunNext, make_run_next
from app.jobs.pages.asked import AskedPart, AskedView, AskedWindow, Shown
from app.jobs.pages.card_words import FindingWords, word_findings
from app.jobs.pages.charts import make_chart
from app.jobs.pages.peer_words import EnvelopeWords, PeerWords, word_envelope, word_peers
from app.jobs.pages.run_tables import (
    CeilingRow,
    FaultRow,
    StretchRow,
    ZoneRow,
    list_ceilings,
    list_fault_rows,
    list_stretches,
    list_zones,
)
from app.jobs.pages.run_words import (
    ChannelHead,
    Definition,
    FigureRow,
    VerdictWords,
    is_lifted_early,
    list_channel_heads,
    list_figures,
    list_lines,
    list_resting,
    list_site_figures,
    spell_chain_used,
    spell_lift,
    spell_made_by,
    spell_verdict,
)
from app.jobs.pages.standing_words import StandingWords, hold_or_say, word_standing
from app.jobs.pages.words import STEP_WORDS, Link, StateWords, word_run
from app.jobs.pictures import COLOURS, draw_trace_svg
from app.jobs.queries import get_run, load_place
from app.jobs.rules import RunState, StepKind, spell_job
from app.jobs.run_samples import load_run_samples
from app.jobs.scale_words import spell_on_scale
from app.jobs.scales import Scale
from app.jobs.tables import JobStep, Run
from app.recipes.queries import get_body
from app.traces.queries import RecordedTrace
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
# A run that is over never changes; the browser may keep its picture.
_KEEP_PICTURE: Final = {"Cache-Control": "private, max-age=86400"}


@dataclass(frozen=True)
class Toggle:
    """Something that is shown on request, and the address that shows or hides it."""

    href: str
    is_shown: bool


@dataclass(frozen=True)
class ViewWords:
    """What is seen of the trace, and the addresses of other views and of its exports."""

    unit: str
    from_s: str
    to_s: str
    duration_s: str
    seen: str
    here: str
    whole: str
    units: tuple[tuple[str, str, str, bool], ...]
    exports: tuple[tuple[str, str], ...]
    shown: tuple[str, ...]
    window: str
    uncertainty: Toggle
    crossings: Toggle


@dataclass(frozen=True)
class ReadingTable:
    """The temperatures at round moments of what is seen."""

    step: str
    unit: str
    names: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True)
class RunPage:
    """All that run.html can see."""

    shell: Shell
    id: int
    href: str
    job: Link
    place: str
    state: StateWords
    is_complete: bool
    is_recording: bool
    can_read: bool
    next: RunNext
    abort_reason: str
    verdict: str
    made_by: tuple[str, ...]
    lift: str
    is_lifted_early: bool
    is_removal: bool
    chart: str
    samples_href: str
    picture: str
    view: ViewWords | None
    marks: tuple[str, ...]
    readings: ReadingTable | None
    peers: tuple[PeerWords, ...]
    envelope: EnvelopeWords | None
    channels: tuple[ChannelHead, ...]
    figures: tuple[FigureRow, ...]
    site_figures: tuple[tuple[Definition, str], ...]
    zones: tuple[ZoneRow, ...]
    zones_words: str
    ceilings: tuple[CeilingRow, ...]
    ceilings_words: str
    stretches: tuple[StretchRow, ...]
    resting: tuple[Definition, ...]
    lines: tuple[VerdictWords, ...]
    standing: StandingWords | None
    left_out: tuple[str, ...]
    faults: tuple[str, ...]
    fault_rows: tuple[FaultRow, ...]
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
    asked: AskedView,
    person: Reader,
    window: AskedWindow = "",
) -> HTMLResponse:
    """Show a run: verdict first, then chart, figures and what they rest on."""
    run = get_run(session, run_id)
    card, site, step = place = load_place(session, run)
    revision = site.job_site.revision
    names = map_account_names(session, {run.by_id, run.set_aside_by_id or run.by_id})
    job = card.job
    figures: Mapping[str, Any] = run.figures or {}
    href = f"/runs/{run.id}"
    chart = readings = standing = None
    if run.trace is not None:
        recorded = load_run_samples(session, run)
        held = hold_or_say(session, run, recorded, site=site, step=step, key=window)
        standing = word_standing(
            session, run, held,
            site=site, key=window, scale=asked.scale, with_expanded=asked.with_expanded,
        )  # fmt: skip
        chart = make_chart(
            session, run, place, recorded,
            asked=asked, settings=settings, standing=held.standing,
        )  # fmt: skip
        readings = _make_readings(chart, recorded)
    page = RunPage(
        shell=make_shell(
            request,
            person,
            title=f"Run {run.id} · {site.designator}, {step.kind}",
            scripts=("chart.js",) if chart else (),
        ),
        id=run.id,
        href=href,
        job=Link(f"/jobs/{job.id}", f"{spell_job(job.id)} · board {job.board.serial}"),
        place=f"{site.designator}: {STEP_WORDS[step.kind].lower()}",
        state=word_run(run.state, run.verdict, is_set_aside=run.is_set_aside),
        is_complete=run.state is RunState.COMPLETE,
        is_recording=run.state is RunState.RECORDING,
        can_read=person.may(Action.JOBS_WORK),
        next=make_run_next(card, site, step, run, person=person, names=names, settings=settings),
        abort_reason=run.abort_reason or "",
        verdict=spell_verdict(figures, asked.scale),
        made_by=spell_made_by(figures, asked.scale),
        lift=spell_lift(figures, asked.scale),
        is_lifted_early=is_lifted_early(figures),
        is_removal=step.kind is StepKind.REMOVE,
        chart=_describe_chart(chart) if chart else "",
        samples_href=f"/api/v1/runs/{run.id}/samples",
        picture=draw_chart_svg(chart) if chart else "",
        view=_make_view_words(href, chart, asked, window) if chart else None,
        marks=tuple(mark.sentence for mark in chart.marks) if chart else (),
        readings=readings,
        peers=word_peers(list_peers(session, run, step.kind), settings) if chart else (),
        envelope=word_envelope(session, run, scale=asked.scale) if chart else None,
        channels=list_channel_heads(run, asked.scale),
        figures=list_figures(run, asked.scale, with_expanded=asked.with_expanded),
        site_figures=list_site_figures(figures, asked.scale, with_expanded=asked.with_expanded),
        zones=list_zones(figures, asked.scale),
        zones_words=spell_definition("zone", asked.scale),
        ceilings=list_ceilings(figures, asked.scale, with_expanded=asked.with_expanded),
        ceilings_words=spell_definition("ceiling", asked.scale),
        stretches=list_stretches(figures, asked.scale) if Shown.CROSSINGS in asked.shown else (),
        resting=list_resting(asked.scale),
        lines=list_lines(figures, asked.scale, with_expanded=asked.with_expanded),
        standing=standing,
        left_out=tuple(
            spell_on_scale(one, asked.scale)
            for one in figures.get("verdict", {}).get("left_out", [])
        ),
        faults=tuple(
            f"{name}: {spell_on_scale(why, asked.scale)}"
            for name, why in figures.get("faults", {}).items()
        ),
        fault_rows=list_fault_rows(figures, asked.scale),
        found=tuple(
            spell_on_scale(one["sentence"], asked.scale) for one in run.trace.reading["findings"]
        )
        if run.trace
        else (),
        facts=_list_facts(run, step, names, asked.scale, settings),
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
    return render("jobs/run.html", page, status=422 if standing and standing.fault else 200)


@router.get("/runs/{run_id}/picture.svg")
def show_picture(run_id: PathId, session: RequestSession, _: Reader) -> Response:
    """Draw a run's trace as a small picture."""
    run = get_run(session, run_id)
    recorded = load_run_samples(session, run)
    picture = draw_trace_svg(
        draw_channels(recorded, points=PICTURE_POINTS),
        liquidus_c=get_body(run.job_site.revision).window.liquidus_c,
        title=f"Trace of run {run.id}",
    )
    return Response(picture, media_type="image/svg+xml", headers=_KEEP_PICTURE)


def _describe_chart(chart: Chart) -> str:
    """Return what the chart draws beside the samples, as JSON for its script."""
    view = chart.view
    return json.dumps(
        {
            "liquidus_c": chart.liquidus_c,
            "zones": [asdict(zone) for zone in chart.zones],
            "levels": [asdict(level) for level in chart.levels],
            "marks": [asdict(mark) for mark in chart.marks],
            "colours": COLOURS,
            "duration_s": view.duration_s,
            "from_s": view.from_s,
            "to_s": view.to_s,
            "unit": view.scale,
        }
    )


def _make_view_words(href: str, chart: Chart, asked: AskedPart, window: str) -> ViewWords:
    view = chart.view
    held = {"window": window} if window else {}
    part = {} if view.is_whole else {"from": f"{view.from_s:g}", "to": f"{view.to_s:g}"}
    unit = {"unit": str(view.scale)} if view.scale is not Scale.CELSIUS else {}

    def link(path: str, shown: frozenset[Shown], **more: str) -> str:
        query = urlencode(
            [
                *part.items(),
                *more.items(),
                *held.items(),
                *(("show", str(one)) for one in sorted(shown)),
            ]
        )
        return f"{path}?{query}" if query else path

    def toggle(one: Shown) -> Toggle:
        return Toggle(link(href, asked.shown ^ {one}, **unit), one in asked.shown)

    return ViewWords(
        unit=str(view.scale),
        from_s=part.get("from", ""),
        to_s=part.get("to", ""),
        duration_s=f"{view.duration_s:.1f}",
        seen=dict(chart.about)["Seen"],
        here=link(href, asked.shown, **unit),
        whole=_spell_whole(href, unit | held, asked),
        units=tuple(
            (str(scale), scale.words, link(href, asked.shown, unit=str(scale)), scale is view.scale)
            for scale in Scale
        ),
        exports=tuple(
            (name, link(f"{href}/chart.{suffix}", frozenset(), **unit))
            for name, suffix in (("SVG", "svg"), ("PNG", "png"), ("CSV", "csv"), ("JSON", "json"))
        ),
        shown=tuple(sorted(asked.shown)),
        window=window,
        uncertainty=toggle(Shown.UNCERTAINTY),
        crossings=toggle(Shown.CROSSINGS),
    )


def _spell_whole(href: str, unit: Mapping[str, str], asked: AskedPart) -> str:
    query = urlencode([*unit.items(), *(("show", str(one)) for one in sorted(asked.shown))])
    return f"{href}?{query}" if query else href


def _make_readings(chart: Chart, recorded: RecordedTrace) -> ReadingTable:
    step_s, moments = list_table_moments(chart)
    columns = [read_at(recorded, channel, moments) for channel in recorded.channels]
    scale = chart.view.scale
    return ReadingTable(
        step=f"{step_s:g} s",
        unit=scale.words,
        names=tuple(channel.name for channel in recorded.channels),
        rows=tuple(
            (
                f"{moment:g}",
                tuple("–" if at is None else f"{scale.convert(at):.1f}" for at in row),
            )
            for moment, row in zip(moments, zip(*columns, strict=True), strict=True)
        ),
    )


def _list_facts(
    run: Run, step: JobStep, names: Mapping[int, str], scale: Scale, settings: Settings
) -> tuple[tuple[str, str], ...]:
    facts = [
        ("Line", STEP_WORDS[step.kind]),
        ("Bench", f"{run.bench.code} · {run.bench.title}"),
        ("Operator", names.get(run.by_id, "")),
        ("Recorded", spell_moment(run.started_at, settings.zone)),
    ]
    if run.ended_at is not None:
        facts.append(("Ended", spell_moment(run.ended_at, settings.zone)))
    chain = spell_chain_used(run.figures or {}, scale)
    if chain:
        facts.append(("Measuring chain", chain))
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
