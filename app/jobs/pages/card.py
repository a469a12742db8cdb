"""The doors of a job's work card: see it, clear it, hold it, end it."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.refusals import Forbidden, Refusal, Unknown
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.settings import Settings
from app.core.text import RowId
from app.jobs import service
from app.jobs.pages.card_sheet import Asked, show_card
from app.jobs.schemas import ClearJob, CloseJob, ReasonGiven
from app.jobs.tables import Job
from app.plant.queries import get_bench
from app.web.forms import PostedForm, map_faults
from app.web.shell import add_notices, go_to

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Worker = Annotated[Person, Depends(needs(Action.JOBS_WORK))]
Closer = Annotated[Person, Depends(needs(Action.JOBS_CLOSE))]
Holder = Annotated[Person, Depends(needs(Action.HOLDS_PLACE))]
Lifter = Annotated[Person, Depends(needs(Action.HOLDS_LIFT))]

add_notices(
    {
        "job-opened": "The job is open. Next: clear it for heat.",
        "job-cleared": "Cleared. The work can begin.",
        "job-held": "The job is on hold.",
        "job-lifted": "The hold is lifted.",
        "job-closed": "The job is closed.",
    }
)


@router.get("/jobs/{job_id}")
def show_job(
    job_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Reader,
    bench_id: Annotated[RowId | None, Query()] = None,
    step: Annotated[RowId | None, Query()] = None,
) -> HTMLResponse:
    """Show a job's work card, with what is next on top."""
    asked = Asked(bench_id=bench_id, step_id=step)
    return show_card(request, session, settings, person, job_id, asked=asked)


@router.post("/jobs/{job_id}/clearance")
def clear_job(
    job_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    form: PostedForm,
) -> Response:
    """Clear a job for heat at a bench."""

    def clear(job: Job) -> None:
        bench = get_bench(session, form.parse(ClearJob).bench_id)
        service.clear_job(session, job, bench, settings=settings, person=person, now=now)

    return _change(request, session, settings, person, job_id, form, clear, said="job-cleared")


@router.post("/jobs/{job_id}/hold")
def place_hold(
    job_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Holder,
    form: PostedForm,
) -> Response:
    """Stop all work on a job."""

    def hold(job: Job) -> None:
        said = form.parse(ReasonGiven)
        service.place_hold(session, job, said.reason, person=person, now=now)

    return _change(request, session, settings, person, job_id, form, hold, said="job-held")


@router.post("/jobs/{job_id}/hold/lift")
def lift_hold(
    job_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Lifter,
    form: PostedForm,
) -> Response:
    """Lift a job's hold."""

    def lift(job: Job) -> None:
        said = form.parse(ReasonGiven)
        service.lift_hold(session, job, said.reason, person=person, now=now)

    return _change(request, session, settings, person, job_id, form, lift, said="job-lifted")


@router.post("/jobs/{job_id}/cancellation")
def cancel_job(
    job_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Closer,
    form: PostedForm,
) -> Response:
    """Close a job on which no work was begun."""

    def cancel(job: Job) -> None:
        said = form.parse(ReasonGiven)
        service.cancel_job(session, job, said.reason, person=person, now=now)

    return _change(request, session, settings, person, job_id, form, cancel, said="job-closed")


@router.post("/jobs/{job_id}/closing")
def close_job(
    job_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Closer,
    form: PostedForm,
) -> Response:
    """Close a job with its outcome."""

    def close(job: Job) -> None:
        service.close_job(session, job, form.parse(CloseJob), person=person, now=now)

    return _change(request, session, settings, person, job_id, form, close, said="job-closed")


def _change(
    request: Request,
    session: Session,
    settings: Settings,
    person: Person,
    job_id: int,
    form: PostedForm,
    change: Callable[[Job], None],
    *,
    said: str,
) -> Response:
    try:
        change(service.lock_job(session, job_id))
    except (Unknown, Forbidden):
        raise
    except Refusal as refusal:
        # What was changed before the refusal must not be kept with the page that shows it.
        session.rollback()
        asked = Asked(
            bench_id=_find_bench_id(form),
            values=form.texts,
            faults=map_faults(refusal),
            status=422,
        )
        return show_card(request, session, settings, person, job_id, asked=asked)
    return go_to(f"/jobs/{job_id}", said=said)


def _find_bench_id(form: PostedForm) -> int | None:
    try:
        return form.parse(ClearJob).bench_id
    except Refusal:
        return None
