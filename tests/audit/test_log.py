"""The log on a real database: every change told, every tampering found."""

import pytest
from sqlalchemy import select, text, update
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.accounts.tables import Account
from app.audit.queries import iterate_entries, list_entries_of_board
from app.audit.rules import Subject
from app.audit.service import ChangeWithoutTale, append
from app.audit.tables import AuditEntry, NameCard
from app.audit.verifier import verify_entries
from app.core.db import Sessions
from tests.conftest import CAST, NOW


def tell(db: Session, who: Person, number: int = 1, *, board_id: int | None = None) -> None:
    append(
        db,
        action="tests.tell",
        subject=Subject("test", number),
        actor=who.actor,
        now=NOW,
        board_id=board_id,
        details={"number": number},
    )


def unlock(db: Session) -> None:
    if db.get_bind().dialect.name == "sqlite":
        for event in ("update", "delete"):
            db.execute(text(f"DROP TRIGGER audit_entries_no_{event}"))
    else:
        db.execute(text("ALTER TABLE audit_entries DISABLE TRIGGER ALL"))


def test_a_log_that_nobody_touched_is_whole(db: Session, odile: Person) -> None:
    for number in range(20):
        tell(db, odile, number)
        db.commit()
    verdict = verify_entries(iterate_entries(db))
    assert verdict.is_whole
    assert verdict.size == len(CAST) + 20


def test_several_tales_of_one_transaction_stand_in_order(db: Session, odile: Person) -> None:
    for number in (1, 2, 3):
        tell(db, odile, number, board_id=7)
    db.commit()
    entries = list_entries_of_board(db, 7)
    assert [entry.subject_id for entry in entries] == [1, 2, 3]
    assert [entry.board_number for entry in entries] == [1, 2, 3]
    assert verify_entries(iterate_entries(db)).is_whole


def test_a_rolled_back_change_leaves_no_entry(db: Session, odile: Person) -> None:
    tell(db, odile)
    db.rollback()
    tell(db, odile, 2)
    db.commit()
    numbers = db.scalars(select(AuditEntry.subject_id).where(AuditEntry.action == "tests.tell"))
    assert numbers.all() == [2]


def test_a_change_that_nobody_tells_of_is_never_committed(db: Session) -> None:
    db.scalars(select(Account)).first().name = "Somebody Else"  # type: ignore[union-attr]
    with pytest.raises(ChangeWithoutTale, match="Account"):
        db.commit()


def change(db: Session) -> None:
    db.scalars(select(Account)).first().name = "Somebody Else"  # type: ignore[union-attr]


def fail_in_savepoint(db: Session, odile: Person, *, by_flush: bool) -> None:
    """Do, tell and take back something within a savepoint."""
    broken = NameCard(commitment="x", account_id=1, username=None, name="")
    broken.salt, broken.at = b"", NOW
    savepoint = db.begin_nested()
    tell(db, odile, 2)
    change(db)
    if by_flush:
        db.add(broken)
        with pytest.raises(IntegrityError):
            db.flush()
    savepoint.rollback()


@pytest.mark.parametrize("by_flush", [True, False])
def test_a_savepoint_that_is_taken_back_leaves_what_was_told_before(
    db: Session, odile: Person, *, by_flush: bool
) -> None:
    tell(db, odile, 1)
    change(db)
    fail_in_savepoint(db, odile, by_flush=by_flush)
    tell(db, odile, 3)
    db.commit()
    numbers = db.scalars(select(AuditEntry.subject_id).where(AuditEntry.action == "tests.tell"))
    assert numbers.all() == [1, 3]
    assert verify_entries(iterate_entries(db)).is_whole


@pytest.mark.parametrize("by_flush", [True, False])
def test_a_change_before_a_savepoint_that_is_taken_back_must_still_be_told(
    db: Session, odile: Person, *, by_flush: bool
) -> None:
    change(db)
    db.flush()
    fail_in_savepoint(db, odile, by_flush=by_flush)
    with pytest.raises(ChangeWithoutTale, match="Account"):
        db.commit()


def test_a_change_that_a_savepoint_takes_back_need_not_be_told(db: Session, odile: Person) -> None:
    fail_in_savepoint(db, odile, by_flush=True)
    db.commit()
    assert db.scalars(select(AuditEntry).where(AuditEntry.action == "tests.tell")).all() == []


def test_what_is_done_in_a_savepoint_can_be_told_after_it(db: Session, odile: Person) -> None:
    with db.begin_nested():
        change(db)
    tell(db, odile)
    db.commit()
    assert verify_entries(iterate_entries(db)).size == len(CAST) + 1


@pytest.mark.parametrize(
    "statement", ["UPDATE audit_entries SET job_id = 1", "DELETE FROM audit_entries"]
)
def test_the_database_itself_refuses_to_change_an_entry(db: Session, statement: str) -> None:
    with pytest.raises(DBAPIError, match="locked for good"):
        db.execute(text(statement))


@pytest.mark.parametrize(
    ("column", "value", "reason"),
    [
        ("body", b"{}", "hash"),
        ("action", "tests.other", "column action"),
        ("actor_id", 99, "column actor_id"),
        ("frontier", b"\0" * 32, "tree"),
        ("root", b"\1" * 32, "tree"),
        ("leaf_hash", b"\2" * 32, "hash"),
    ],
)
def test_a_changed_column_is_found_and_its_entry_named(
    db: Session, sessions: Sessions, odile: Person, column: str, value: object, reason: str
) -> None:
    for number in range(5):
        tell(db, odile, number)
    db.commit()
    unlock(db)
    db.execute(update(AuditEntry).where(AuditEntry.seq == 8).values({column: value}))
    db.commit()
    verdict = verify_entries(iterate_entries(db))
    assert verdict.wrong_seq == 8
    assert verdict.reason is not None
    assert reason in verdict.reason


def test_a_dropped_entry_is_found(db: Session, odile: Person) -> None:
    for number in range(5):
        tell(db, odile, number)
    db.commit()
    unlock(db)
    db.execute(text("DELETE FROM audit_entries WHERE seq = 7"))
    db.commit()
    verdict = verify_entries(iterate_entries(db))
    assert verdict.wrong_seq == 7
    assert verdict.reason == "entry 7 is missing: the next one is 8"
