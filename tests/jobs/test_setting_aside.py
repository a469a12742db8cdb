"""Runs that do not count after all: set aside once, kept whole, and recorded again."""

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.core.canonical_json import compute_digest
from app.core.refusals import Refusal
from app.jobs import rules, runs, service, setting_aside, work
from app.jobs.comparison_runs import list_peers
from app.jobs.outcomes import list_doubts
from app.jobs.queries import count_heats, get_job, get_run, load_card
from app.jobs.rules import JobState, Outcome, RunState, StepKind
from app.jobs.schemas import CloseJob, StepCorrected, StepDone
from app.jobs.tables import Job, Run, StepEntry
from tests.jobs.conftest import Shop, write_log

WRONG = "The file of another board"


def begin(db: Session, shop: Shop) -> Job:
    job = shop.open_job(db)
    shop.clear(db, job)
    return job


def set_aside(db: Session, shop: Shop, run: Run, person: Person | None = None) -> Run:
    return setting_aside.set_aside_run(
        db, get_run(db, run.id), WRONG, person=person or shop.odile, now=shop.now
    )


def read_again(db: Session, shop: Shop, run: Run) -> Run:
    made = setting_aside.read_again(
        db, get_run(db, run.id), settings=shop.settings, person=shop.odile, now=shop.now
    )
    return get_run(db, made.id)


def sign(db: Session, shop: Shop, job: Job, kind: StepKind, **said: object) -> StepEntry:
    return work.sign_step(
        db,
        job,
        shop.step_id(db, job, kind),
        StepDone.model_validate(said),
        person=shop.odile,
        now=shop.now,
    )


def test_a_run_that_is_set_aside_keeps_all_it_was_and_the_log_tells_why(
    db: Session, shop: Shop
) -> None:
    run = shop.record(db, begin(db, shop), StepKind.REMOVE)
    before = (compute_digest(run.figures or {}), run.verdict, run.trace_id, run.state)
    set_aside(db, shop, run)
    db.commit()
    kept = get_run(db, run.id)
    after = (compute_digest(kept.figures or {}), kept.verdict, kept.trace_id, kept.state)
    assert after == before
    assert (kept.set_aside_by_id, kept.set_aside_reason) == (shop.odile.account_id, WRONG)
    entry = db.scalars(select(AuditEntry).order_by(AuditEntry.seq.desc())).first()
    assert entry is not None
    assert (entry.action, entry.subject_id) == ("jobs.set_aside_run", run.id)
    for said in (WRONG, '"before":"counts"', '"after":"set aside"'):
        assert said in str(entry.body.decode() if isinstance(entry.body, bytes) else entry.body)


