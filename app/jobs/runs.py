"""Records runs: a logger's file comes in, its columns are told apart, its figures computed."""

from datetime import datetime
from typing import Any

from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit.rules import Subject
from app.core.canonical_json import compute_digest
from app.core.clock import spell_utc
from app.core.refusals import Refusal
from app.core.settings import Settings
from app.files.service import keep_packed
from app.jobs import rules
from app.jobs.cases import compose_case
from app.jobs.clearance import RULES, Signal, describe_findings, find_all, is_clear
from app.jobs.figures import describe_figures
from app.jobs.logger_file import LoggerFile
from app.jobs.queries import SiteCard, WorkCard, get_step, load_card
from app.jobs.readings import load_file, remember, suggest
from app.jobs.rules import HEATED, RunState
from app.jobs.schemas import TraceChosen
from app.jobs.service import check_free, lock_job, tell
from app.jobs.tables import Job, JobStep, Run
from app.jobs.work import begin_work, check_turn
from app.plant.queries import find_chain_at, get_bench
from app.plant.rules import check_in_use
from app.plant.tables import Bench
from app.recipes.queries import get_body
from app.traces.service import keep_composed


def check_start(
    session: Session,
    job: Job,
    step_id: int,
    *,
    bench: Bench,
    file: LoggerFile,
    settings: Settings,
    person: Person,
    now: datetime,
) -> tuple[WorkCard, SiteCard, JobStep, dict[str, Any]]:
    """Check everything that must be so before a run begins, the file last; return what was found.

    NotClear says what stops the heat. A file is refused if no choice could make it readable.
    """
    card = load_card(session, job)
    check_free(card)
    site, step = get_step(card, step_id)
    begin_work(job)
    _check_heated(site, step)
    check_turn(site, step)
    check_in_use(bench.code, is_retired=bench.retired_at is not None)
    clearance = _check_clear(session, card, bench, settings, now=now, person=person)
    file.check()
    return card, site, step, clearance


def start_run(
    session: Session,
    job: Job,
    step_id: int,
    *,
    bench: Bench,
    file: LoggerFile,
    file_name: str,
    settings: Settings,
    person: Person,
    now: datetime,
    again_of: Run | None = None,
) -> Run:
    """Begin a run of a heated line with the file its logger wrote.

    Everything is checked again as it is at this moment (see check_start). Nothing is computed
    before `complete_run`. `again_of` is the run whose kept file this is.
    """
    card, site, step, clearance = check_start(
        session, job, step_id, bench=bench, file=file, settings=settings, person=person, now=now
    )
    run = Run(
        job_site_id=site.job_site.id,
        step_id=step.id,
        recipe_revision_id=site.job_site.recipe_revision_id,
        bench_id=bench.id,
        state=RunState.RECORDING,
        by_id=person.account_id,
        started_at=now,
        file_sha256=file.sha256
        if again_of
        else keep_packed(session, file.packed, by_id=person.account_id, now=now),
        file_name=file_name,
        clearance=clearance,
        remark="",
    )
    session.add(run)
    try:
        session.flush()
    except IntegrityError:
        raise rules.RunRecording("A run of this site is recording already.") from None
    details: dict[str, Any] = {
        "bench": bench.code,
        "file_sha256": run.file_sha256,
        "clearance": clearance,
    }
    if again_of is not None:
        details["again_of"] = again_of.id
    _tell(
        session, card, site, step, run, "jobs.start_run", person=person, now=now, details=details
    )  # fmt: skip
    return run


def complete_at_once(
    session: Session,
    run: Run,
    *,
    settings: Settings,
    person: Person,
    now: datetime,
    file: LoggerFile | None = None,
) -> bool:
    """Complete a run whose bench remembers how its file is read; False while anything is to ask."""
    file = file or load_file(session, run, settings=settings)
    try:
        suggestion = suggest(session, run, choices=None, settings=settings, file=file)
    except Refusal:
        return False
    if not suggestion.is_settled(get_body(run.job_site.revision).thermocouples):
        return False
    complete_run(
        session, run, suggestion.chosen, settings=settings, person=person, now=now, file=file
    )
    return True


