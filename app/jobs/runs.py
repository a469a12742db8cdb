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
from app.files.queries import get_content
from app.files.service import keep_file
from app.jobs import rules
from app.jobs.cases import compose_case
from app.jobs.clearance import RULES, Signal, describe_findings, find_all, is_clear
from app.jobs.figures import analyse_run, describe_figures
from app.jobs.queries import SiteCard, WorkCard, get_step, load_card
from app.jobs.readings import check_file, get_file_digest, read_file, remember, suggest
from app.jobs.rules import HEATED, RunState
from app.jobs.schemas import TraceChosen
from app.jobs.service import check_free, lock_job, tell
from app.jobs.tables import Job, JobStep, Run
from app.jobs.work import begin_work, check_turn
from app.numerics.errors import NumericsError
from app.plant.rules import check_in_use
from app.plant.tables import Bench
from app.recipes.queries import get_body
from app.traces.queries import load_samples
from app.traces.rules import ChannelMap
from app.traces.service import keep_trace


def start_run(
    session: Session,
    job: Job,
    step_id: int,
    *,
    bench: Bench,
    content: bytes,
    file_name: str,
    settings: Settings,
    person: Person,
    now: datetime,
) -> Run:
    """Begin a run of a heated line with the file its logger wrote.

    Everything is checked again as it is at this moment; NotClear says what stops the heat. The
    file is refused if no choice could make it readable. Nothing is computed before
    `complete_run`.
    """
    card = load_card(session, job)
    check_free(card)
    site, step = get_step(card, step_id)
    begin_work(job)
    _check_heated(site, step)
    check_turn(site, step)
    check_in_use(bench.code, is_retired=bench.retired_at is not None)
    clearance = _check_clear(session, card, bench, settings, now=now, person=person)
    check_file(content, settings=settings)
    run = Run(
        job_site_id=site.job_site.id,
        step_id=step.id,
        recipe_revision_id=site.job_site.recipe_revision_id,
        bench_id=bench.id,
        state=RunState.RECORDING,
        by_id=person.account_id,
        started_at=now,
        file_sha256=keep_file(session, content, by_id=person.account_id, now=now),
        file_name=file_name,
        clearance=clearance,
        remark="",
    )
    session.add(run)
    try:
        session.flush()
    except IntegrityError:
        raise rules.RunRecording("A run of this site is recording already.") from None
    _tell(
        session, card, site, step, run, "jobs.start_run", person=person, now=now,
        details={"bench": bench.code, "file_sha256": run.file_sha256, "clearance": clearance},
    )  # fmt: skip
    return run


def complete_at_once(
    session: Session, run: Run, *, settings: Settings, person: Person, now: datetime
) -> bool:
    """Complete a run whose bench remembers how its file is read; False while anything is to ask."""
    try:
        suggestion = suggest(session, run, choices=None, settings=settings)
    except Refusal:
        return False
    if not suggestion.is_settled(get_body(run.job_site.revision).thermocouples):
        return False
    said = TraceChosen(
        choices=suggestion.choices,
        channel_map=ChannelMap(channels=suggestion.channels),
        remember=False,
    )
    complete_run(session, run, said, settings=settings, person=person, now=now)
    return True


def complete_run(
    session: Session,
    run: Run,
    said: TraceChosen,
    *,
    settings: Settings,
    person: Person,
    now: datetime,
) -> Run:
    """Keep the run's trace, compute its figures, and lock the run for good."""
    card, site, step = _find_place(session, run)
    content = get_content(session, get_file_digest(run))
    reading = read_file(content, said.choices, settings=settings)
    try:
        trace = keep_trace(
            session,
            content,
            file_name=run.file_name or "trace.csv",
            reading=reading,
            choices=said.choices,
            channel_map=said.channel_map,
            zone=settings.zone,
            person=person,
            now=now,
        )
        figures = analyse_run(
            get_body(run.job_site.revision),
            load_samples(session, trace),
            findings=trace.reading["findings"],
            step=step.kind,
        )
    except NumericsError as error:
        raise rules.TraceUnusable(f"Nothing can be computed from this file: {error}") from None
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
        remember(session, run, reading, said, person=person, now=now)
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
    if site.is_written(step):
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
