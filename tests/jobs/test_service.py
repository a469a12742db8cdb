"""A job from opening to its outcome, through the services."""

from collections.abc import Callable

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.audit.queries import iterate_entries
from app.audit.tables import AuditEntry
from app.audit.verifier import verify_entries
from app.jobs import rules, service, work
from app.jobs.queries import get_job, load_card
from app.jobs.rules import JobState, Outcome, StepKind
from app.jobs.schemas import CloseJob, StepCorrected, StepDone
from app.jobs.tables import Job, JobHold, StepEntry
from app.recipes.queries import get_revision
from app.recipes.service import retire
from tests.jobs.conftest import Shop, write_log

DONE = StepDone.model_validate({"values": [{"label": "Tip", "value": "blade"}]})


def correct(**more: object) -> StepCorrected:
    return StepCorrected.model_validate({"reason": "Typed wrong", **more})


def test_a_job_goes_from_open_to_accepted_and_the_log_tells_each_act(
    db: Session, shop: Shop
) -> None:
    job = shop.open_job(db)
    states = [job.state]
    shop.clear(db, job)
    states.append(job.state)
    shop.finish(db, job)
    db.commit()
    stored = get_job(db, job.id)
    assert states == [JobState.OPEN, JobState.CLEARED]
    assert (stored.state, stored.outcome) == (JobState.CLOSED, Outcome.ACCEPTED)
    actions = list(
        db.scalars(
            select(AuditEntry.action).where(AuditEntry.job_id == job.id).order_by(AuditEntry.seq)
        )
    )
    assert actions == [
        "jobs.open",
        "jobs.clear",
        "jobs.start_run",
        "jobs.complete_run",
        "jobs.sign_step",
        *["jobs.sign_step"] * 3,
        "jobs.start_run",
        "jobs.complete_run",
        "jobs.sign_step",
        "jobs.sign_step",
        "jobs.close",
    ]


