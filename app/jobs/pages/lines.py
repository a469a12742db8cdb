"""One line of a work card: signing, skipping, correcting, and starting its run."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
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
from app.jobs import runs, work
from app.jobs.answers import list_people
from app.jobs.downloads import parse_file_name
from app.jobs.instructions import Instruction, write_instruction
from app.jobs.logger_file import LoggerFile
from app.jobs.pages.card_sheet import Asked, list_bench_choices, show_card
from app.jobs.pages.card_words import (
    BenchChoice,
    EntryWords,
    RunChoice,
    RunWords,
    list_choices,
    word_entry,
    word_run_line,
)
from app.jobs.pages.forms import EntryForm, keep_form, make_correction, parse_entry
from app.jobs.pages.reading_lines import spell_file_limits
from app.jobs.pages.sent import FileSent
from app.jobs.pages.words import STEP_WORDS, Link
from app.jobs.queries import get_entry, get_job, get_run, get_step, load_card
from app.jobs.rules import JobState, RunState, spell_job
from app.jobs.schemas import ClearJob, StepCorrected, StepDone, StepSkipped
from app.jobs.service import lock_job
from app.jobs.tables import Job
from app.plant.queries import get_bench
from app.recipes.queries import get_body
from app.web.forms import Form, NotAForm, PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Worker = Annotated[Person, Depends(needs(Action.JOBS_WORK))]
ADD_LOT = "add-lot"

add_notices(
    {
        "line-signed": "Signed.",
        "line-skipped": "The line is skipped; the reason stands beside it.",
        "entry-corrected": "Corrected. The old entry stays, struck through.",
        "run-complete": "The trace is kept. Its columns were read as this bench remembers them.",
    }
)


@dataclass(frozen=True)
class LinePage:
    """All that line.html can see."""

    shell: Shell
    job: Link
    href: str
    title: str
    instruction: Instruction
    entries: tuple[EntryWords, ...]
    runs: tuple[RunWords, ...]
    choices: tuple[RunChoice, ...]
    has_lost_its_run: bool
    benches: tuple[BenchChoice, ...]
    file_limits: str
    valid_id: str
    form: EntryForm | None
    asks_inspection: bool


@router.get("/jobs/{job_id}/steps/{step_id}")
def show_line(
    job_id: PathId,
    step_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Reader,
) -> HTMLResponse:
    """Show one line with all that was written on it, and the form that corrects it."""
    return _show_line(request, session, settings, person, job_id, step_id)


@router.post("/jobs/{job_id}/steps/{step_id}/signature")
def sign_line(
    job_id: PathId,
    step_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    form: PostedForm,
) -> Response:
    """Sign a line, or add a row for another lot and sign nothing."""

    def sign(job: Job) -> str:
        _, step = get_step(load_card(session, job), step_id)
        said = parse_entry(form, step.kind, StepDone)
        work.sign_step(session, job, step_id, said, person=person, now=now, asks_remark=True)
        return "line-signed"

    if form.text("do") == ADD_LOT:
        asked = _keep(session, job_id, step_id, form, faults={}, wants_lot=True)
        return show_card(request, session, settings, person, job_id, asked=asked)
    return _write(request, session, settings, person, job_id, step_id, form, sign)


@router.post("/jobs/{job_id}/steps/{step_id}/skip")
def skip_line(
    job_id: PathId,
    step_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    form: PostedForm,
) -> Response:
    """Leave a line out and say why."""

    def skip(job: Job) -> str:
        said = form.parse(StepSkipped)
        work.skip_step(session, job, step_id, said.reason, person=person, now=now)
        return "line-skipped"

    return _write(request, session, settings, person, job_id, step_id, form, skip)


@router.post("/jobs/{job_id}/steps/{step_id}/entries/{entry_id}/correction")
def correct_line(
    job_id: PathId,
    step_id: PathId,
    entry_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    form: PostedForm,
) -> Response:
    """Write what should have been written; the wrong entry stays and is named."""
    if form.text("do") == ADD_LOT:
        return _show_line(
            request, session, settings, person, job_id, step_id, sent=form, wants_lot=True
        )
    try:
        job = lock_job(session, job_id)
        site, step = get_step(load_card(session, job), step_id)
        get_entry(site, step, entry_id)
        said = parse_entry(form, step.kind, StepCorrected, reason=form.text("reason"))
        work.correct_entry(session, job, step_id, entry_id, said, person=person, now=now)
    except (Unknown, Forbidden):
        raise
    except Refusal as refusal:
        session.rollback()
        return _show_line(
            request, session, settings, person, job_id, step_id, sent=form, refusal=refusal
        )
    return go_to(f"/jobs/{job_id}/steps/{step_id}", said="entry-corrected")


@router.post("/jobs/{job_id}/steps/{step_id}/runs")
def start_run(
    file: FileSent,
    job_id: PathId,
    step_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    form: PostedForm,
) -> Response:
    """Begin a run with a logger's file; complete it where the bench knows how to read it."""
    found: dict[str, int] = {}

    def start(job: Job) -> str:
        if file is None:
            raise NotAForm("Choose a file first.", field="file")
        run = runs.start_run(
            session,
            job,
            step_id,
            bench=get_bench(session, form.parse(ClearJob).bench_id),
            file=file.content,
            file_name=parse_file_name(file.name),
            settings=settings,
            person=person,
            now=now,
        )
        found["run"] = run.id
        return _complete_if_known(session, run.id, file.content, settings, person, now)

    answer = _write(request, session, settings, person, job_id, step_id, form, start)
    if not found or answer.status_code != 303:  # noqa: PLR2004
        return answer
    run = get_run(session, found["run"])
    if run.state is RunState.COMPLETE:
        return go_to(f"/runs/{run.id}", said="run-complete")
    return go_to(f"/runs/{run.id}/reading")