def test_a_run_is_set_aside_once_and_with_a_reason(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    recording = shop.start(db, job, StepKind.REMOVE)
    with pytest.raises(rules.RunNotComplete):
        set_aside(db, shop, recording)
    run = shop.complete(db, recording)
    with pytest.raises(rules.ReasonMissing):
        setting_aside.set_aside_run(db, run, "", person=shop.odile, now=shop.now)
    set_aside(db, shop, run)
    with pytest.raises(rules.RunSetAside):
        set_aside(db, shop, run, shop.ines)


def test_after_the_signature_only_an_engineer_sets_a_run_aside(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    run = shop.record(db, job, StepKind.REMOVE)
    sign(db, shop, job, StepKind.REMOVE)
    with pytest.raises(rules.RunSigned, match="only an engineer"):
        set_aside(db, shop, run)
    assert set_aside(db, shop, run, shop.ines).is_set_aside


def test_a_hold_stops_an_operator_and_no_engineer(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    run = shop.record(db, job, StepKind.REMOVE)
    service.place_hold(db, job, "Wrong file?", person=shop.odile, now=shop.now)
    with pytest.raises(rules.JobHeld):
        set_aside(db, shop, run)
    assert set_aside(db, shop, run, shop.ines).is_set_aside


def test_a_line_whose_run_is_set_aside_is_recorded_again_from_the_same_file(
    db: Session, shop: Shop
) -> None:
    job = begin(db, shop)
    first = shop.record(db, job, StepKind.REMOVE)
    with pytest.raises(rules.RunCounts):
        read_again(db, shop, first)
    set_aside(db, shop, first)
    with pytest.raises(rules.NotHeated):
        sign(db, shop, job, StepKind.REMOVE)
    second = read_again(db, shop, first)
    assert (second.state, second.file_sha256) == (RunState.RECORDING, first.file_sha256)
    assert second.id != first.id
    shop.complete(db, second)
    assert sign(db, shop, job, StepKind.REMOVE).values["run"] == second.id
    # One file is one heat, however often it is read.
    assert count_heats(db, second.job_site.site_id) == 1


def test_a_set_aside_run_of_its_own_file_stays_a_heat(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    first = shop.record(db, job, StepKind.REMOVE)
    set_aside(db, shop, first)
    shop.record(db, job, StepKind.REMOVE, write_log(peak_shift_k=1))
    assert count_heats(db, first.job_site.site_id) == 2


def test_of_several_runs_the_newest_counts_unless_another_is_named(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    first = shop.record(db, job, StepKind.REMOVE)
    second = shop.record(db, job, StepKind.REMOVE, write_log(peak_shift_k=1))
    third = shop.record(db, job, StepKind.REMOVE, write_log(peak_shift_k=2))
    set_aside(db, shop, third)
    with pytest.raises(rules.RunSetAside):
        sign(db, shop, job, StepKind.REMOVE, run_id=third.id)
    with pytest.raises(rules.RunMisplaced):
        sign(db, shop, job, StepKind.REMOVE, run_id=999)
    entry = sign(db, shop, job, StepKind.REMOVE, run_id=first.id)
    assert entry.values["run"] == first.id
    said = StepCorrected(reason="The second one", run_id=second.id)
    corrected = work.correct_entry(
        db, job, entry.step_id, entry.id, said, person=shop.odile, now=shop.now
    )
    assert corrected.values["run"] == second.id
    again = work.correct_entry(
        db, job, entry.step_id, corrected.id, StepCorrected(reason="Lot"),
        person=shop.odile, now=shop.now,
    )  # fmt: skip
    assert again.values["run"] == second.id


def test_the_newest_counts_where_nothing_is_said(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    shop.record(db, job, StepKind.REMOVE)
    newest = shop.record(db, job, StepKind.REMOVE, write_log(peak_shift_k=1))
    assert sign(db, shop, job, StepKind.REMOVE).values["run"] == newest.id


def test_a_run_named_on_a_cold_line_is_refused(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    run = shop.record(db, job, StepKind.REMOVE)
    sign(db, shop, job, StepKind.REMOVE)
    with pytest.raises(rules.RunMisplaced):
        sign(db, shop, job, StepKind.DRESS, run_id=run.id)


def test_a_signed_line_that_lost_its_run_is_in_doubt_until_another_is_named(
    db: Session, shop: Shop
) -> None:
    job = begin(db, shop)
    for step in load_card(db, job).sites[0].steps:
        shop.sign(db, job, step.kind)
    assert list_doubts(load_card(db, job)) == ()
    (lost,) = (
        run
        for run in load_card(db, job).sites[0].runs
        if run.step_id == shop.step_id(db, job, StepKind.REFLOW)
    )
    set_aside(db, shop, lost, shop.ines)
    (doubt,) = list_doubts(load_card(db, job))
    assert "signed with a run that is set aside since" in doubt
    fresh = shop.complete(db, read_again(db, shop, lost))
    assert len(list_doubts(load_card(db, job))) == 1
    (entry,) = load_card(db, job).sites[0].entries[lost.step_id]
    work.correct_entry(
        db, job, lost.step_id, entry.id, StepCorrected(reason="Read again"),
        person=shop.odile, now=shop.now,
    )  # fmt: skip
    assert list_doubts(load_card(db, job)) == ()
    assert load_card(db, job).sites[0].entries[lost.step_id][-1].values["run"] == fresh.id


def test_a_set_aside_run_is_no_accepted_one_to_be_held_against(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    shop.finish(db, job)
    accepted = get_run(db, 1)
    newer = shop.record(db, begin(db, shop), StepKind.REMOVE)
    kind = StepKind.REMOVE
    assert [run.id for run in list_peers(db, newer, kind, accepted_only=True)] == [accepted.id]
    assert get_job(db, job.id).state is JobState.CLOSED
    with pytest.raises(rules.RunSigned):
        set_aside(db, shop, accepted)
    set_aside(db, shop, accepted, shop.ines)
    assert list_peers(db, newer, kind, accepted_only=True) == []
    assert list_peers(db, newer, kind) == []


def test_a_page_asks_why_a_run_outside_its_window_is_signed(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    shop.record(db, job, StepKind.REMOVE, write_log(peak_shift_k=12))
    step_id = shop.step_id(db, job, StepKind.REMOVE)
    with pytest.raises(rules.ReasonMissing, match="outside its window") as refusal:
        work.sign_step(
            db, job, step_id, StepDone(), person=shop.odile, now=shop.now, asks_remark=True
        )
    assert refusal.value.field == "remark"
    said = StepDone(remark="Asked Ines")
    work.sign_step(db, job, step_id, said, person=shop.odile, now=shop.now, asks_remark=True)


@pytest.mark.parametrize(
    "more",
    [
        "verdict = 'inside', window_use_pct = 1",
        "figures = '{}'",
        "clearance = '{}'",
        "remark = 'x'",
        "state = 'aborted'",
        "trace_id = NULL",
        "set_aside_reason = NULL",
        "set_aside_reason = ''",
        "set_aside_by_id = NULL",
        "set_aside_at = NULL",
    ],
)
def test_the_database_lets_nothing_but_the_setting_aside_be_written(
    db: Session, shop: Shop, more: str
) -> None:
    run = shop.record(db, begin(db, shop), StepKind.REMOVE, write_log(peak_shift_k=12))
    db.commit()
    said = {
        "set_aside_at": "started_at",
        "set_aside_by_id": "by_id",
        "set_aside_reason": "'Trial'",
    } | dict(part.split(" = ") for part in more.split(", "))
    changes = ", ".join(f"{name} = {value}" for name, value in said.items())
    with pytest.raises((IntegrityError, DBAPIError), match=r"locked for good|set_aside_wholly"):
        db.execute(text(f"UPDATE runs SET {changes} WHERE id = {run.id}"))
    db.rollback()


def test_the_database_lets_a_setting_aside_be_written_once(db: Session, shop: Shop) -> None:
    run = shop.record(db, begin(db, shop), StepKind.REMOVE)
    set_aside(db, shop, run)
    db.commit()
    for change in ("set_aside_reason = 'Other'", "set_aside_at = NULL, set_aside_by_id = NULL"):
        with pytest.raises(DBAPIError, match="locked for good"):
            db.execute(text(f"UPDATE runs SET {change} WHERE id = {run.id}"))
        db.rollback()


def test_an_aborted_run_is_read_again_too(db: Session, shop: Shop) -> None:
    run = shop.start(db, begin(db, shop), StepKind.REMOVE)
    with pytest.raises(rules.RunRecording):
        read_again(db, shop, run)
    runs.abort_run(db, run, "Wrong columns", person=shop.odile, now=shop.now)
    assert read_again(db, shop, run).state is RunState.RECORDING


def test_nothing_is_read_again_in_a_closed_job(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    run = shop.record(db, job, StepKind.REMOVE)
    set_aside(db, shop, run)
    close = CloseJob(outcome=Outcome.SCRAPPED, remark="Pads lifted")
    service.close_job(db, job, close, person=shop.odile, now=shop.now)
    with pytest.raises(Refusal):
        read_again(db, shop, run)