def test_work_waits_for_the_clearance(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    with pytest.raises(rules.NotCleared):
        shop.start(db, job, StepKind.REMOVE)


def test_a_line_cannot_be_signed_before_its_turn(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    with pytest.raises(rules.OutOfTurn, match="“remove” comes before “dress”"):
        shop.sign(db, job, StepKind.DRESS)


def test_a_heated_line_needs_its_run(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    step_id = shop.step_id(db, job, StepKind.REMOVE)
    with pytest.raises(rules.NotHeated):
        work.sign_step(db, job, step_id, DONE, person=shop.odile, now=shop.now)


def test_a_line_is_skipped_with_a_reason_alone(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    step_id = shop.step_id(db, job, StepKind.REMOVE)
    with pytest.raises(rules.ReasonMissing):
        work.skip_step(db, job, step_id, "", person=shop.odile, now=shop.now)
    work.skip_step(db, job, step_id, "Came off before", person=shop.odile, now=shop.now)
    shop.sign(db, job, StepKind.DRESS)


def test_a_correction_names_the_old_entry_and_leaves_it(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    first = shop.sign(db, job, StepKind.REMOVE)
    step_id = shop.step_id(db, job, StepKind.REMOVE)
    said = correct(values=[{"label": "Nozzle", "value": "N-18"}])
    second = work.correct_entry(db, job, step_id, first, said, person=shop.odile, now=shop.now)
    third = work.correct_entry(db, job, step_id, second.id, said, person=shop.odile, now=shop.now)
    assert (second.corrects_id, third.corrects_id) == (first, second.id)
    old = db.get_one(StepEntry, first)
    assert old.values["used"] == [{"label": "Nozzle", "value": "N-15"}]
    with pytest.raises(rules.AlreadyCorrected):
        work.correct_entry(db, job, step_id, first, said, person=shop.odile, now=shop.now)


def test_a_skip_that_is_corrected_without_values_stays_a_skip(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    step_id = shop.step_id(db, job, StepKind.REMOVE)
    entry = work.skip_step(db, job, step_id, "Wrong", person=shop.odile, now=shop.now)
    fixed = work.correct_entry(
        db, job, step_id, entry.id, correct(remark="It was lost"), person=shop.odile, now=shop.now
    )
    assert fixed.values["skipped"] is True


def test_a_line_is_signed_once(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    shop.sign(db, job, StepKind.REMOVE)
    step_id = shop.step_id(db, job, StepKind.REMOVE)
    with pytest.raises(rules.AlreadyWritten):
        work.sign_step(db, job, step_id, DONE, person=shop.odile, now=shop.now)


def test_an_inspection_is_said_on_its_own_line_alone(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    with pytest.raises(rules.InspectionMisplaced):
        shop.sign(db, job, StepKind.REMOVE, inspection={"visual": "pass"})


def test_a_hold_freezes_everything_until_it_is_lifted(
    db: Session, shop: Shop, ines: Person
) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    entry = shop.sign(db, job, StepKind.REMOVE)
    step_id = shop.step_id(db, job, StepKind.REMOVE)
    dress_id = shop.step_id(db, job, StepKind.DRESS)
    service.place_hold(db, job, "Wait for the maker", person=shop.odile, now=shop.now)
    frozen: list[Callable[[], object]] = [
        lambda: work.sign_step(db, job, dress_id, DONE, person=shop.odile, now=shop.now),
        lambda: work.skip_step(db, job, dress_id, "x", person=shop.odile, now=shop.now),
        lambda: work.correct_entry(
            db, job, step_id, entry, correct(), person=shop.odile, now=shop.now
        ),
        lambda: shop.start(db, job, StepKind.REFLOW),
        lambda: service.place_hold(db, job, "again", person=shop.odile, now=shop.now),
        lambda: service.close_job(
            db,
            job,
            CloseJob(outcome=Outcome.REJECTED, remark="x"),
            person=shop.odile,
            now=shop.now,
        ),
    ]
    for act in frozen:
        with pytest.raises(rules.JobHeld):
            act()
    service.lift_hold(db, job, "The maker answered", person=ines, now=shop.now)
    shop.sign(db, job, StepKind.DRESS)
    hold = db.scalars(select(JobHold)).one()
    assert (hold.reason, hold.lift_reason) == ("Wait for the maker", "The maker answered")
    with pytest.raises(rules.JobNotHeld):
        service.lift_hold(db, job, "twice", person=ines, now=shop.now)


def test_one_site_is_reworked_by_one_open_job(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    with pytest.raises(rules.SiteBusy, match=r"by J-0000\d already"):
        shop.open_job(db)
    assert job.id


def test_a_recipe_for_another_site_cannot_be_picked(db: Session, shop: Shop) -> None:
    with pytest.raises(rules.RecipeDoesNotFit) as refusal:
        shop.open_job(db, designator="U5")
    assert refusal.value.field == "sites.0.recipe_revision_id"


def test_a_recipe_retired_in_mid_job_is_kept_and_its_clearance_says_so(
    db: Session, shop: Shop, edda: Person
) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    revision = get_revision(db, shop.revision_id)
    retire(db, revision, reason="Replaced", person=edda, now=shop.now)
    shop.finish(db, job)
    assert revision.state is RevisionState.RETIRED
    assert job.outcome is Outcome.ACCEPTED
    with pytest.raises(rules.RecipeNotPublished):
        shop.open_job(db)


def test_a_cancelled_job_had_no_work(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    service.cancel_job(db, job, "Board is lost", person=shop.odile, now=shop.now)
    assert job.outcome is Outcome.CANCELLED
    other = shop.open_job(db)
    shop.clear(db, other)
    shop.sign(db, other, StepKind.REMOVE)
    with pytest.raises(rules.MoveNotAllowed, match="close it as"):
        service.cancel_job(db, other, "Too late", person=shop.odile, now=shop.now)


def test_acceptance_waits_for_every_line(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    shop.sign(db, job, StepKind.REMOVE)
    accept = CloseJob(outcome=Outcome.ACCEPTED)
    with pytest.raises(rules.LinesOpen, match="“dress”"):
        service.close_job(db, job, accept, person=shop.odile, now=shop.now)


def test_acceptance_against_a_failed_inspection_is_refused(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    for kind in (step.kind for step in load_card(db, job).sites[0].steps):
        failed = {"visual": "fail", "xray": "pass"}
        more = {"inspection": failed} if kind is StepKind.INSPECT else {}
        shop.sign(db, job, kind, **more)
    accept = CloseJob(outcome=Outcome.ACCEPTED, remark="Looks fine to me")
    with pytest.raises(rules.OutcomeContradicted, match="failed"):
        service.close_job(db, job, accept, person=shop.odile, now=shop.now)
    reject = CloseJob(outcome=Outcome.REJECTED, remark="Bridged")
    service.close_job(db, job, reject, person=shop.odile, now=shop.now)


def test_acceptance_outside_the_window_says_why(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    for kind in (step.kind for step in load_card(db, job).sites[0].steps):
        if kind is StepKind.REFLOW:
            shop.record(db, job, kind, write_log(peak_shift_k=12))
            step_id = shop.step_id(db, job, kind)
            work.sign_step(db, job, step_id, DONE, person=shop.odile, now=shop.now)
        else:
            shop.sign(db, job, kind)
    with pytest.raises(rules.OutcomeContradicted) as refusal:
        service.close_job(
            db, job, CloseJob(outcome=Outcome.ACCEPTED), person=shop.odile, now=shop.now
        )
    assert refusal.value.field == "remark"
    said = CloseJob(outcome=Outcome.ACCEPTED, remark="Agreed with the designer")
    service.close_job(db, job, said, person=shop.odile, now=shop.now)


def test_a_scrapped_board_takes_no_further_job(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    shop.sign(db, job, StepKind.REMOVE)
    scrap = CloseJob(outcome=Outcome.SCRAPPED, remark="Pads lifted")
    service.close_job(db, job, scrap, person=shop.odile, now=shop.now)
    with pytest.raises(rules.BoardScrapped):
        shop.open_job(db)


def test_nothing_of_a_closed_job_can_be_changed(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    shop.finish(db, job)
    entry = db.scalars(select(StepEntry)).first()
    assert entry is not None
    acts: list[Callable[[], object]] = [
        lambda: service.place_hold(db, job, "Wait", person=shop.odile, now=shop.now),
        lambda: work.correct_entry(
            db, job, entry.step_id, entry.id, correct(), person=shop.odile, now=shop.now
        ),
        lambda: work.skip_step(db, job, entry.step_id, "x", person=shop.odile, now=shop.now),
        lambda: shop.start(db, job, StepKind.REFLOW),
        lambda: service.cancel_job(db, job, "x", person=shop.odile, now=shop.now),
    ]
    for act in acts:
        with pytest.raises(rules.MoveNotAllowed):
            act()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE jobs SET closing_remark = 'nothing happened'",
        "UPDATE jobs SET state = 'open', outcome = NULL",
        "DELETE FROM runs",
        "UPDATE runs SET verdict = 'inside'",
        "UPDATE step_entries SET remark = 'all well'",
        "DELETE FROM step_entries",
        "UPDATE traces SET duration_s = 1",
        "DELETE FROM traces",
    ],
)
def test_the_database_itself_keeps_a_closed_job(db: Session, shop: Shop, statement: str) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    shop.finish(db, job)
    db.commit()
    with pytest.raises(DBAPIError):
        db.execute(text(statement))
    db.rollback()
    assert db.scalar(select(func.count(Job.id))) == 1


def test_the_log_of_a_whole_job_verifies(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    shop.clear(db, job)
    shop.finish(db, job)
    db.commit()
    assert verify_entries(iterate_entries(db)).is_whole
