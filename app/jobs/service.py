"""Opens, clears, holds and closes jobs."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.audit import service as audit
from app.audit.rules import Subject
from app.boards.queries import get_board, get_placement
from app.boards.rules import PlacementUnknown
from app.boards.service import get_or_create_site
from app.boards.tables import Board
from app.core.canonical_json import JsonValue
from app.core.clock import spell_utc
from app.core.settings import Settings
from app.jobs import rules
from app.jobs.cases import compose_case
from app.jobs.clearance import RULES, Signal, describe_findings, find_all, is_clear
from app.jobs.outcomes import check_acceptable
from app.jobs.queries import WorkCard, find_open_job_of_site, get_job, load_card
from app.jobs.rules import JobMove, JobState, Outcome, RunState
from app.jobs.schemas import CloseJob, NewJob, NewJobSite
from app.jobs.tables import Job, JobHold, JobSite, JobStep
from app.plant.rules import check_in_use
from app.plant.tables import Bench
from app.recipes.queries import get_body, get_revision
from app.recipes.rules import RevisionUnknown, fits
from app.recipes.tables import RecipeRevision


def open_job(session: Session, new: NewJob, *, person: Person, now: datetime) -> Job:
    """Open a job for sites of one board, each with a published recipe revision that fits it."""
    # Two jobs for one site of a board would otherwise not see each other.
    session.execute(select(Board.id).where(Board.id == new.board_id).with_for_update())
    board = get_board(session, new.board_id)
    if board.scrapped_at is not None:
        raise rules.BoardScrapped(f"Board {board.serial} is scrapped.", field="board_id")
    job = Job(
        board_id=board.id,
        reason=new.reason,
        reference=new.reference,
        state=JobState.OPEN,
        opened_by_id=person.account_id,
        opened_at=now,
    )
    session.add(job)
    session.flush()
    told = [
        _add_site(session, job, board, site, place=place) for place, site in enumerate(new.sites)
    ]
    tell(
        session, job, "jobs.open", person=person, now=now,
        details={"reason": new.reason, "reference": new.reference, "sites": told},
    )  # fmt: skip
    return job


def clear_job(
    session: Session, job: Job, bench: Bench, *, settings: Settings, person: Person, now: datetime
) -> Job:
    """Check everything before heat; clear the job when nothing stops it.

    NotClear names what does; the job then stays as it is.
    """
    card = load_card(session, job)
    check_free(card)
    check_in_use(bench.code, is_retired=bench.retired_at is not None)
    findings = find_all(compose_case(session, card, bench, settings))
    if not is_clear(findings):
        first = next(finding for finding in findings if finding.signal is Signal.STOP)
        raise rules.NotClear(f"{first.sentence} {first.way_out}".strip())
    job.state = rules.get_next_state(job.state, JobMove.CLEAR)
    job.bench = bench
    job.clearance = {
        "at": spell_utc(now),
        "by_id": person.account_id,
        "bench": bench.code,
        "rules": RULES,
        "findings": describe_findings(findings),
    }
    session.flush()
    tell(
        session, job, "jobs.clear", person=person, now=now,
        details={"bench": bench.code, "rules": RULES, "findings": describe_findings(findings)},
    )  # fmt: skip
    return job


def place_hold(session: Session, job: Job, reason: str, *, person: Person, now: datetime) -> Job:
    """Stop all work on a job until the hold is lifted."""
    rules.check_reason(reason, "the job is held")
    if load_card(session, job).open_hold is not None:
        raise rules.JobHeld("The job is on hold already.")
    if job.state is JobState.CLOSED:
        raise rules.MoveNotAllowed("A closed job cannot be held.")
    hold = JobHold(job_id=job.id, reason=reason, placed_by_id=person.account_id, placed_at=now)
    session.add(hold)
    try:
        session.flush()
    except IntegrityError:
        raise rules.JobHeld("The job is on hold already.") from None
    tell(session, job, "jobs.hold", person=person, now=now, details={"reason": reason})
    return job


def lift_hold(session: Session, job: Job, reason: str, *, person: Person, now: datetime) -> Job:
    """Let work on a job go on, and say why that is right."""
    rules.check_reason(reason, "the hold is lifted")
    hold = load_card(session, job).open_hold
    if hold is None:
        raise rules.JobNotHeld("No hold is on this job.")
    hold.lifted_by_id, hold.lifted_at, hold.lift_reason = person.account_id, now, reason
    session.flush()
    tell(
        session, job, "jobs.lift_hold", person=person, now=now,
        details={"reason": reason, "placed_for": hold.reason},
    )  # fmt: skip
    return job


def cancel_job(session: Session, job: Job, reason: str, *, person: Person, now: datetime) -> Job:
    """Close a job on which no work was begun."""
    rules.check_reason(reason, "the job is cancelled")
    _close(session, job, JobMove.CANCEL, Outcome.CANCELLED, reason, person=person, now=now)
    return job


def close_job(session: Session, job: Job, said: CloseJob, *, person: Person, now: datetime) -> Job:
    """Close a job with its outcome.

    LinesOpen while a line is not written (unless the board is given up); OutcomeContradicted when
    it is accepted against what was recorded (see outcomes).
    """
    if said.outcome is Outcome.CANCELLED:
        return cancel_job(session, job, said.remark, person=person, now=now)
    card = load_card(session, job)
    check_free(card)
    _check_no_recording(card)
    if said.outcome is Outcome.ACCEPTED:
        check_acceptable(card, said.remark)
    else:
        rules.check_reason(said.remark, f"the job ends as {said.outcome}", field="remark")
    _close(session, job, JobMove.CLOSE, said.outcome, said.remark, person=person, now=now)
    if said.outcome is Outcome.SCRAPPED:
        job.board.scrapped_at = job.board.scrapped_at or now
        session.flush()
    return job


def check_free(card: WorkCard) -> None:
    """Refuse with JobHeld while a hold is on the job."""
    if card.open_hold is not None:
        raise rules.JobHeld(
            f"The job is on hold: {card.open_hold.reason} An engineer lifts the hold first."
        )


def lock_job(session: Session, job_id: int) -> Job:
    """Return a job for changing; other changes of it wait."""
    return get_job(session, job_id, for_change=True)


def tell(
    session: Session,
    job: Job,
    action: str,
    *,
    person: Person,
    now: datetime,
    subject: Subject | None = None,
    details: Mapping[str, JsonValue],
) -> None:
    """Write an audit entry about a job and its board."""
    audit.append(
        session,
        action=action,
        subject=subject or Subject("job", job.id),
        actor=person.actor,
        now=now,
        board_id=job.board_id,
        job_id=job.id,
        details=details,
    )


def _add_site(
    session: Session, job: Job, board: Board, new: NewJobSite, *, place: int
) -> dict[str, JsonValue]:
    field = f"sites.{place}"
    try:
        placement = get_placement(session, assembly_id=board.assembly_id, designator=new.designator)
    except PlacementUnknown as refusal:
        raise PlacementUnknown(refusal.sentence, field=f"{field}.designator") from None
    try:
        revision = get_revision(session, new.recipe_revision_id)
    except RevisionUnknown as refusal:
        raise RevisionUnknown(refusal.sentence, field=f"{field}.recipe_revision_id") from None
    _check_usable(revision, field=f"{field}.recipe_revision_id")
    body = get_body(revision)
    fit = fits(
        body,
        assembly_part_number=board.assembly.part_number,
        assembly_revision=board.assembly.revision,
        designator=placement.designator,
        part_number=placement.part_number or None,
    )
    if not fit.fits:
        raise rules.RecipeDoesNotFit(
            f"The recipe does not fit {placement.designator}: {fit.reason}.",
            field=f"{field}.recipe_revision_id",
        )
    site = get_or_create_site(session, board, placement.designator)
    busy = find_open_job_of_site(session, site.id)
    if busy is not None:
        sentence = f"{placement.designator} is being reworked by {rules.spell_job(busy)} already."
        if busy == job.id:
            sentence = f"{placement.designator} is named twice."
        raise rules.SiteBusy(sentence, field=f"{field}.designator")
    job_site = JobSite(job_id=job.id, site_id=site.id, recipe_revision_id=revision.id)
    session.add(job_site)
    session.flush()
    kinds = rules.list_steps(
        with_deposit=body.deposit.kind != "none",
        with_cleaning=body.cleaning.method.casefold() != "none",
    )
    session.add_all(
        JobStep(job_site_id=job_site.id, ordinal=ordinal, kind=kind)
        for ordinal, kind in enumerate(kinds, start=1)
    )
    session.flush()
    return {
        "designator": placement.designator,
        "recipe": revision.recipe.code,
        "revision": revision.number,
        "digest": revision.digest,
    }


def _check_usable(revision: RecipeRevision, *, field: str) -> None:
    if revision.state is not RevisionState.PUBLISHED:
        raise rules.RecipeNotPublished(
            f"Revision {revision.number} of {revision.recipe.code} is {revision.state}; "
            "a job needs a published one.",
            field=field,
        )


def _check_no_recording(card: WorkCard) -> None:
    for site in card.sites:
        if any(run.state is RunState.RECORDING for run in site.runs):
            raise rules.RunRecording(
                f"A run of {site.designator} is still recording: finish or abort it first."
            )


def _close(
    session: Session,
    job: Job,
    move: JobMove,
    outcome: Outcome,
    remark: str,
    *,
    person: Person,
    now: datetime,
) -> None:
    before = job.state
    check_free(load_card(session, job))
    job.state = rules.get_next_state(job.state, move)
    job.outcome = outcome
    job.closing_remark = remark
    job.closed_by_id = person.account_id
    job.closed_at = now
    session.flush()
    tell(
        session, job, "jobs.close", person=person, now=now,
        details={"outcome": str(outcome), "remark": remark, "before": str(before)},
    )  # fmt: skip
