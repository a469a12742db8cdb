"""Sets complete runs aside that do not count after all, and reads their files again."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.audit.rules import Subject
from app.core.settings import Settings
from app.jobs import rules
from app.jobs.logger_file import LoggerFile
from app.jobs.queries import SiteCard, WorkCard, get_step, load_card
from app.jobs.readings import load_file
from app.jobs.rules import JobState, RunState
from app.jobs.runs import start_run
from app.jobs.service import check_free, lock_job, tell
from app.jobs.tables import JobStep, Run
from app.plant.queries import get_bench


def set_aside_run(session: Session, run: Run, reason: str, *, person: Person, now: datetime) -> Run:
    """Say that a complete run does not count, and why; it stays readable, and there is no way back.

    Whoever may record a run may set it aside while its line is not signed and its job neither held
    nor closed; an engineer at any time. RunNotComplete for another run; RunSetAside the second
    time; RunSigned and JobHeld say who has to do it.
    """
    rules.check_reason(reason, "the run does not count")
    job = lock_job(session, run.job_site.job_id)
    session.refresh(run, ["state", "version", "set_aside_at"])
    card = load_card(session, job)
    site, step = get_step(card, run.step_id)
    if run.state is not RunState.COMPLETE:
        raise rules.RunNotComplete(f"The run is {run.state}; only a complete run is set aside.")
    if run.is_set_aside:
        raise rules.RunSetAside("The run is set aside already.")
    _check_may(card, site, step, person)
    run.set_aside_at, run.set_aside_by_id, run.set_aside_reason = now, person.account_id, reason
    session.flush()
    tell(
        session, job, "jobs.set_aside_run", person=person, now=now,
        subject=Subject("run", run.id),
        details={
            "designator": site.designator,
            "step": str(step.kind),
            "reason": reason,
            "before": "counts",
            "after": "set aside",
            "verdict": run.verdict,
            "is_signed": site.is_written(step),
        },
    )  # fmt: skip
    return run


def may_set_aside(card: WorkCard, site: SiteCard, step: JobStep, run: Run, person: Person) -> bool:
    """Say whether a person can set a run aside as things are."""
    if not run.counts or not person.may(Action.JOBS_WORK):
        return False
    is_free = card.open_hold is None and not _is_settled(card, site, step)
    return is_free or person.may(Action.HOLDS_LIFT)


def read_again(
    session: Session,
    run: Run,
    *,
    settings: Settings,
    person: Person,
    now: datetime,
    file: LoggerFile | None = None,
) -> Run:
    """Begin a new run of the same line and bench from the file of a run that does not count.

    RunCounts for a run that does; everything else is checked as for a file that comes anew. `file`
    is the run's own where it is in hand already.
    """
    job = lock_job(session, run.job_site.job_id)
    session.refresh(run, ["state", "version", "set_aside_at"])
    if run.counts:
        raise rules.RunCounts("Set the run aside first; then its file can be read again.")
    if run.state is RunState.RECORDING:
        raise rules.RunRecording("The file of this run is still being read: go on with it.")
    if file is None or file.sha256 != run.file_sha256:
        file = load_file(session, run, settings=settings)
    return start_run(
        session,
        job,
        run.step_id,
        bench=get_bench(session, run.bench_id),
        file=file,
        file_name=run.file_name or "trace.csv",
        settings=settings,
        person=person,
        now=now,
        again_of=run,
    )


def _check_may(card: WorkCard, site: SiteCard, step: JobStep, person: Person) -> None:
    if person.may(Action.HOLDS_LIFT):
        return
    if _is_settled(card, site, step):
        raise rules.RunSigned(
            f"“{step.kind}” of {site.designator} is signed or its job closed: only an engineer "
            "sets the run aside now."
        )
    check_free(card)


def _is_settled(card: WorkCard, site: SiteCard, step: JobStep) -> bool:
    return site.is_written(step) or card.job.state is JobState.CLOSED
