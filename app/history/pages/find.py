"""Finding a board or a job by what a scanner reads or a person types."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards.rules import SerialUnusable, parse_serial
from app.core.request import RequestSession
from app.core.text import parse_line
from app.history.queries import Rows
from app.history.rules import SearchUnreadable
from app.history.searches import (
    has_job,
    list_boards_with_serial,
    list_jobs_with_reference,
    list_similar_boards,
)
from app.jobs.rules import parse_job, spell_job
from app.web.shell import Shell, go_to
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Typed = Annotated[str, Query(max_length=200)]


@dataclass(frozen=True)
class FoundBoard:
    """A board that fits what was typed."""

    href: str
    serial: str
    assembly: str
    shape: str
    word: str


@dataclass(frozen=True)
class FoundJob:
    """A job that fits what was typed."""

    href: str
    number: str
    serial: str
    reference: str
    word: str


@dataclass(frozen=True)
class FindPage:
    """All that find.html can see."""

    shell: Shell
    text: str
    heading: str
    boards: tuple[FoundBoard, ...]
    similar: tuple[FoundBoard, ...]
    jobs: tuple[FoundJob, ...]
    can_register: bool


@router.get("/find")
def find(request: Request, session: RequestSession, person: Reader, q: Typed = "") -> Response:
    """Go straight to what was scanned; show a list where several fit, or what is similar."""
    text = _parse(q)
    if not text:
        return _show(request, person, text="", heading="")
    job_id = parse_job(text)
    is_job = job_id is not None and has_job(session, job_id)
    boards = list_boards_with_serial(session, _parse_serial(text))
    if is_job and not boards:
        return go_to(f"/jobs/{job_id}")
    if len(boards) == 1 and not is_job:
        return go_to(f"/boards/{boards[0].id}/history")
    jobs = list_jobs_with_reference(session, text)
    if boards:
        heading = f"{len(boards)} boards have the serial {text}"
        if is_job:
            heading = f"{text} is a serial, and the number of job {spell_job(job_id or 0)}"
        more = (FoundJob(f"/jobs/{job_id}", spell_job(job_id or 0), "", "", ""),) if is_job else ()
        return _show(
            request, person, text=text, heading=heading, boards=boards, first_jobs=more, jobs=jobs
        )
    similar = list_similar_boards(session, text)
    if len(jobs) == 1 and not similar:
        return go_to(f"/jobs/{jobs[0].id}")
    heading = f"No board has the serial {text}"
    if job_id is not None:
        heading = f"There is no job {spell_job(job_id)}, and no board has the serial {text}"
    return _show(
        request, person, text=text, heading=heading, similar=similar, jobs=jobs, is_new=True
    )


def _parse(typed: str) -> str:
    try:
        return parse_line(typed)
    except ValueError as error:
        raise SearchUnreadable(f"This cannot be looked for: {error}.", field="q") from None


def _parse_serial(text: str) -> str:
    try:
        return parse_serial(text)
    except SerialUnusable:
        return ""


def _show(
    request: Request,
    person: Person,
    *,
    text: str,
    heading: str,
    boards: Rows = (),
    similar: Rows = (),
    first_jobs: tuple[FoundJob, ...] = (),
    jobs: Rows = (),
    is_new: bool = False,
) -> HTMLResponse:
    page = FindPage(
        shell=make_shell(request, person, title="Find"),
        text=text,
        heading=heading,
        boards=_spell_boards(boards),
        similar=_spell_boards(similar),
        jobs=(
            *first_jobs,
            *(
                FoundJob(
                    f"/jobs/{row.id}",
                    spell_job(row.id),
                    row.serial,
                    row.reference,
                    str(row.outcome or row.state),
                )
                for row in jobs
            ),
        ),
        can_register=is_new and person.may(Action.BOARDS_REGISTER),
    )
    return render("history/find.html", page)


def _spell_boards(rows: Rows) -> tuple[FoundBoard, ...]:
    return tuple(
        FoundBoard(
            href=f"/boards/{row.id}/history",
            serial=row.serial,
            assembly=f"{row.part_number} rev {row.revision} · {row.title}",
            shape="stop" if row.scrapped_at else "go",
            word="scrapped" if row.scrapped_at else "in use",
        )
        for row in rows
    )
