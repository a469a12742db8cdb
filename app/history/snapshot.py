"""Sessions that see one moment of the database, whatever is committed meanwhile."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

from fastapi import Depends, Request
from sqlalchemy.orm import Session

from app.core.db import Sessions


@contextmanager
def open_snapshot(sessions: Sessions) -> Iterator[Session]:
    """Open a reading session in which records and entries are of the same moment.

    SQLite's readers see one moment anyway; PostgreSQL's must ask for it, or a job that is written
    between two questions would look like a record that nobody told of.
    """
    with sessions.read() as session:
        if sessions.engine.dialect.name == "postgresql":
            session.connection(execution_options={"isolation_level": "REPEATABLE READ"})
        yield session


def get_snapshot(request: Request) -> Iterator[Session]:
    """Open a snapshot for one request."""
    sessions: Sessions = request.app.state.sessions
    with open_snapshot(sessions) as session:
        yield session


Snapshot = Annotated[Session, Depends(get_snapshot, scope="function")]
