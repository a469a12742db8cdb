"""The life of every recipe revision: written, proposed, published by other eyes, superseded."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import partial
from typing import Final

from sqlalchemy.orm import Session

from app.approval.queries import get_digest
from app.recipes.body.recipe import RecipeBody
from app.recipes.queries import get_revision
from app.recipes.schemas import DraftFields, NewRecipe
from app.recipes.service import copy_revision, create_recipe, propose, publish, save_draft
from seed_demo.load_acts import Act, Stage
from seed_demo.recipes import Recipe, list_recipes
from seed_demo.story_shapes import PlannedRevision
from seed_demo.story_stock import list_revisions

_WRITING: Final = timedelta(minutes=17)


def list_recipe_acts(stage: Stage, end: datetime) -> Iterator[Act]:
    """List the acts of all recipes over the half year; a revision is superseded by the next."""
    recipes = {recipe.code: recipe for recipe in list_recipes()}
    for planned in list_revisions(end):
        yield from _list_acts(stage, recipes[planned.recipe_code], planned)


def _list_acts(stage: Stage, recipe: Recipe, planned: PlannedRevision) -> Iterator[Act]:
    if planned.number == 1:
        yield Act(planned.drafted_at, partial(_create, stage, recipe, planned))
    else:
        yield Act(planned.drafted_at, partial(_copy, stage, recipe, planned))
        yield Act(planned.drafted_at + _WRITING, partial(_write, stage, recipe, planned))
    if planned.proposed_at is not None:
        yield Act(planned.proposed_at, partial(_propose, stage, planned))
    if planned.published_at is not None:
        yield Act(planned.published_at, partial(_publish, stage, planned))


def _create(
    stage: Stage, recipe: Recipe, planned: PlannedRevision, session: Session, now: datetime
) -> None:
    first = recipe.revisions[0]
    fields = NewRecipe(
        code=recipe.code,
        title=recipe.title,
        reason=first.reason,
        body=RecipeBody.model_validate(first.body),
    )
    revision = create_recipe(session, fields, person=stage.people[planned.author], now=now)
    stage.revision_ids[recipe.code, 1] = revision.id


def _copy(
    stage: Stage, recipe: Recipe, planned: PlannedRevision, session: Session, now: datetime
) -> None:
    source = get_revision(session, stage.revision_ids[recipe.code, planned.number - 1])
    revision = copy_revision(
        session,
        source.recipe,
        source,
        reason=recipe.revisions[planned.number - 1].reason,
        person=stage.people[planned.author],
        now=now,
    )
    stage.revision_ids[recipe.code, planned.number] = revision.id


def _write(
    stage: Stage, recipe: Recipe, planned: PlannedRevision, session: Session, now: datetime
) -> None:
    revision = get_revision(session, stage.revision_ids[recipe.code, planned.number])
    text = recipe.revisions[planned.number - 1]
    fields = DraftFields(
        title=recipe.title, reason=text.reason, body=RecipeBody.model_validate(text.body)
    )
    save_draft(
        session,
        revision,
        fields,
        seen_version=str(revision.version),
        person=stage.people[planned.author],
        now=now,
    )


def _propose(stage: Stage, planned: PlannedRevision, session: Session, now: datetime) -> None:
    revision = get_revision(session, stage.revision_ids[planned.recipe_code, planned.number])
    propose(session, revision, person=stage.people[planned.author], now=now)


def _publish(stage: Stage, planned: PlannedRevision, session: Session, now: datetime) -> None:
    revision = get_revision(session, stage.revision_ids[planned.recipe_code, planned.number])
    publish(
        session,
        revision,
        seen_digest=get_digest(revision),
        person=stage.people[planned.approver],
        now=now,
    )
