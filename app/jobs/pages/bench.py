"""The start of the bench: what is in work, what waits, and where a job begins."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.clock import spell_minute
from app.core.paging import AskedPage, Paging, take_piece
from app.core.request import HouseSettings, RequestSession
from app.core.settings import Settings
from app.jobs.pages.words import StateWords, word_job, word_next
from app.jobs.queries import map_designators, map_next_steps, map_open_holds, select_jobs
from app.jobs.rules import JobState, spell_job
from app.jobs.tables import Job
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
_RUNNING = (JobState.IN_WORK, JobState.CLEARED, JobState.OPEN)
_CLOSED_SHOWN = 8


@dataclass(frozen=True)
class JobWords:
    """One job in a list."""

    href: str
    number: str
    serial: str
    assembly: str
    designators: str
    next: str
    state: StateWords
    since: str


@dataclass(frozen=True)
class BenchPage:
    """All that bench.html can see."""

    shell: Shell
    running: tuple[JobWords, ...]
    more: str
    closed: tuple[JobWords, ...]
    can_open: bool


@dataclass(frozen=True)
class ClosedPage:
    """All that closed.html can see."""

    shell: Shell
    lines: tuple[JobWords, ...]
    more: str


@router.get("/bench")
def show_bench(
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    paging: AskedPage,
    person: Reader,
) -> HTMLResponse:
    """Show the jobs that are in work or wait, newest first, and the last closed ones."""
    running, cursor = take_piece(
        session, select_jobs(states=_RUNNING), key=Job.id, paging=paging, newest_first=True
    )
    closed: Sequence[Job] = ()
    if paging.after_id is None:
        few = Paging(limit=_CLOSED_SHOWN)
        closed, _ = take_piece(
            session,
            select_jobs(states=(JobState.CLOSED,)),
            key=Job.id,
            paging=few,
            newest_first=True,
        )
    page = BenchPage(
        shell=make_shell(request, person, title="Bench"),
        running=word_jobs(session, settings, running),
        more=f"/bench?cursor={cursor}" if cursor else "",
        closed=word_jobs(session, settings, closed),
        can_open=person.may(Action.JOBS_OPEN),
    )
    return render("jobs/bench.html", page)


@router.get("/bench/closed")
def show_closed(
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    paging: AskedPage,
    person: Reader,
) -> HTMLResponse:
    """Show the closed jobs, newest first."""
    rows, cursor = take_piece(
        session,
        select_jobs(states=(JobState.CLOSED,)),
        key=Job.id,
        paging=paging,
        newest_first=True,
    )
    page = ClosedPage(
        shell=make_shell(request, person, title="Closed jobs"),
        lines=word_jobs(session, settings, rows),
        more=f"/bench/closed?cursor={cursor}" if cursor else "",
    )
    return render("jobs/closed.html", page)


def word_jobs(session: Session, settings: Settings, jobs: Sequence[Job]) -> tuple[JobWords, ...]:
    """Return jobs as the lines of a list."""
    ids = [job.id for job in jobs]
    designators, holds = map_designators(session, ids), map_open_holds(session, ids)
    waiting = map_next_steps(session, ids)
    return tuple(
        JobWords(
            href=f"/jobs/{job.id}",
            number=spell_job(job.id),
            serial=job.board.serial,
            assembly=f"{job.board.assembly.part_number} {job.board.assembly.revision}",
            designators=", ".join(designators.get(job.id, ())),
            next=word_next(job.state, waiting.get(job.id), is_held=job.id in holds),
            state=word_job(job.state, job.outcome, is_held=job.id in holds),
            since=spell_minute(job.closed_at or job.opened_at, settings.zone),
        )
        for job in jobs
    )
