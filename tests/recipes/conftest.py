"""Recipes at hand for the tests of writing them."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest

from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.approval.rules import RevisionState
from app.core.db import Sessions
from app.recipes import service
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import choose, default_body
from app.recipes.queries import get_revision
from app.recipes.schemas import DraftFields, NewRecipe

BODY = choose(
    default_body(assembly_part_number="LIMNET-07", designators=["U3"]),
    nozzle="N-20",
    vacuum_cup="CUP-4",
    flux="tacky flux",
)

Make = Callable[..., int]


def new_recipe(code: str = "LIM-U3", body: RecipeBody = BODY) -> NewRecipe:
    return NewRecipe(code=code, title="Remove and place U3", reason="First issue.", body=body)


def hotter(body: RecipeBody = BODY, *, top_c: float = 293) -> RecipeBody:
    """Return a body whose reflow zone is set to another top temperature."""
    changed: dict[str, Any] = body.model_dump(mode="json")
    changed["zones"][3]["top_c"] = top_c
    return RecipeBody.model_validate(changed)


def draft_fields(body: RecipeBody, *, title: str = "Remove and place U3") -> DraftFields:
    return DraftFields(title=title, reason="First issue.", body=body)


@pytest.fixture
def make(sessions: Sessions, ines: Person, edda: Person, now: datetime) -> Make:
    """Return a function that commits Ines's recipe in a state and returns the revision's id."""

    def make_recipe(
        state: RevisionState = RevisionState.DRAFT, *, code: str = "LIM-U3", body: RecipeBody = BODY
    ) -> int:
        with sessions.write.begin() as db:
            revision = service.create_recipe(db, new_recipe(code, body), person=ines, now=now)
            bring_to(db, revision.id, state, ines, edda, now)
            return revision.id

    return make_recipe


def bring_to(
    db: Any, revision_id: int, state: RevisionState, writer: Person, approver: Person, now: datetime
) -> None:
    """Move a draft on to a state, proposed by its writer and approved by somebody else."""
    revision = get_revision(db, revision_id)
    if state is not RevisionState.DRAFT:
        service.propose(db, revision, person=writer, now=now)
    if state in {RevisionState.PUBLISHED, RevisionState.RETIRED}:
        digest = get_digest(revision)
        service.publish(db, revision, seen_digest=digest, person=approver, now=now)
    if state is RevisionState.RETIRED:
        service.retire(db, revision, reason="Soak too long.", person=approver, now=now)
