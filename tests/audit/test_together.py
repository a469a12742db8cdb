"""Many who write at once make one log without a gap, and without the lock they could not."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from sqlalchemy import Engine, event, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit.queries import iterate_entries
from app.audit.rules import Subject
from app.audit.service import append
from app.audit.tables import AuditEntry
from app.audit.verifier import verify_entries
from app.core.db import Sessions
from tests.conftest import CAST, NOW, Look

WRITERS = 8
EACH = 25


def tell(session: Session, who: Person, number: int) -> None:
    append(
        session,
        action="tests.tell",
        subject=Subject("test", number),
        actor=who.actor,
        now=NOW,
        board_id=number % 3 + 1,
    )


def check_gapless(sessions: Sessions, look: Look, count: int) -> None:
    expected = len(CAST) + count
    assert look(select(AuditEntry.seq).order_by(AuditEntry.seq)) == list(range(1, expected + 1))
    with sessions.read() as session:
        verdict = verify_entries(iterate_entries(session))
    assert verdict.is_whole, verdict.reason
    assert verdict.size == expected


def test_eight_who_write_at_once_make_one_log_without_a_gap(
    sessions: Sessions, odile: Person, look: Look
) -> None:
    start = Barrier(WRITERS)

    def write(writer: int) -> None:
        start.wait()
        for number in range(EACH):
            with sessions.write.begin() as session:
                tell(session, odile, writer * EACH + number)

    with ThreadPoolExecutor(WRITERS) as pool:
        list(pool.map(write, range(WRITERS)))
    check_gapless(sessions, look, WRITERS * EACH)
    told = look(select(AuditEntry.subject_id).where(AuditEntry.action == "tests.tell"))
    assert sorted(told) == list(range(WRITERS * EACH))


def test_those_who_give_up_leave_no_gap(sessions: Sessions, odile: Person, look: Look) -> None:
    start = Barrier(WRITERS)

    def write(writer: int) -> None:
        start.wait()
        for number in range(EACH):
            with sessions.write() as session:
                tell(session, odile, writer * EACH + number)
                session.flush()
                if number % 2:
                    session.rollback()
                else:
                    session.commit()

    with ThreadPoolExecutor(WRITERS) as pool:
        list(pool.map(write, range(WRITERS)))
    check_gapless(sessions, look, WRITERS * len(range(0, EACH, 2)))


def take_the_lock_away(engine: Engine) -> None:
    """Let PostgreSQL's writers pass without the log's lock."""

    def replace(
        _connection: object, _cursor: object, statement: str, parameters: object, *_: object
    ) -> tuple[str, object]:
        return statement.replace("pg_advisory_xact_lock(", "abs("), parameters

    event.listen(engine, "before_cursor_execute", replace, retval=True)


def meet_before_writing(engine: Engine) -> Callable[[], None]:
    """Make two writers wait for each other once both have read which entry is the newest."""
    both_have_read = Barrier(2)

    def wait(_connection: object, _cursor: object, statement: str, *_: object) -> None:
        if statement.startswith("INSERT INTO audit_entries"):
            both_have_read.wait(timeout=60)

    event.listen(engine, "before_cursor_execute", wait)
    return lambda: event.remove(engine, "before_cursor_execute", wait)


def test_without_the_lock_one_of_two_is_refused_and_the_log_stays_whole(
    sessions: Sessions, odile: Person, look: Look, database: str
) -> None:
    # On SQLite a reader's session begins without the lock that a writer's takes at once.
    make = sessions.read if database == "sqlite" else sessions.write
    take_the_lock_away(sessions.engine)
    part = meet_before_writing(sessions.engine)

    def write(number: int) -> str:
        try:
            with make.begin() as session:
                tell(session, odile, number)
        except DBAPIError as error:
            return str(error.orig)
        return "written"

    with ThreadPoolExecutor(2) as pool:
        told = list(pool.map(write, (1, 2)))
    part()
    assert told.count("written") == 1
    refused = next(one for one in told if one != "written")
    assert "locked" in refused or "unique" in refused
    check_gapless(sessions, look, 1)


@pytest.mark.parametrize("together", [2, 5])
def test_tales_of_one_transaction_stay_together(
    sessions: Sessions, odile: Person, look: Look, together: int
) -> None:
    start = Barrier(WRITERS)

    def write(writer: int) -> None:
        start.wait()
        with sessions.write.begin() as session:
            for number in range(together):
                tell(session, odile, writer * together + number)

    with ThreadPoolExecutor(WRITERS) as pool:
        list(pool.map(write, range(WRITERS)))
    check_gapless(sessions, look, WRITERS * together)
    told = look(
        select(AuditEntry.subject_id)
        .where(AuditEntry.action == "tests.tell")
        .order_by(AuditEntry.seq)
    )
    for place in range(0, len(told), together):
        assert told[place : place + together] == list(range(told[place], told[place] + together))
