"""A sum that was begun from a draft's form: what it would change there, and changing it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit.queries import list_entries_of_subject
from app.core.refusals import Refusal
from app.recipes import service
from app.recipes.body.compare import Change, compare_bodies
from app.recipes.body.recipe import RecipeBody
from app.recipes.queries import get_body
from app.recipes.rules import REVISIONS
from app.recipes.schemas import DraftFields
from app.recipes.sums.into_draft import Fineness, put_aperture, put_height
from app.recipes.sums.sheets import JOINT, STENCIL, SumSheet
from app.recipes.tables import RecipeRevision

# The sums whose results have a place in a recipe.
USABLE: Final = frozenset({STENCIL.name, JOINT.name})
_SAVED: Final = "recipes.save_draft"


@dataclass(frozen=True)
class Destination:
    """Where in a draft a sum's result goes: an aperture counted from 1, or a height, how finely."""

    aperture: int = 1
    fineness: Fineness = Fineness.MM


def put_into(
    body: RecipeBody, sheet: SumSheet, texts: Mapping[str, str], where: Destination
) -> RecipeBody:
    """Return a body with a sum's result in it; refuses what has no place there."""
    if sheet.name == STENCIL.name:
        return put_aperture(body, texts, number=where.aperture)
    return put_height(body, texts, fineness=where.fineness)


def preview(
    revision: RecipeRevision, sheet: SumSheet, texts: Mapping[str, str], where: Destination
) -> tuple[Change, ...] | Refusal:
    """Return what using a sum would change in a draft, or why it cannot be used there."""
    before = get_body(revision)
    try:
        return compare_bodies(before, put_into(before, sheet, texts, where))
    except Refusal as refusal:
        return refusal


def use_sum(
    session: Session,
    revision: RecipeRevision,
    sheet: SumSheet,
    texts: Mapping[str, str],
    where: Destination,
    *,
    seen_version: str,
    person: Person,
    now: datetime,
) -> tuple[Change, ...]:
    """Put a sum's result into a draft and return what changed; nothing is told of no change.

    RevisionFrozen for any state but draft; EditedMeanwhile when another version was seen; refuses
    what has no place in the draft.
    """
    before = get_body(revision)
    after = put_into(before, sheet, texts, where)
    fields = DraftFields(title=revision.title, reason=revision.reason, body=after)
    service.save_draft(session, revision, fields, seen_version=seen_version, person=person, now=now)
    return compare_bodies(before, after)


def list_last_changes(
    session: Session, revision: RecipeRevision
) -> tuple[tuple[str, str, str], ...]:
    """Return what the last saving of a draft changed, as the audit log tells: label, old, new."""
    saved = [
        entry
        for entry in list_entries_of_subject(session, REVISIONS.subject, revision.id)
        if entry.action == _SAVED
    ]
    changes = json.loads(saved[-1].body)["details"]["changes"] if saved else []
    return tuple(
        (str(one["label"]), str(one["old"] or "–"), str(one["new"] or "–")) for one in changes
    )
