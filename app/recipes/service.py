"""Writes recipes: drafts, and every move of a revision (app.approval.service)."""

from datetime import datetime
from typing import Final

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.approval.service import ApprovedTexts, Draft, spell_changes
from app.core.canonical_json import JsonValue
from app.recipes.body.compare import compare_bodies
from app.recipes.body.recipe import RecipeBody
from app.recipes.limit_origins import carry_origins
from app.recipes.queries import find_recipe, get_body
from app.recipes.rules import REVISIONS, canonical_bytes, check_worked_out
from app.recipes.schemas import DraftFields, NewRecipe
from app.recipes.tables import Recipe, RecipeRevision
from app.recipes.unheld import list_unheld

_TEXTS: Final = ApprovedTexts(REVISIONS, RecipeRevision)

withdraw = _TEXTS.withdraw
send_back = _TEXTS.send_back
publish = _TEXTS.publish
retire = _TEXTS.retire
discard_draft = _TEXTS.discard


def create_recipe(
    session: Session, fields: NewRecipe, *, person: Person, now: datetime
) -> RecipeRevision:
    """Create a recipe and return its first draft; RecipeCodeTaken where the code is in use."""
    body = carry_origins(None, fields.body)
    return _TEXTS.create(
        session,
        Recipe(code=fields.code, created_at=now, created_by_id=person.account_id),
        Draft(fields.title, fields.reason, canonical_bytes(body)),
        taken=f"Another recipe has the code {fields.code} already.",
        is_taken=lambda: find_recipe(session, fields.code) is not None,
        person=person,
        now=now,
        details={"title": fields.title, "reason": fields.reason},
    )


def copy_revision(
    session: Session,
    recipe: Recipe,
    source: RecipeRevision,
    *,
    reason: str,
    person: Person,
    now: datetime,
) -> RecipeRevision:
    """Start a new revision of a recipe as a copy of one of its revisions, and return the draft.

    OtherRecipe for a source of another recipe; RevisionOpenAlready while one is open.
    """
    _TEXTS.check_copy(session, recipe, source)
    return _TEXTS.copy(
        session,
        recipe,
        Draft(source.title, reason, canonical_bytes(get_body(source))),
        copy_of={"revision": source.number, "digest": get_digest(source)},
        person=person,
        now=now,
    )


def save_draft(
    session: Session,
    revision: RecipeRevision,
    fields: DraftFields,
    *,
    seen_version: str,
    person: Person,
    now: datetime,
    is_from_window: bool = False,
) -> RecipeRevision:
    """Write a draft's text; the author stays who began it, and nothing is told of no change.

    Where its limits came from is what stands there already, or with `is_from_window` what the
    fields say. RevisionFrozen for any state but draft; EditedMeanwhile when another version was
    seen.
    """
    _TEXTS.open_draft(session, revision, seen_version=seen_version)
    before = get_body(revision)
    body = fields.body if is_from_window else carry_origins(before, fields.body)
    return _TEXTS.save(
        session,
        revision,
        Draft(fields.title, fields.reason, canonical_bytes(body)),
        changes=lambda: _spell_changes(before, body),
        person=person,
        now=now,
    )


def propose(
    session: Session, revision: RecipeRevision, *, person: Person, now: datetime
) -> RecipeRevision:
    """Propose a draft that is worked out; from here on its text is frozen.

    Channels that no limit holds for are no hindrance, and are told.
    """
    _TEXTS.lock(session, revision)
    body = get_body(revision)
    check_worked_out(body)
    unheld: list[JsonValue] = [one.channel for one in list_unheld(body)]
    details: dict[str, JsonValue] = {"without_limit": unheld} if unheld else {}
    return _TEXTS.propose(session, revision, person=person, now=now, details=details)


def _spell_changes(before: RecipeBody, after: RecipeBody) -> dict[str, JsonValue]:
    return spell_changes(
        [
            {"path": one.path, "label": one.label, "old": one.old, "new": one.new}
            for one in compare_bodies(before, after)
        ]
    )
