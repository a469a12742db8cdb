"""What nobody can change: proposed, published and retired texts, in the service and in SQL."""

from collections.abc import Iterator
from datetime import datetime

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.core.db import Sessions
from app.recipes import service
from app.recipes.queries import (
    get_revision,
)
from app.recipes.rules import RevisionFrozen
from app.recipes.tables import RecipeRevision
from tests.conftest import Look
from tests.recipes.conftest import Make, draft_fields, hotter


@pytest.fixture
def tampering(sessions: Sessions) -> Iterator[Session]:
    """Return a session on the bare connection, which no service stands before."""
    with Session(sessions.engine) as session:
        yield session


@pytest.mark.parametrize("state", ["proposed", "published", "retired"])
def test_the_text_of_what_is_no_draft_is_frozen(
    make: Make, db: Session, ines: Person, now: datetime, state: str
) -> None:
    revision = get_revision(db, make(RevisionState(state)))
    seen = str(revision.version)
    with pytest.raises(RevisionFrozen):
        service.save_draft(
            db, revision, draft_fields(hotter()), seen_version=seen, person=ines, now=now
        )
    with pytest.raises(RevisionFrozen):
        service.discard_draft(db, revision, person=ines, now=now)


@pytest.mark.parametrize("state", ["proposed", "published", "retired"])
@pytest.mark.parametrize(
    "change",
    [
        "UPDATE recipe_revisions SET body = :body",
        "UPDATE recipe_revisions SET title = 'another'",
        "UPDATE recipe_revisions SET reason = 'another'",
        "UPDATE recipe_revisions SET number = 9",
        "UPDATE recipe_revisions SET body = :body, state = 'draft'",
        "UPDATE recipe_revisions SET body = :body, state = 'retired'",
        "UPDATE recipe_revisions SET author_id = approved_by_id, state = 'draft'",
        "DELETE FROM recipe_revisions",
        "DELETE FROM recipe_revisions WHERE 1 = 1",
    ],
)
def test_the_database_itself_refuses_to_change_a_frozen_text(
    make: Make, tampering: Session, look: Look, state: str, change: str
) -> None:
    make(RevisionState(state))
    before = look(select(RecipeRevision))[0]
    with pytest.raises(DBAPIError):
        tampering.execute(text(change), {"body": b"{}"} if ":body" in change else {})
    tampering.rollback()
    after = look(select(RecipeRevision))[0]
    assert (after.body, after.title, after.reason, after.number, after.author_id) == (
        before.body,
        before.title,
        before.reason,
        before.number,
        before.author_id,
    )


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE recipe_revisions SET digest = 'x'",
        "UPDATE recipe_revisions SET state = 'draft'",
        "UPDATE recipe_revisions SET approved_by_id = author_id",
        "UPDATE recipe_revisions SET state = 'retired', approved_at = NULL",
        "UPDATE recipe_revisions SET state = 'retired', proposed_at = NULL",
        "UPDATE recipe_revisions SET state = 'retired', id = 99",
        "UPDATE recipe_revisions SET version = 9",
    ],
)
def test_a_published_revision_keeps_its_signatures_whoever_asks(
    make: Make, tampering: Session, change: str
) -> None:
    make(RevisionState.PUBLISHED)
    with pytest.raises(DBAPIError):
        tampering.execute(text(change))


def test_a_draft_can_be_changed_in_the_database_so_that_the_refusals_mean_something(
    make: Make, tampering: Session
) -> None:
    make()
    tampering.execute(text("UPDATE recipe_revisions SET title = 'another'"))
    tampering.execute(text("DELETE FROM recipe_revisions"))
    assert tampering.scalar(text("SELECT count(*) FROM recipe_revisions")) == 0
