"""Puts windows into drafts of recipes, through the recipes' own service."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.approval.queries import get_digest as get_recipe_digest
from app.approval.rules import RevisionState
from app.core.canonical_json import JsonValue
from app.core.conditional import check_version
from app.recipes.queries import get_body
from app.recipes.rules import REVISIONS
from app.recipes.schemas import DraftFields
from app.recipes.service import save_draft
from app.recipes.tables import RecipeRevision
from app.windows.body import WindowText
from app.windows.built_in import BuiltIn
from app.windows.into_recipe import Limits, Stamp, Temperatures, put_into_body
from app.windows.queries import get_text
from app.windows.rules import NotInForce, NotYourDraft
from app.windows.service import lock_version, tell
from app.windows.tables import WindowVersion


@dataclass(frozen=True)
class PutHow:
    """How a window is put into a recipe's draft."""

    limits: Limits
    temperatures: Temperatures


def put_into_recipe(
    session: Session,
    source: WindowVersion | BuiltIn,
    revision: RecipeRevision,
    how: PutHow,
    *,
    seen_version: str,
    person: Person,
    now: datetime,
) -> RecipeRevision:
    """Put a published or built-in window into a person's own draft of a recipe.

    Raises NotInForce, NotYourDraft, DoesNotFit, EditedMeanwhile and what saving a recipe's draft
    raises.
    """
    if isinstance(source, WindowVersion):
        lock_version(session, source)
    stamp, text = state_source(source)
    if revision.author_id != person.account_id:
        raise NotYourDraft(
            f"Revision {revision.number} of {revision.recipe.code} was begun by somebody else; a "
            "window can be put into a draft of your own.",
            field="recipe_revision_id",
        )
    REVISIONS.check_editable(revision.state)
    check_version(seen_version, revision.version)
    before, old_version = get_recipe_digest(revision), revision.version
    body = put_into_body(
        get_body(revision), text, stamp, limits=how.limits, temperatures=how.temperatures
    )
    save_draft(
        session,
        revision,
        DraftFields(title=revision.title, reason=revision.reason, body=body),
        seen_version=seen_version,
        person=person,
        now=now,
        is_from_window=True,
    )
    if isinstance(source, WindowVersion) and revision.version != old_version:
        details: dict[str, JsonValue] = {
            "recipe": revision.recipe.code,
            "revision": revision.number,
            "limits": how.limits,
            "temperatures": how.temperatures,
            "recipe_digest_before": before,
            "recipe_digest_after": get_recipe_digest(revision),
        }
        tell(session, source, "put", person=person, now=now, details=details)
    return revision


def state_source(source: WindowVersion | BuiltIn) -> tuple[Stamp, WindowText]:
    """Return which window it is and its text; NotInForce for a version that is not published."""
    if isinstance(source, BuiltIn):
        return Stamp(source.key, source.version, source.name, source.digest), source.text
    if source.state is not RevisionState.PUBLISHED:
        raise NotInForce(
            f"Version {source.number} of {source.window.code} is {source.state}; only a published "
            "one can be put into a recipe."
        )
    stamp = Stamp(source.window.code, source.number, source.title, get_digest(source))
    return stamp, get_text(source)
