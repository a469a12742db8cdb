"""Runs laid beside each other: over one another in a picture, figure by figure in a table."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.request import HouseSettings, RequestSession
from app.jobs.comparison import Alignment
from app.jobs.comparison_data import describe_picture
from app.jobs.comparison_envelope import FEWEST_RUNS, MOST_RUNS
from app.jobs.comparison_runs import get_step_of, list_peers
from app.jobs.pages import compare_exports
from app.jobs.pages.compare_asked import (
    FEWEST_COMPARED,
    MOST_COMPARED,
    Asked,
    AskedComparison,
    SeenComparison,
    see_comparison,
)
from app.jobs.pages.compare_words import (
    ComparedRow,
    ReadingWords,
    RunHead,
    list_cautions,
    make_head,
    make_readings,
    make_rows,
    spell_envelope,
)
from app.jobs.pages.peer_words import PeerWords, word_peers
from app.jobs.queries import get_run
from app.jobs.scales import Scale
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()
router.include_router(compare_exports.router)

Reader = Annotated[Person, Depends(needs(Action.READ))]


@dataclass(frozen=True)
class SeenWords:
    """Everything about the runs that lie over each other."""

    picture: str
    described: str
    heads: tuple[RunHead, ...]
    rows: tuple[ComparedRow, ...]
    readings: ReadingWords
    channel: str
    channels: tuple[str, ...]
    alignment: str
    alignments: tuple[tuple[str, str], ...]
    unit: str
    units: tuple[tuple[str, str, str], ...]
    zero: str
    from_s: str
    to_s: str
    at_s: str
    first_s: str
    last_s: str
    whole_href: str
    here_href: str
    last: int
    last_least: int
    last_most: int
    envelope: str
    cautions: tuple[str, ...]
    exports: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ComparePage:
    """All that compare.html can see; `seen` is None until two runs are named."""

    shell: Shell
    run_ids: tuple[int, ...]
    peers: tuple[PeerWords, ...]
    seen: SeenWords | None


@router.get("/runs/compare")
def show_comparison(
    request: Request, session: RequestSession, settings: HouseSettings, asked: Asked, person: Reader
) -> HTMLResponse:
    """Show runs beside each other, or what can be picked where fewer than two are named."""
    runs = [get_run(session, run_id) for run_id in asked.run_ids]
    peers: tuple[PeerWords, ...] = ()
    if runs and len(runs) < MOST_COMPARED:
        kind = get_step_of(session, runs[0]).kind
        peers = word_peers(list_peers(session, runs[0], kind, without=asked.run_ids), settings)
    seen: SeenWords | None = None
    if len(runs) >= FEWEST_COMPARED:
        found = see_comparison(session, asked, settings)
        asked.channel = found.comparison.channel
        heads = tuple(
            make_head(run, one, found.comparison, asked.scale, settings)
            for run, one in zip(found.runs, found.comparison.runs, strict=True)
        )
        seen = _word(found, asked, heads, may_export=person.may(Action.HISTORY_EXPORT))
    shell = make_shell(
        request,
        person,
        title="Runs beside each other",
        scripts=("compare.js",) if seen is not None else (),
    )
    return render("jobs/compare.html", ComparePage(shell, asked.run_ids, peers, seen))


def _word(
    found: SeenComparison,
    asked: AskedComparison,
    heads: tuple[RunHead, ...],
    *,
    may_export: bool,
) -> SeenWords:
    comparison, view = found.comparison, found.view
    formats = ("svg", "png", "csv", "json") if may_export else ("svg", "png")
    return SeenWords(
        picture=found.draw(),
        described=describe_picture(
            comparison, view, found.layout, scale=asked.scale, at_s=found.at_s
        ),
        heads=heads,
        rows=make_rows(comparison, asked.scale),
        readings=make_readings(comparison, found.at_s, asked.scale),
        channel=comparison.channel,
        channels=tuple(c.name for c in comparison.runs[0].candidate.recorded.channels),
        alignment=str(asked.alignment),
        alignments=tuple((str(one), one.words) for one in Alignment),
        unit=str(asked.scale),
        units=tuple(
            (str(scale), scale.words, f"/runs/compare?{asked.spell(unit=str(scale))}")
            for scale in Scale
        ),
        zero=asked.alignment.zero_words,
        from_s="" if view.is_whole else f"{view.from_s:.10g}",
        to_s="" if view.is_whole else f"{view.to_s:.10g}",
        at_s=f"{found.at_s:.10g}",
        first_s=f"{round(view.first_s, 1) + 0.0:.1f}",
        last_s=f"{view.last_s:.1f}",
        whole_href=f"/runs/compare?{asked.spell(**{'from': '', 'to': ''})}",
        here_href=f"/runs/compare?{asked.spell()}",
        last=asked.last,
        last_least=FEWEST_RUNS,
        last_most=MOST_RUNS,
        envelope=spell_envelope(comparison, asked.scale),
        cautions=list_cautions(found.runs),
        exports=tuple(
            (one.upper(), f"/runs/compare/chart.{one}?{asked.spell(at='')}") for one in formats
        ),
    )
