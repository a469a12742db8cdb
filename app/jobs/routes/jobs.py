"""The JSON routes of jobs: opening, clearance, holds, outcomes."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Response

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards.queries import get_board, get_placement
from app.core.conditional import spell_etag
from app.core.paging import AskedPage, Piece, take_piece
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.text import RowId
from app.jobs import service
from app.jobs.answers import name_recipe, view_clearance, view_job, view_jobs
from app.jobs.cases import compose_case
from app.jobs.clearance import find_all
from app.jobs.queries import get_job, list_offers, load_card, select_jobs
from app.jobs.rules import JobState
from app.jobs.schemas import ClearJob, CloseJob, NewJob, ReasonGiven
from app.jobs.tables import Job
from app.jobs.views import ClearanceView, JobLine, JobView, RecipeOffer
from app.plant.queries import get_bench
from app.web.once import CreateOnce

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Opener = Annotated[Person, Depends(needs(Action.JOBS_OPEN))]
Worker = Annotated[Person, Depends(needs(Action.JOBS_WORK))]
Closer = Annotated[Person, Depends(needs(Action.JOBS_CLOSE))]
Holder = Annotated[Person, Depends(needs(Action.HOLDS_PLACE))]
Lifter = Annotated[Person, Depends(needs(Action.HOLDS_LIFT))]


@router.get("/jobs")
def list_jobs(
    session: RequestSession,
    paging: AskedPage,
    _: Reader,
    state: Annotated[JobState | None, Query(description="Only jobs in this state.")] = None,
    board_id: Annotated[RowId | None, Query(description="Only jobs of this board.")] = None,
) -> Piece[JobLine]:
    """List the jobs, newest first."""
    rows, cursor = take_piece(
        session,
        select_jobs(states=(state,) if state else (), board_id=board_id),
        key=Job.id,
        paging=paging,
        newest_first=True,
    )
    return Piece(items=view_jobs(session, rows), next_cursor=cursor)


@router.post("/jobs", response_model=JobView, status_code=HTTPStatus.CREATED)
def open_job(
    fields: NewJob, session: RequestSession, now: Now, person: Opener, once: CreateOnce
) -> Response:
    """Open a job for sites of one board, each with a published recipe revision that fits it."""

    def create() -> JobView:
        job = service.open_job(session, fields, person=person, now=now)
        return view_job(session, load_card(session, get_job(session, job.id)))

    return once.answer(session, person.account_id, create)


@router.get("/jobs/{job_id}")
def show_job(job_id: PathId, session: RequestSession, response: Response, _: Reader) -> JobView:
    """Show a job with its whole work card."""
    job = get_job(session, job_id)
    response.headers["ETag"] = spell_etag(job.version)
    return view_job(session, load_card(session, job))


@router.get("/jobs/{job_id}/clearance")
def look_at_clearance(
    job_id: PathId,
    bench_id: Annotated[RowId, Query(description="Where the job would be heated.")],
    session: RequestSession,
    settings: HouseSettings,
    _: Reader,
) -> ClearanceView:
    """Say what is found before heat at a bench, and change nothing."""
    card = load_card(session, get_job(session, job_id))
    bench = get_bench(session, bench_id)
    return view_clearance(bench.id, find_all(compose_case(session, card, bench, settings)))


@router.post("/jobs/{job_id}/clearance")
def clear_job(
    job_id: PathId,
    fields: ClearJob,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
) -> JobView:
    """Clear a job for heat at a bench; refused while something stops it."""
    job = service.lock_job(session, job_id)
    bench = get_bench(session, fields.bench_id)
    service.clear_job(session, job, bench, settings=settings, person=person, now=now)
    return view_job(session, load_card(session, job))


@router.post("/jobs/{job_id}/hold")
def place_hold(
    job_id: PathId, fields: ReasonGiven, session: RequestSession, now: Now, person: Holder
) -> JobView:
    """Stop all work on a job until the hold is lifted."""
    job = service.lock_job(session, job_id)
    service.place_hold(session, job, fields.reason, person=person, now=now)
    return view_job(session, load_card(session, job))


@router.post("/jobs/{job_id}/hold/lift")
def lift_hold(
    job_id: PathId, fields: ReasonGiven, session: RequestSession, now: Now, person: Lifter
) -> JobView:
    """Lift the hold, and say why that is right."""
    job = service.lock_job(session, job_id)
    service.lift_hold(session, job, fields.reason, person=person, now=now)
    return view_job(session, load_card(session, job))


@router.post("/jobs/{job_id}/cancellation")
def cancel_job(
    job_id: PathId, fields: ReasonGiven, session: RequestSession, now: Now, person: Closer
) -> JobView:
    """Close a job on which no work was begun."""
    job = service.lock_job(session, job_id)
    service.cancel_job(session, job, fields.reason, person=person, now=now)
    return view_job(session, load_card(session, job))


@router.post("/jobs/{job_id}/closing")
def close_job(
    job_id: PathId, fields: CloseJob, session: RequestSession, now: Now, person: Closer
) -> JobView:
    """Close a job with its outcome."""
    job = service.lock_job(session, job_id)
    service.close_job(session, job, fields, person=person, now=now)
    return view_job(session, load_card(session, job))


@router.get("/boards/{board_id}/sites/{designator}/recipes")
def list_recipes_for_site(
    board_id: PathId,
    designator: Annotated[str, Path(min_length=1, max_length=64)],
    session: RequestSession,
    _: Reader,
) -> list[RecipeOffer]:
    """List the published recipes: those that fit the site first, the others with the reason."""
    board = get_board(session, board_id)
    placement = get_placement(session, assembly_id=board.assembly_id, designator=designator)
    return [
        RecipeOffer(recipe=name_recipe(revision), fits=fit.fits, reason=fit.reason)
        for revision, fit in list_offers(session, board, placement)
    ]
