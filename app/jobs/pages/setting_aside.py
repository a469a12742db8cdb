"""The page on which a run is set aside, and the way to read its kept file again."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.queries import map_account_names
from app.accounts.rules import Person
from app.core.refusals import Forbidden, Refusal, Unknown
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.settings import Settings
from app.jobs.ahead import KeptFileAhead
from app.jobs.pages.aside_words import RunNext, make_run_next
from app.jobs.pages.words import STEP_WORDS, Link, StateWords, word_run
from app.jobs.queries import get_run, load_place
from app.jobs.schemas import ReasonGiven
from app.jobs.setting_aside import read_again, set_aside_run
from app.web.forms import PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

Worker = Annotated[Person, Depends(needs(Action.JOBS_WORK))]

add_notices({"run-set-aside": "The run is set aside: it does not count. Nothing of it is lost."})


@dataclass(frozen=True)
class SettingAsidePage:
    """All that setting_aside.html can see."""

    shell: Shell
    run: Link
    job: Link
    state: StateWords
    next: RunNext
    is_signed: bool
    reason: str
    faults: tuple[str, ...]


@router.get("/runs/{run_id}/setting-aside")
def show_setting_aside(
    run_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Worker,
) -> HTMLResponse:
    """Ask why a run does not count."""
    return _show(request, session, settings, person, run_id)


@router.post("/runs/{run_id}/setting-aside")
def set_run_aside(
    run_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    form: PostedForm,
) -> Response:
    """Say that a run does not count, and why."""
    try:
        said = form.parse(ReasonGiven)
        set_aside_run(session, get_run(session, run_id), said.reason, person=person, now=now)
    except (Unknown, Forbidden):
        raise
    except Refusal as refusal:
        session.rollback()
        return _show(
            request, session, settings, person, run_id,
            refusal=refusal, reason=form.text("reason"),
        )  # fmt: skip
    return go_to(f"/runs/{run_id}", said="run-set-aside")


@router.post("/runs/{run_id}/reading-again")
def read_run_again(
    file: KeptFileAhead,
    run_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
) -> Response:
    """Begin a new run from the kept file, and lead to how its columns are told apart."""
    try:
        run = read_again(
            session, get_run(session, run_id), settings=settings, person=person, now=now, file=file
        )
    except (Unknown, Forbidden):
        raise
    except Refusal as refusal:
        session.rollback()
        return _show(request, session, settings, person, run_id, refusal=refusal)
    return go_to(f"/runs/{run.id}/reading")


def _show(
    request: Request,
    session: Session,
    settings: Settings,
    person: Person,
    run_id: int,
    *,
    refusal: Refusal | None = None,
    reason: str = "",
) -> HTMLResponse:
    run = get_run(session, run_id)
    card, site, step = load_place(session, run)
    names = map_account_names(session, {run.set_aside_by_id} if run.set_aside_by_id else set())
    page = SettingAsidePage(
        shell=make_shell(request, person, title=f"Set run {run.id} aside"),
        run=Link(
            f"/runs/{run.id}", f"Run {run.id} · {site.designator}: {STEP_WORDS[step.kind].lower()}"
        ),
        job=Link(f"/jobs/{card.job.id}", f"The work card of board {card.job.board.serial}"),
        state=word_run(run.state, run.verdict, is_set_aside=run.is_set_aside),
        next=make_run_next(card, site, step, run, person=person, names=names, settings=settings),
        is_signed=site.is_written(step),
        reason=reason,
        faults=tuple(map_faults(refusal).values()) if refusal else (),
    )
    return render("jobs/setting_aside.html", page, status=422 if refusal else 200)
