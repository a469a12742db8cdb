"""The JSON routes of the lines of a work card."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Response

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.request import Now, PathId, RequestSession
from app.jobs import work
from app.jobs.answers import view_entry
from app.jobs.schemas import StepCorrected, StepDone, StepSkipped
from app.jobs.service import lock_job
from app.jobs.views import EntryView
from app.web.once import CreateOnce

router = APIRouter(prefix="/jobs/{job_id}/steps/{step_id}")

Worker = Annotated[Person, Depends(needs(Action.JOBS_WORK))]


@router.post("/signature", response_model=EntryView, status_code=HTTPStatus.CREATED)
def sign_step(
    job_id: PathId,
    step_id: PathId,
    fields: StepDone,
    session: RequestSession,
    now: Now,
    person: Worker,
    once: CreateOnce,
) -> Response:
    """Sign a line with the values and lots really used.

    A heated line is signed with the run that counts: where it has several complete ones, `run_id`
    names it, and without `run_id` it is the newest. The entry keeps its number.
    """

    def create() -> EntryView:
        job = lock_job(session, job_id)
        entry = work.sign_step(session, job, step_id, fields, person=person, now=now)
        return view_entry(session, entry)

    return once.answer(session, person.account_id, create)


@router.post("/skip", response_model=EntryView, status_code=HTTPStatus.CREATED)
def skip_step(
    job_id: PathId,
    step_id: PathId,
    fields: StepSkipped,
    session: RequestSession,
    now: Now,
    person: Worker,
    once: CreateOnce,
) -> Response:
    """Leave a line out and say why."""

    def create() -> EntryView:
        job = lock_job(session, job_id)
        entry = work.skip_step(session, job, step_id, fields.reason, person=person, now=now)
        return view_entry(session, entry)

    return once.answer(session, person.account_id, create)


@router.post(
    "/entries/{entry_id}/correction", response_model=EntryView, status_code=HTTPStatus.CREATED
)
def correct_entry(
    job_id: PathId,
    step_id: PathId,
    entry_id: PathId,
    fields: StepCorrected,
    session: RequestSession,
    now: Now,
    person: Worker,
    once: CreateOnce,
) -> Response:
    """Write what should have been written; the wrong entry stays and is named."""

    def create() -> EntryView:
        job = lock_job(session, job_id)
        entry = work.correct_entry(session, job, step_id, entry_id, fields, person=person, now=now)
        return view_entry(session, entry)

    return once.answer(session, person.account_id, create)
