"""Runs laid beside each other: over one another in a picture, figure by figure in a table."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.clock import spell_minute
from app.core.refusals import Conflict, TooLarge, Unacceptable
from app.core.request import HouseSettings, RequestSession
from app.core.settings import Settings
from app.core.text import RowId
from app.jobs.chart_picture import draw_png
from app.jobs.comparison import (
    Alignment,
    Candidate,
    Comparison,
    compare_runs,
)
from app.jobs.comparison_picture import draw_comparison_svg
from app.jobs.comparison_runs import list_peers
from app.jobs.downloads import spell_disposition
from app.jobs.pages.charts import DIGEST_SHOWN
from app.jobs.pages.compare_words import (
    ComparedRow,
    RunHead,
    list_cautions,
    make_head,
    make_rows,
    spell_envelope,
)
from app.jobs.pages.peer_words import PeerWords, word_peers
from app.jobs.queries import get_run
from app.jobs.rules import spell_job
from app.jobs.scales import Scale
from app.jobs.tables import JobStep, Run
from app.recipes.queries import get_body
from app.traces.queries import load_samples
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]

FEWEST_RUNS: Final = 2
MOST_RUNS: Final = 12
# Rows times channels of all runs together, some hundred times a usual comparison.
MOST_READINGS: Final = 4_000_000


class RunWithoutTrace(Conflict):
    """A run that is not complete has nothing to compare."""

    code = "jobs.run_without_trace"


class ChannelNotThere(Unacceptable):
    """The first run has no channel of this name."""

    code = "jobs.channel_not_there"


class ComparisonTooLarge(TooLarge):
    """The runs together have more readings than are compared at once."""

    code = "jobs.comparison_too_large"


class AskedComparison:
    """Which runs, what is laid over each other, by which channel, and the unit."""

    def __init__(
        self,
        run: Annotated[list[RowId] | None, Query(max_length=MOST_RUNS)] = None,
        align: Alignment = Alignment.START,
        channel: Annotated[str, Query(max_length=60)] = "",
        unit: Scale = Scale.CELSIUS,
    ) -> None:
        self.run_ids = tuple(dict.fromkeys(run or ()))
        self.alignment = align
        self.channel = channel
        self.scale = unit

    def spell(self, **more: str) -> str:
        """Return the query that asks for the same, or for `more` instead."""
        said = {
            "align": str(self.alignment),
            "channel": self.channel,
            "unit": str(self.scale),
            **more,
        }
        return urlencode(
            [*(("run", str(one)) for one in self.run_ids), *((k, v) for k, v in said.items() if v)]
        )


Asked = Annotated[AskedComparison, Depends(AskedComparison)]


@dataclass(frozen=True)
class ComparePage:
    """All that compare.html can see."""

    shell: Shell
    run_ids: tuple[int, ...]
    picture: str
    heads: tuple[RunHead, ...]
    rows: tuple[ComparedRow, ...]
    channel: str
    channels: tuple[str, ...]
    alignment: str
    alignments: tuple[tuple[str, str], ...]
    unit: str
    units: tuple[tuple[str, str], ...]
    envelope: str
    cautions: tuple[str, ...]
    exports: tuple[tuple[str, str], ...]
    peers: tuple[PeerWords, ...]


@router.get("/runs/compare")
def show_comparison(
    request: Request, session: RequestSession, settings: HouseSettings, asked: Asked, person: Reader
) -> HTMLResponse:
    """Show runs beside each other, or what can be picked where fewer than two are named."""
    runs = [get_run(session, run_id) for run_id in asked.run_ids]
    shell = make_shell(request, person, title="Runs beside each other")
    peers: tuple[PeerWords, ...] = ()
    if runs:
        found = list_peers(
            session, runs[0], _get_step(session, runs[0]).kind, without=asked.run_ids
        )
        peers = word_peers(found, settings)
    if len(runs) < FEWEST_RUNS:
        return render("jobs/compare.html", _make_empty(shell, asked, peers))
    comparison = _compare(session, runs, asked)
    asked.channel = comparison.channel
    return render(
        "jobs/compare.html",
        ComparePage(
            shell=shell,
            run_ids=asked.run_ids,
            picture=_draw(runs, comparison, asked, settings),
            heads=tuple(
                make_head(run, one, asked.scale, settings)
                for run, one in zip(runs, comparison.runs, strict=True)
            ),
            rows=make_rows(comparison, asked.scale),
            channel=comparison.channel,
            channels=tuple(c.name for c in comparison.runs[0].candidate.recorded.channels),
            alignment=str(asked.alignment),
            alignments=tuple((str(one), one.words) for one in Alignment),
            unit=str(asked.scale),
            units=tuple((str(scale), scale.words) for scale in Scale),
            envelope=spell_envelope(comparison, asked.scale),
            cautions=list_cautions(runs),
            exports=tuple(
                (name, f"/runs/compare/chart.{suffix}?{asked.spell()}")
                for name, suffix in (("SVG", "svg"), ("PNG", "png"))
            ),
            peers=peers if len(runs) < MOST_RUNS else (),
        ),
    )


@router.get("/runs/compare/chart.svg")
def export_svg(
    session: RequestSession, settings: HouseSettings, asked: Asked, _: Reader
) -> Response:
    """Give the picture of a comparison as SVG."""
    return _answer(_draw_asked(session, asked, settings), "image/svg+xml", asked, "svg")


@router.get("/runs/compare/chart.png")
def export_png(
    session: RequestSession, settings: HouseSettings, asked: Asked, _: Reader
) -> Response:
    """Give the picture of a comparison as PNG."""
    return _answer(draw_png(_draw_asked(session, asked, settings)), "image/png", asked, "png")


def _answer(content: str | bytes, media_type: str, asked: AskedComparison, suffix: str) -> Response:
    name = f"runs-{'-'.join(map(str, asked.run_ids))}.{suffix}"
    headers = {"Content-Disposition": spell_disposition(name)}
    return Response(content, media_type=media_type, headers=headers)


def _draw_asked(session: Session, asked: AskedComparison, settings: Settings) -> str:
    if len(asked.run_ids) < FEWEST_RUNS:
        raise ChannelNotThere("Name 2 to 12 runs to compare.", field="run")
    runs = [get_run(session, run_id) for run_id in asked.run_ids]
    return _draw(runs, _compare(session, runs, asked), asked, settings)


def _make_empty(shell: Shell, asked: AskedComparison, peers: tuple[PeerWords, ...]) -> ComparePage:
    return ComparePage(
        shell=shell,
        run_ids=asked.run_ids,
        picture="",
        heads=(),
        rows=(),
        channel="",
        channels=(),
        alignment="",
        alignments=(),
        unit="",
        units=(),
        envelope="",
        cautions=(),
        exports=(),
        peers=peers,
    )


def _compare(session: Session, runs: Sequence[Run], asked: AskedComparison) -> Comparison:
    left = MOST_READINGS
    for run in runs:
        if run.trace is None:
            raise RunWithoutTrace(
                f"Run {run.id} is {run.state}; it has no trace to compare.", field="run"
            )
        left -= _count_readings(run)
    if left < 0:
        raise ComparisonTooLarge(
            f"These runs have {MOST_READINGS - left:,} readings together; at most "
            f"{MOST_READINGS:,} are compared at once.",
            field="run",
        )
    candidates = [_load(session, run) for run in runs]
    channel = asked.channel or _choose_channel(candidates[0])
    names = [one.name for one in candidates[0].recorded.channels]
    if channel not in names:
        raise ChannelNotThere(
            f"Run {runs[0].id} has no channel of this name; it has {', '.join(names)}.",
            field="channel",
        )
    earlier = []
    for run in list_peers(
        session, runs[0], candidates[0].step, accepted_only=True, without=asked.run_ids
    ):
        left -= _count_readings(run)
        if left < 0:
            break
        earlier.append(_load(session, get_run(session, run.id)))
    return compare_runs(candidates, channel=channel, alignment=asked.alignment, earlier=earlier)


def _count_readings(run: Run) -> int:
    return run.trace.rows * len(run.trace.channels) if run.trace else 0


def _choose_channel(candidate: Candidate) -> str:
    channels = candidate.recorded.channels
    return next((one.name for one in channels if one.role.is_joint), channels[0].name)


def _load(session: Session, run: Run) -> Candidate:
    if run.trace is None:
        raise RunWithoutTrace(f"Run {run.id} has no trace to compare.", field="run")
    return Candidate(
        run_id=run.id,
        label=f"run {run.id}",
        body=get_body(run.job_site.revision),
        recorded=load_samples(session, run.trace),
        findings=run.trace.reading["findings"],
        step=_get_step(session, run).kind,
    )


def _get_step(session: Session, run: Run) -> JobStep:
    return session.get_one(JobStep, run.step_id)


def _draw(
    runs: Sequence[Run], comparison: Comparison, asked: AskedComparison, settings: Settings
) -> str:
    about: list[tuple[str, str]] = []
    for run in runs:
        revision = run.job_site.revision
        about.append(
            (
                f"Run {run.id}:",
                (
                    f"{spell_job(run.job_site.job_id)}, {run.job_site.site.placement.designator}, "
                    f"{revision.recipe.code} revision {revision.number} "
                    f"({(revision.digest or '')[:DIGEST_SHOWN]}), bench {run.bench.code}, "
                    f"{spell_minute(run.started_at, settings.zone)}"
                ),
            )
        )
    about.append(("Shaded:", spell_envelope(comparison, asked.scale)))
    about.append(("Temperatures in", asked.scale.words))
    return draw_comparison_svg(comparison, scale=asked.scale, about=about)
