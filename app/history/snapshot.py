"""Sessions that see one moment of the database, whatever is committed meanwhile."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

from fastapi import Depends, Request
from sqlalchemy.orm import Session

from app.core.db import Sessions
from app.core.request import RequestSession


@contextmanager
def open_snapshot(sessions: Sessions) -> Iterator[Session]:
    """Open a reading session in which records and entries are of the same moment.

    SQLite's readers see one moment anyway; PostgreSQL's must ask for it, or a job that is written
    between two questions would look like a record that nobody told of.
    """
    with sessions.read() as session:
        _fix_moment(session, sessions)
        yield session


def get_snapshot(request: Request, session: RequestSession) -> Session:
    """Return the request's own session, from here on as of one moment.

    A session beside it would hold a second connection, of which there are not that many.
    """
    sessions: Sessions = request.app.state.sessions
    session.rollback()
    _fix_moment(session, sessions)
    return session


def _fix_moment(session: Session, sessions: Sessions) -> None:
    if sessions.engine.dialect.name == "postgresql":
        session.connection(execution_options={"isolation_level": "REPEATABLE READ"})


Snapshot = Annotated[Session, Depends(get_snapshot)]
