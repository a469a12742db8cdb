"""Reads the log."""

from collections.abc import Iterator, Sequence
from typing import Final

from sqlalchemy import Row, bindparam, func, select
from sqlalchemy.orm import Session

from app.audit.tables import AuditEntry, NameCard

Last = tuple[int, bytes]
CHUNK = 2_000

_TABLE = AuditEntry.__table__
# Every write asks these: made once, and asked below the object mapper.
_LAST = select(_TABLE.c.seq, _TABLE.c.frontier).order_by(_TABLE.c.seq.desc()).limit(1)
_LAST_OF_BOARD = (
    select(_TABLE.c.board_number, _TABLE.c.leaf_hash)
    .where(_TABLE.c.board_id == bindparam("board"))
    .order_by(_TABLE.c.board_number.desc())
    .limit(1)
)

# Any fixed number will do; it names the log among PostgreSQL's advisory locks.
LOG_LOCK: Final = 0x5769636B
_WAIT_AND_LAST = ";".join(
    (
        f"SELECT pg_advisory_xact_lock({LOG_LOCK:d})",
        "SELECT seq, frontier FROM audit_entries ORDER BY seq DESC LIMIT 1",
    )
)


def find_last(session: Session) -> Last | None:
    """Return the newest entry's number and frontier, or None in an empty log."""
    row = session.connection().execute(_LAST).first()
    return None if row is None else (row.seq, row.frontier)


def wait_and_find_last(session: Session) -> Last | None:
    """Take PostgreSQL's advisory lock of this transaction, then answer as `find_last`.

    Both statements go in one message: one way to the server and back less while others wait.
    Each has a snapshot of its own, so the second sees what the lock was waited for.
    """
    answered = session.connection().exec_driver_sql(_WAIT_AND_LAST)
    cursor = answered.cursor
    cursor.nextset()
    row = cursor.fetchone()
    answered.close()
    return None if row is None else (row[0], bytes(row[1]))


def find_last_of_board(session: Session, board_id: int) -> tuple[int, bytes] | None:
    """Return the running number and leaf hash of a board's newest entry, or None."""
    row = session.connection().execute(_LAST_OF_BOARD, {"board": board_id}).first()
    return None if row is None else (row.board_number, row.leaf_hash)


def count_entries(session: Session) -> int:
    """Return how many entries the log holds."""
    return session.scalar(select(func.count(AuditEntry.seq))) or 0


def iterate_entries(session: Session) -> Iterator[Row[tuple[object, ...]]]:
    """Return every entry in order, read in pieces so that memory stays flat."""
    after = -(2**62)
    while True:
        rows = session.execute(
            select(_TABLE).where(_TABLE.c.seq > after).order_by(_TABLE.c.seq).limit(CHUNK)
        ).all()
        yield from rows
        if len(rows) < CHUNK:
            return
        after = rows[-1].seq


def list_entries_of_board(session: Session, board_id: int) -> Sequence[AuditEntry]:
    """Return a board's entries, oldest first."""
    return session.scalars(
        select(AuditEntry).where(AuditEntry.board_id == board_id).order_by(AuditEntry.board_number)
    ).all()


def list_entries_of_subject(session: Session, kind: str, subject_id: int) -> Sequence[AuditEntry]:
    """Return the entries about one thing, oldest first."""
    return session.scalars(
        select(AuditEntry)
        .where(AuditEntry.subject_kind == kind, AuditEntry.subject_id == subject_id)
        .order_by(AuditEntry.seq)
    ).all()


def map_names(session: Session) -> dict[str, str]:
    """Return commitment → name of everybody the log tells of."""
    rows = session.execute(select(NameCard.commitment, NameCard.name)).all()
    return {row.commitment: row.name for row in rows}