def _complete_if_known(
    session: Session,
    run_id: int,
    file: LoggerFile,
    settings: Settings,
    person: Person,
    now: datetime,
) -> str:
    run = get_run(session, run_id)
    runs.complete_at_once(session, run, settings=settings, person=person, now=now, file=file)
    return "run-complete"


def _write(
    request: Request,
    session: Session,
    settings: Settings,
    person: Person,
    job_id: int,
    step_id: int,
    form: Form,
    write: Callable[[Job], str],
) -> Response:
    try:
        said = write(lock_job(session, job_id))
    except (Unknown, Forbidden):
        raise
    except Refusal as refusal:
        # What was changed before the refusal must not be kept with the page that shows it.
        session.rollback()
        faults = map_faults(refusal)
        asked = _keep(session, job_id, step_id, form, faults=faults, wants_lot=False)
        return show_card(request, session, settings, person, job_id, asked=asked)
    return go_to(f"/jobs/{job_id}", said=said)


def _keep(
    session: Session,
    job_id: int,
    step_id: int,
    form: Form,
    *,
    faults: dict[str, str],
    wants_lot: bool,
) -> Asked:
    site, step = get_step(load_card(session, get_job(session, job_id)), step_id)
    is_entry = "remark" in form.texts
    kept = keep_form(site, step, form, faults=faults, wants_lot=wants_lot) if is_entry else None
    return Asked(
        step_id=step_id,
        form=kept,
        values=form.texts,
        faults=faults,
        status=422 if faults else 200,
    )


def _show_line(
    request: Request,
    session: Session,
    settings: Settings,
    person: Person,
    job_id: int,
    step_id: int,
    *,
    sent: Form | None = None,
    wants_lot: bool = False,
    refusal: Refusal | None = None,
) -> HTMLResponse:
    job = get_job(session, job_id)
    card = load_card(session, job)
    site, step = get_step(card, step_id)
    names = map_account_names(session, list_people(card))
    valid = site.find_valid_entry(step)
    form = None
    if valid is not None and job.state is not JobState.CLOSED and card.open_hold is None:
        form = make_correction(site, step, valid)
        if sent is not None:
            faults = map_faults(refusal) if refusal else {}
            form = keep_form(site, step, sent, faults=faults, wants_lot=wants_lot)
    page = LinePage(
        shell=make_shell(
            request, person, title=f"{site.designator}: {STEP_WORDS[step.kind].lower()}"
        ),
        job=Link(f"/jobs/{job.id}", f"{spell_job(job.id)} · board {job.board.serial}"),
        href=f"/jobs/{job.id}/steps/{step.id}",
        title=STEP_WORDS[step.kind],
        instruction=write_instruction(get_body(site.job_site.revision), step.kind),
        entries=tuple(
            word_entry(site, step, entry, names, settings.zone)
            for entry in site.entries.get(step.id, ())
        ),
        runs=tuple(word_run_line(run, settings.zone) for run in site.list_runs_of(step)),
        choices=list_choices(site, step, settings.zone, said=sent.text("run_id") if sent else ""),
        has_lost_its_run=valid is not None and site.has_lost_its_run(step),
        benches=list_bench_choices(session, job.bench_id),
        file_limits=spell_file_limits(settings),
        valid_id=str(valid.id) if valid else "",
        form=form if person.may(Action.JOBS_WORK) else None,
        asks_inspection=bool(form and form.checks),
    )
    return render("jobs/line.html", page, status=422 if refusal else 200)
