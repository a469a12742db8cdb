"""What nobody can change: proposed, published and retired windows, in SQL."""

from collections.abc import Iterator

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.approval.rules import RevisionState
from app.core.db import Sessions
from app.windows.tables import WindowVersion
from tests.conftest import Look
from tests.windows.conftest import Make


@pytest.fixture
def tampering(sessions: Sessions) -> Iterator[Session]:
    """Return a session on the bare connection, which no service stands before."""
    with Session(sessions.engine) as session:
        yield session


@pytest.mark.parametrize("state", ["proposed", "published", "retired"])
@pytest.mark.parametrize(
    "change",
    [
        "UPDATE window_versions SET body = :body",
        "UPDATE window_versions SET title = 'another'",
        "UPDATE window_versions SET reason = 'another'",
        "UPDATE window_versions SET number = 9",
        "UPDATE window_versions SET body = :body, state = 'draft'",
        "UPDATE window_versions SET body = :body, state = 'retired'",
        "UPDATE window_versions SET author_id = 1, state = 'draft'",
        "DELETE FROM window_versions",
    ],
)
def test_the_database_itself_refuses_to_change_a_frozen_text(
    make: Make, tampering: Session, look: Look, state: str, change: str
) -> None:
    make(RevisionState(state))
    before = look(select(WindowVersion))[0]
    with pytest.raises(DBAPIError):
        tampering.execute(text(change), {"body": b"{}"} if ":body" in change else {})
    tampering.rollback()
    after = look(select(WindowVersion))[0]
    assert (after.body, after.title, after.reason, after.number, after.author_id) == (
        before.body, before.title, before.reason, before.number, before.author_id,
    )  # fmt: skip


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE window_versions SET digest = 'x'",
        "UPDATE window_versions SET state = 'draft'",
        "UPDATE window_versions SET approved_by_id = author_id",
        "UPDATE window_versions SET state = 'retired', approved_at = NULL",
        "UPDATE window_versions SET state = 'retired', proposed_at = NULL",
        "UPDATE window_versions SET state = 'retired', digest = 'x'",
        "UPDATE window_versions SET state = 'retired', id = 99",
        "UPDATE window_versions SET version = 9",
    ],
)
def test_a_published_version_keeps_its_signatures_whoever_asks(
    make: Make, tampering: Session, change: str
) -> None:
    make(RevisionState.PUBLISHED)
    with pytest.raises(DBAPIError):
        tampering.execute(text(change))


def test_a_published_version_is_not_replaced_either(
    make: Make, tampering: Session, database: str
) -> None:
    if database != "sqlite":
        pytest.skip("REPLACE is SQLite's own")
    make(RevisionState.PUBLISHED)
    with pytest.raises(DBAPIError, match="locked for good"):
        tampering.execute(
            text("INSERT OR REPLACE INTO window_versions SELECT * FROM window_versions")
        )


def test_a_draft_can_be_changed_in_the_database_so_that_the_refusals_mean_something(
    make: Make, tampering: Session
) -> None:
    make()
    tampering.execute(text("UPDATE window_versions SET title = 'another'"))
    tampering.execute(text("DELETE FROM window_versions"))
    assert tampering.scalar(text("SELECT count(*) FROM window_versions")) == 0
