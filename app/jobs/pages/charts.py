"""The chart of a run as it is seen, to take along: SVG, PNG, CSV, JSON."""

from collections.abc import Sequence
from typing import Annotated, Final

from fastapi import APIRouter, Depends
from fastapi.responses import Response, StreamingResponse
from sqlalchemy.orm import Session

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.queries import map_account_names
from app.accounts.rules import Person
from app.core.clock import spell_moment
from app.core.request import HouseSettings, PathId, RequestSession
from app.core.settings import Settings
from app.jobs.chart import Chart, Level, ShownZone, make_view
from app.jobs.chart_data import spell_chart_csv, view_chart
from app.jobs.chart_picture import draw_chart_svg, draw_png
from app.jobs.downloads import spell_disposition
from app.jobs.drawing import CHART_POINTS, FULL_POINTS, draw_channels, is_reduced
from app.jobs.figures import list_kept_lapses
from app.jobs.marks import list_marks
from app.jobs.pages.asked import AskedPart, AskedView, AskedWindow
from app.jobs.pages.chart_kept import list_kept
from app.jobs.pages.run_words import spell_chain_used
from app.jobs.pages.words import STEP_WORDS, word_run
from app.jobs.queries import SiteCard, WorkCard, get_run, get_trace_of, load_place
from app.jobs.rules import StepKind, spell_job
from app.jobs.run_figures import drop_lower_limits
from app.jobs.run_samples import load_run_samples
from app.jobs.scales import Scale
from app.jobs.standing_verdicts import RunStanding, hold_run
from app.jobs.standing_views import list_about
from app.jobs.tables import JobStep, Run
from app.jobs.verdict_words import spell_limits, spell_metric, spell_value
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.window import Metric
from app.recipes.queries import get_body
from app.traces.queries import RecordedTrace
from app.traces.rules import ChannelRole

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Exporter = Annotated[Person, Depends(needs(Action.HISTORY_EXPORT))]

# Enough of a digest to find the whole one by; the run's page has that.
DIGEST_SHOWN: Final = 12


def make_chart(
    session: Session,
    run: Run,
    place: tuple[WorkCard, SiteCard, JobStep],
    recorded: RecordedTrace,
    *,
    asked: AskedPart,
    settings: Settings,
    standing: RunStanding,
    points: int = CHART_POINTS,
) -> Chart:
    """Return the chart of a run with a trace: the part asked for, and where it comes from."""
    card, site, step = place
    revision = site.job_site.revision
    body = get_body(revision)
    view = make_view(
        scale=asked.scale,
        from_s=asked.from_s,
        to_s=asked.to_s,
        duration_s=float(recorded.time_s[-1]),
    )
    board = card.job.board
    operator = map_account_names(session, {run.by_id}).get(run.by_id, "")
    about = (
        ("Board", board.serial),
        ("Assembly", f"{board.assembly.part_number} revision {board.assembly.revision}"),
        ("Job", spell_job(card.job.id)),
        ("Run", str(run.id)),
        ("Line", f"{site.designator}: {STEP_WORDS[step.kind].lower()}"),
        ("Verdict", word_run(run.state, run.verdict, is_set_aside=run.is_set_aside).word),
        *_list_reasons(run, view.scale),
        *list_about(standing, view.scale, digits=DIGEST_SHOWN),
        ("Recipe", f"{revision.recipe.code} revision {revision.number}"),
        ("Recipe digest", (revision.digest or "")[:DIGEST_SHOWN]),
        ("Samples digest", get_trace_of(run).samples_sha256[:DIGEST_SHOWN]),
        ("Bench", run.bench.code),
        ("Operator", operator),
        ("Started", spell_moment(run.started_at, settings.zone)),
        ("Seen", f"{view.from_s:.1f} s to {view.to_s:.1f} s of {view.duration_s:.1f} s"),
        ("Temperatures in", view.scale.words),
    )
    return Chart(
        title=f"Run {run.id} · board {board.serial} · "
        f"{site.designator}, {STEP_WORDS[step.kind].lower()}",
        about=about,
        channels=draw_channels(recorded, points=points, from_s=view.from_s, to_s=view.to_s),
        zones=list_zones(body),
        liquidus_c=body.window.liquidus_c,
        levels=list_levels(body, step.kind),
        marks=list_marks(recorded, run.figures),
        view=view,
    )


def _list_reasons(run: Run, scale: Scale) -> tuple[tuple[str, str], ...]:
    """Return what the verdict rests on: limit, uncertainty, rule, definitions, chain."""
    figures = run.figures
    if not figures:
        return ()
    line = figures["verdict"]["deciding"]
    reasons = []
    if line is not None:
        of = f" of {line['channel']}" if line["channel"] else ""
        value = spell_value(line, scale, with_expanded=True)
        words = f"{spell_metric(line, scale)}{of} {value}"
        use = "" if line["window_use_pct"] is None else f", use {line['window_use_pct']:.0f} %"
        reasons.append(("Deciding limit", f"{words}, allowed {spell_limits(line, scale)}{use}"))
    if "rule" in figures["verdict"]:
        reasons.append(("Decided by", figures["verdict"]["rule"]))
    reasons.append(("Definitions", str(figures["definitions"])))
    chain = spell_chain_used(figures, scale)
    if chain:
        reasons.append(("Measuring chain", chain))
    reasons += [("Lapsed", words) for words in list_kept_lapses(figures)]
    return tuple(reasons)


