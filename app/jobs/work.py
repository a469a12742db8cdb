"""Signs, skips and corrects the lines of a work card."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit.rules import Subject
from app.jobs import rules
from app.jobs.outcomes import is_skipped, list_troubles
from app.jobs.queries import SiteCard, WorkCard, get_entry, get_step, load_card
from app.jobs.rules import HEATED, EntryKind, JobMove, JobState, RunState, StepKind
from app.jobs.schemas import StepCorrected, StepDone
from app.jobs.service import check_free, tell
from app.jobs.tables import Job, JobStep, Run, StepEntry


def sign_step(
    session: Session,
    job: Job,
    step_id: int,
    said: StepDone,
    *,
    person: Person,
    now: datetime,
    asks_remark: bool = False,
) -> StepEntry:
    """Sign a line with the values and lots really used; a heated one with the run that counts.

    OutOfTurn while an earlier line of the site is open; NotHeated for a heated line without a run
    that counts. `asks_remark` refuses with ReasonMissing to sign without a remark what something
    speaks against (see outcomes).
    """
    card, site, step = _prepare(session, job, step_id)
    run = _choose_run(site, step, said.run_id)
    if step.kind in HEATED and run is None:
        raise rules.NotHeated(
            f"“{step.kind}” has no complete run that counts yet: record its trace first, or skip "
            "the line with a reason."
        )
    _check_inspection(step, said)
    troubles = list_troubles(run) if run else ()
    if asks_remark and troubles and not said.remark:
        raise rules.ReasonMissing(
            f"{troubles[0]} Say in the remark why it is signed all the same.", field="remark"
        )
    entry = StepEntry(
        step_id=step.id,
        kind=EntryKind.DONE,
        values=_describe_values(said, run),
        lots=[lot.model_dump() for lot in said.lots],
        remark=said.remark,
        by_id=person.account_id,
        at=now,
    )
    return _write(session, card, site, step, entry, person=person, now=now)


def skip_step(
    session: Session, job: Job, step_id: int, reason: str, *, person: Person, now: datetime
) -> StepEntry:
    """Leave a line out and say why."""
    rules.check_reason(reason, "the line is skipped")
    card, site, step = _prepare(session, job, step_id)
    entry = StepEntry(
        step_id=step.id,
        kind=EntryKind.SKIPPED,
        values={},
        lots=[],
        remark=reason,
        by_id=person.account_id,
        at=now,
    )
    return _write(session, card, site, step, entry, person=person, now=now)


def correct_entry(
    session: Session,
    job: Job,
    step_id: int,
    entry_id: int,
    said: StepCorrected,
    *,
    person: Person,
    now: datetime,
) -> StepEntry:
    """Write what should have been written; the wrong entry stays and is named.

    AlreadyCorrected when a newer correction stands; MoveNotAllowed once the job is closed.
    """
    if job.state is JobState.CLOSED:
        raise rules.MoveNotAllowed("The job is closed; nothing on its card can be corrected.")
    card = load_card(session, job)
    check_free(card)
    site, step = get_step(card, step_id)
    old = get_entry(site, step, entry_id)
    newest = site.find_valid_entry(step)
    if newest is None or newest.id != old.id:
        raise rules.AlreadyCorrected(
            "This entry was corrected before; correct the newest one.", field="entry_id"
        )
    # A line stays with the run it was signed with, unless another one is named or it is set aside.
    run = _choose_run(site, step, said.run_id)
    if said.run_id is None:
        run = site.find_run_of(step) or run
    is_said = said.values or said.lots or said.inspection or said.run_id
    if is_skipped(site, step) and not is_said:
        described = {**_describe_values(said, None), "skipped": True}
    else:
        described = _describe_values(said, run)
        _check_inspection(step, said)
    entry = StepEntry(
        step_id=step.id,
        kind=EntryKind.CORRECTION,
        values={**described, "reason": said.reason},
        lots=[lot.model_dump() for lot in said.lots],
        remark=said.remark,
        corrects_id=old.id,
        by_id=person.account_id,
        at=now,
    )
    return _write(session, card, site, step, entry, person=person, now=now)


def begin_work(job: Job) -> None:
    """Move a cleared job into work; NotCleared before it is cleared."""
    if job.state is JobState.OPEN:
        raise rules.NotCleared("Clear the job first: the page says what is missing.")
    job.state = rules.get_next_state(job.state, JobMove.START)


def _prepare(session: Session, job: Job, step_id: int) -> tuple[WorkCard, SiteCard, JobStep]:
    card = load_card(session, job)
    check_free(card)
    site, step = get_step(card, step_id)
    begin_work(job)
    if site.is_written(step):
        raise rules.AlreadyWritten(
            f"“{step.kind}” is written already; correct its entry if it is wrong."
        )
    if any(run.state is RunState.RECORDING for run in site.list_runs_of(step)):
        raise rules.RunRecording("A run of this line is still recording: finish or abort it first.")
    check_turn(site, step)
    return card, site, step


def _choose_run(site: SiteCard, step: JobStep, run_id: int | None) -> Run | None:
    """Return the run of a line that counts: the one named, or the newest; None without any.

    RunSetAside or RunMisplaced for a number that is none of them.
    """
    counting = site.list_counting_runs(step)
    if run_id is None:
        return counting[-1] if counting else None
    for run in site.list_runs_of(step):
        if run.id == run_id and run.counts:
            return run
        if run.id == run_id and run.is_set_aside:
            raise rules.RunSetAside(
                f"Run {run_id} is set aside; it does not count.", field="run_id"
            )
    raise rules.RunMisplaced(f"Run {run_id} is no complete run of “{step.kind}”.", field="run_id")


def _check_inspection(step: JobStep, said: StepDone) -> None:
    if step.kind is StepKind.INSPECT and said.inspection is None:
        raise rules.ReasonMissing("Say what the inspection found.", field="inspection")
    if step.kind is not StepKind.INSPECT and said.inspection is not None:
        raise rules.InspectionMisplaced(
            f"“{step.kind}” is no inspection; say what was found on the line “inspect”.",
            field="inspection",
        )


def check_turn(site: SiteCard, step: JobStep) -> None:
    """Refuse with OutOfTurn while an earlier line of the site is open."""
    rules.check_turn(
        step.kind,
        [
            (other.kind, site.is_written(other))
            for other in site.steps
            if other.ordinal < step.ordinal
        ],
    )


def _write(
    session: Session,
    card: WorkCard,
    site: SiteCard,
    step: JobStep,
    entry: StepEntry,
    *,
    person: Person,
    now: datetime,
) -> StepEntry:
    session.add(entry)
    session.flush()
    details: dict[str, Any] = {
        "designator": site.designator,
        "step": str(step.kind),
        "entry": entry.id,
        "values": entry.values,
        "lots": entry.lots,
        "remark": entry.remark,
    }
    if entry.corrects_id is not None:
        details["corrects"] = entry.corrects_id
    tell(
        session, card.job, _ACTIONS[entry.kind], person=person, now=now,
        subject=Subject("step", step.id), details=details,
    )  # fmt: skip
    return entry


_ACTIONS: Mapping[EntryKind, str] = {
    EntryKind.DONE: "jobs.sign_step",
    EntryKind.SKIPPED: "jobs.skip_step",
    EntryKind.CORRECTION: "jobs.correct_entry",
}


def _describe_values(said: StepDone, run: Run | None) -> dict[str, Any]:
    described: dict[str, Any] = {"used": [value.model_dump() for value in said.values]}
    if run is not None:
        described["run"] = run.id
    if said.inspection is not None:
        described["inspection"] = said.inspection.model_dump()
    return described
