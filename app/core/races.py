"""Waiting for others who change the same thing, so that whoever comes second sees the first.

On SQLite one writer at a time is at work anyhow; on PostgreSQL a check that reads, followed by a
write, would let two through, and the database's own constraint would then answer for the rule.
"""

from typing import Any, Final, TypeVar

from sqlalchemy import inspect, text
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import InvalidRequestError
from sqlalchemy.orm import Session

from app.core.db import Base
from app.core.refusals import Refusal

Row = TypeVar("Row", bound=Base)

# Any fixed number will do; it names these turns among PostgreSQL's advisory locks.
NAMES_LOCK: Final = 0x4E616D65
_TAKE_TURN: Final = text("SELECT pg_advisory_xact_lock(:of_names, hashtext(:names))")


def wait_for_names(session: Session, names: str) -> None:
    """Let others who give such a name finish first; what they gave can be seen afterwards.

    `names` says which: "materials.part_number". The turn ends with the transaction.
    """
    if session.get_bind().dialect.name == "postgresql":
        session.execute(_TAKE_TURN, {"of_names": NAMES_LOCK, "names": names})


def insert_unless_taken(
    session: Session, table: type[Row], *, name: str, values: dict[str, Any]
) -> Row | None:
    """Insert a row whose column `name` is unique; None when another has that name already.

    One statement on either database: it waits for somebody who is giving the name at this moment,
    and a name that is taken leaves the transaction as it was.
    """
    is_shared = session.get_bind().dialect.name == "postgresql"
    insert = postgresql.insert(table) if is_shared else sqlite.insert(table)
    wanted = insert.values(**values).on_conflict_do_nothing(index_elements=[name])
    return session.scalars(wanted.returning(table)).one_or_none()


def wait_for_row(session: Session, row: Base, *, gone: Refusal | None = None) -> None:
    """Let others who change a row finish first, and read it as they left it.

    Raises `gone` when it was taken away meanwhile. Rows that name this one may go on being
    written.
    """
    # Of its columns only: what else was loaded beside the row stays at hand.
    columns = [one.key for one in inspect(type(row)).column_attrs if not one.deferred]
    try:
        session.refresh(row, columns, with_for_update={"key_share": True})
    except InvalidRequestError:
        if gone is None:
            raise
        raise gone from None