def list_zones(body: RecipeBody) -> tuple[ShownZone, ...]:
    """Return a recipe's zones, laid from the start of a trace."""
    zones, start = [], 0.0
    for zone in body.zones:
        end = start + zone.time_s
        zones.append(ShownZone(str(zone.name), start, end, zone.top_c, zone.bottom_c))
        start = end
    return tuple(zones)


def list_levels(body: RecipeBody, kind: StepKind) -> tuple[Level, ...]:
    """Return the limits of the peak that a line is held against, those at one temperature as one.

    A removal has no lower ones.
    """
    window = drop_lower_limits(body.window) if kind is StepKind.REMOVE else body.window
    named: dict[tuple[float, str], list[ChannelRole]] = {}
    for limit in window.limits:
        if limit.metric is Metric.PEAK_C:
            for side, at in (("at least", limit.lower), ("at most", limit.upper)):
                if at is not None:
                    named.setdefault((at, side), []).extend(limit.roles)
    return tuple(
        Level(f"{', '.join(_name_roles(roles))} {side}", at)
        for (at, side), roles in sorted(named.items())
    )


def _name_roles(roles: Sequence[ChannelRole]) -> list[str]:
    """Name roles briefly: both kinds of joint are joints."""
    joints = [role for role in roles if role.is_joint]
    others = [role.words for role in roles if not role.is_joint]
    return ["joints" if len(joints) > 1 else joints[0].words, *others] if joints else others


@router.get("/runs/{run_id}/chart.svg")
def export_svg(
    run_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    asked: AskedView,
    _: Reader,
    window: AskedWindow = "",
) -> Response:
    """Give the seen part of the chart as SVG."""
    chart, _recorded = _load(session, run_id, asked, settings, window)
    return _answer(draw_chart_svg(chart), "image/svg+xml", chart, "svg")


@router.get("/runs/{run_id}/chart.png")
def export_png(
    run_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    asked: AskedView,
    _: Reader,
    window: AskedWindow = "",
) -> Response:
    """Give the seen part of the chart as PNG."""
    chart, _recorded = _load(session, run_id, asked, settings, window)
    return _answer(draw_png(draw_chart_svg(chart)), "image/png", chart, "png")


@router.get("/runs/{run_id}/chart.csv")
def export_csv(
    run_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    asked: AskedView,
    _: Exporter,
    window: AskedWindow = "",
) -> StreamingResponse:
    """Give every sample of the seen part as CSV, below what it is and the run's figures."""
    chart, recorded = _load(session, run_id, asked, settings, window)
    return StreamingResponse(
        spell_chart_csv(
            chart, recorded, kept=tuple(list_kept(get_run(session, run_id), chart.view.scale))
        ),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": spell_disposition(_name(chart, "csv"))},
    )


@router.get("/runs/{run_id}/chart.json")
def export_json(
    run_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    asked: AskedView,
    _: Exporter,
    window: AskedWindow = "",
) -> Response:
    """Give the seen part as JSON, up to 20,000 readings a channel, and the kept figures."""
    chart, recorded = _load(session, run_id, asked, settings, window, points=FULL_POINTS)
    said = view_chart(
        chart,
        is_reduced=is_reduced(recorded, points=FULL_POINTS),
        figures=get_run(session, run_id).figures,
    )
    return _answer(said.model_dump_json(), "application/json", chart, "json")


def _load(
    session: Session,
    run_id: int,
    asked: AskedPart,
    settings: Settings,
    window: str,
    *,
    points: int = CHART_POINTS,
) -> tuple[Chart, RecordedTrace]:
    run = get_run(session, run_id)
    recorded = load_run_samples(session, run)
    place = load_place(session, run)
    _card, site, step = place
    standing = hold_run(session, run, recorded, site=site, step=step, key=window or None)
    chart = make_chart(
        session, run, place, recorded,
        asked=asked, settings=settings, standing=standing, points=points,
    )  # fmt: skip
    return chart, recorded


def _answer(content: str | bytes, media_type: str, chart: Chart, suffix: str) -> Response:
    return Response(
        content,
        media_type=media_type,
        headers={"Content-Disposition": spell_disposition(_name(chart, suffix))},
    )


def _name(chart: Chart, suffix: str) -> str:
    about = dict(chart.about)
    return f"run-{about['Run']}-board-{about['Board'][:60]}.{suffix}"