def complete_run(
    session: Session,
    run: Run,
    said: TraceChosen,
    *,
    settings: Settings,
    person: Person,
    now: datetime,
    file: LoggerFile | None = None,
) -> Run:
    """Keep the run's trace, compute its figures, and lock the run for good.

    `file` is the run's own where it is in hand already, worked out or not.
    """
    card, site, step = _find_place(session, run)
    if file is None or file.sha256 != run.file_sha256:
        file = load_file(session, run, settings=settings)
    made = file.work_out(
        said,
        revision=run.job_site.revision,
        step=step.kind,
        chain=find_chain_at(
            get_bench(session, run.bench_id), now=run.started_at, zone=settings.zone
        ),
    )
    rules.check_lift(said.lifted_at_s, step.kind, duration_s=made.trace.duration_s)
    figures = made.figures
    trace = keep_composed(
        session,
        made.trace,
        file_sha256=file.sha256,
        file_name=run.file_name or "trace.csv",
        person=person,
        now=now,
    )
    described = describe_figures(figures)
    run.state = RunState.COMPLETE
    run.trace = trace
    run.ended_at = now
    run.figures = described
    run.verdict = str(figures.verdict.state)
    run.window_use_pct = figures.verdict.window_use_pct
    run.remark = said.remark
    session.flush()
    if said.remember:
        remember(session, run, made.reading, said, person=person, now=now)
    _tell(
        session, card, site, step, run, "jobs.complete_run", person=person, now=now,
        details={
            "trace": trace.id,
            "file_sha256": trace.file_sha256,
            "samples_sha256": trace.samples_sha256,
            "channels": trace.channels,
            "figures_sha256": compute_digest(described),
            "verdict": run.verdict,
            "remark": said.remark,
        },
    )  # fmt: skip
    return run


def abort_run(session: Session, run: Run, reason: str, *, person: Person, now: datetime) -> Run:
    """End a run that is not to count, and say why; its file stays kept."""
    rules.check_reason(reason, "the run is aborted")
    card, site, step = _find_place(session, run)
    run.state = RunState.ABORTED
    run.ended_at = now
    run.abort_reason = reason
    session.flush()
    _tell(
        session, card, site, step, run, "jobs.abort_run", person=person, now=now,
        details={"reason": reason, "file_sha256": run.file_sha256},
    )  # fmt: skip
    return run


def _check_heated(site: SiteCard, step: JobStep) -> None:
    if step.kind not in HEATED:
        raise rules.NotHeated(f"“{step.kind}” is not heated with the nozzle; it takes no run.")
    if site.is_written(step) and not site.has_lost_its_run(step):
        raise rules.AlreadyWritten(f"“{step.kind}” is signed already; no run can be added to it.")


def _check_clear(
    session: Session,
    card: WorkCard,
    bench: Bench,
    settings: Settings,
    *,
    person: Person,
    now: datetime,
) -> dict[str, Any]:
    findings = find_all(compose_case(session, card, bench, settings))
    if not is_clear(findings):
        first = next(finding for finding in findings if finding.signal is Signal.STOP)
        raise rules.NotClear(f"{first.sentence} {first.way_out}".strip())
    return {
        "at": spell_utc(now),
        "by_id": person.account_id,
        "bench": bench.code,
        "rules": RULES,
        "findings": describe_findings(findings),
    }


def _check_recording(run: Run) -> None:
    if run.state is not RunState.RECORDING:
        raise rules.RunOver(f"The run is {run.state}; nothing can be added to it.")


def _find_place(session: Session, run: Run) -> tuple[WorkCard, SiteCard, JobStep]:
    """Return the run's job, site and line; from here on nobody else changes them.

    JobHeld while a hold is on the job; RunOver when the run has ended.
    """
    job = lock_job(session, run.job_site.job_id)
    session.refresh(run, ["state", "version", "ended_at"])
    card = load_card(session, job)
    check_free(card)
    _check_recording(run)
    site, step = get_step(card, run.step_id)
    return card, site, step


def _tell(
    session: Session,
    card: WorkCard,
    site: SiteCard,
    step: JobStep,
    run: Run,
    action: str,
    *,
    person: Person,
    now: datetime,
    details: dict[str, Any],
) -> None:
    tell(
        session, card.job, action, person=person, now=now, subject=Subject("run", run.id),
        details={"designator": site.designator, "step": str(step.kind), **details},
    )  # fmt: skip
