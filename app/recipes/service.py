"""Writes recipes: drafts, and every move of a revision through the one table of states."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.core.canonical_json import JsonValue
from app.core.conditional import check_version
from app.core.races import wait_for_names, wait_for_row
from app.recipes.body.compare import compare_bodies
from app.recipes.body.recipe import RecipeBody
from app.recipes.limit_origins import carry_origins
from app.recipes.queries import (
    SUBJECT,
    find_open,
    find_published,
    find_recipe,
    get_body,
    get_digest,
    list_editors,
)
from app.recipes.rules import (
    OtherRecipe,
    RecipeCodeTaken,
    RecipeUnknown,
    RevisionAction,
    RevisionOpenAlready,
    RevisionState,
    RevisionUnknown,
    canonical_bytes,
    check_editable,
    check_four_eyes,
    check_not_editor,
    check_seen,
    check_worked_out,
    get_move,
)
from app.recipes.schemas import DraftFields, NewRecipe
from app.recipes.tables import Recipe, RecipeRevision
from app.recipes.unheld import list_unheld

# An audit entry keeps the digests of both texts; of the changes it keeps what a reader can read.
CHANGES_TOLD: Final = 60
CHARACTERS_TOLD: Final = 300


def create_recipe(
    session: Session, fields: NewRecipe, *, person: Person, now: datetime
) -> RecipeRevision:
    """Create a recipe and return its first draft; RecipeCodeTaken where the code is in use."""
    wait_for_names(session, "recipes.code")
    if find_recipe(session, fields.code) is not None:
        raise RecipeCodeTaken(f"Another recipe has the code {fields.code} already.", field="code")
    recipe = Recipe(code=fields.code, created_at=now, created_by_id=person.account_id)
    session.add(recipe)
    session.flush()
    fields = fields.model_copy(update={"body": carry_origins(None, fields.body)})
    revision = _add_draft(session, recipe, fields, person=person, now=now)
    details: dict[str, JsonValue] = {"title": fields.title, "reason": fields.reason}
    _tell(session, revision, "recipes.create", person=person, now=now, details=details)
    return revision


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
    if source.recipe_id != recipe.id:
        raise OtherRecipe(
            f"Revision number {source.id} is of another recipe, not of {recipe.code}.",
            field="copy_of",
        )
    wait_for_row(session, recipe, gone=RecipeUnknown("This recipe was discarded."))
    opened = find_open(session, recipe.id)
    if opened is not None:
        raise RevisionOpenAlready(
            f"Revision {opened.number} of {recipe.code} is {opened.state}; "
            "finish or discard it before you start another."
        )
    fields = DraftFields(title=source.title, reason=reason, body=get_body(source))
    revision = _add_draft(session, recipe, fields, person=person, now=now)
    details: dict[str, JsonValue] = {
        "title": source.title,
        "reason": reason,
        "copy_of": {"revision": source.number, "digest": get_digest(source)},
    }
    _tell(session, revision, "recipes.copy", person=person, now=now, details=details)
    return revision


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
    _lock(session, revision)
    check_editable(revision.state)
    check_version(seen_version, revision.version)
    before = get_body(revision)
    body = fields.body if is_from_window else carry_origins(before, fields.body)
    old: dict[str, JsonValue] = {
        "title": revision.title,
        "reason": revision.reason,
        "digest": get_digest(revision),
    }
    revision.title, revision.reason = fields.title, fields.reason
    revision.body = canonical_bytes(body)
    if not session.is_modified(revision):
        return revision
    session.flush()
    details: dict[str, JsonValue] = {
        "before": old,
        "title": fields.title,
        "reason": fields.reason,
        **_spell_changes(before, body),
    }
    _tell(session, revision, "recipes.save_draft", person=person, now=now, details=details)
    return revision


def discard_draft(
    session: Session, revision: RecipeRevision, *, person: Person, now: datetime
) -> None:
    """Delete a draft, and its recipe when nothing else is left of it; RevisionFrozen otherwise."""
    _lock(session, revision)
    check_editable(revision.state)
    recipe = revision.recipe
    details: dict[str, JsonValue] = {"title": revision.title, "reason": revision.reason}
    _tell(session, revision, "recipes.discard", person=person, now=now, details=details)
    session.delete(revision)
    session.flush()
    if not _count_revisions(session, recipe.id):
        session.delete(recipe)
        session.flush()


def propose(
    session: Session, revision: RecipeRevision, *, person: Person, now: datetime
) -> RecipeRevision:
    """Propose a draft that is worked out; from here on its text is frozen.

    Channels that no limit holds for are no hindrance, and are told.
    """
    _lock(session, revision)
    body = get_body(revision)
    check_worked_out(body)
    revision.state = _take_move(revision, RevisionAction.PROPOSE, person=person)
    revision.proposed_by_id, revision.proposed_at = person.account_id, now
    session.flush()
    unheld: list[JsonValue] = [one.channel for one in list_unheld(body)]
    details: dict[str, JsonValue] = {"without_limit": unheld} if unheld else {}
    _tell(session, revision, "recipes.propose", person=person, now=now, details=details)
    return revision


def withdraw(
    session: Session, revision: RecipeRevision, *, person: Person, now: datetime
) -> RecipeRevision:
    """Make a proposed revision a draft again, from the writers' side."""
    _lock(session, revision)
    _return_to_draft(revision, RevisionAction.WITHDRAW, person=person)
    session.flush()
    _tell(session, revision, "recipes.withdraw", person=person, now=now)
    return revision


def send_back(
    session: Session, revision: RecipeRevision, *, reason: str, person: Person, now: datetime
) -> RecipeRevision:
    """Make a proposed revision a draft again, from the approvers' side, and say why."""
    _lock(session, revision)
    _return_to_draft(revision, RevisionAction.SEND_BACK, person=person)
    session.flush()
    details: dict[str, JsonValue] = {"reason": reason}
    _tell(session, revision, "recipes.send_back", person=person, now=now, details=details)
    return revision


def publish(
    session: Session, revision: RecipeRevision, *, seen_digest: str, person: Person, now: datetime
) -> RecipeRevision:
    """Approve a proposed revision, which publishes it; the one published before is superseded.

    `seen_digest` is that of the text the approver read: OtherTextSeen for another. An approver who
    wrote, changed or proposed it is refused (Author-, Editor-, ProposerCannotApprove).
    """
    _lock(session, revision)
    after = _take_move(revision, RevisionAction.PUBLISH, person=person)
    proposer_id = revision.proposed_by_id or revision.author_id
    check_four_eyes(
        author_id=revision.author_id, proposer_id=proposer_id, approver_id=person.account_id
    )
    check_not_editor(list_editors(session, revision.id), approver_id=person.account_id)
    digest = get_digest(revision)
    check_seen(seen_digest, digest)
    earlier = find_published(session, revision.recipe_id)
    if earlier is not None:
        _supersede(session, earlier, number=revision.number, person=person, now=now)
    revision.state, revision.digest = after, digest
    revision.approved_by_id, revision.approved_at = person.account_id, now
    session.flush()
    details: dict[str, JsonValue] = {
        "title": revision.title,
        "reason": revision.reason,
        "author": revision.author_id,
        "proposed_by": proposer_id,
        "supersedes": earlier.number if earlier is not None else None,
    }
    _tell(session, revision, "recipes.publish", person=person, now=now, details=details)
    return revision


def retire(
    session: Session, revision: RecipeRevision, *, reason: str, person: Person, now: datetime
) -> RecipeRevision:
    """Retire a published revision: no new job can take it, and open ones go on with it."""
    _lock(session, revision)
    revision.state = _take_move(revision, RevisionAction.RETIRE, person=person)
    _sign_retirement(revision, reason, person=person, now=now)
    session.flush()
    details: dict[str, JsonValue] = {"reason": reason}
    _tell(session, revision, "recipes.retire", person=person, now=now, details=details)
    return revision


def _lock(session: Session, revision: RecipeRevision) -> None:
    """Let others who change a recipe finish first, and read the revision as they left it.

    The recipe is what is waited for, since publishing a revision changes the one before it.
    """
    gone = RevisionUnknown("This revision was discarded.", field="id")
    wait_for_row(session, revision.recipe, gone=gone)
    wait_for_row(session, revision, gone=gone)


def _supersede(
    session: Session, earlier: RecipeRevision, *, number: int, person: Person, now: datetime
) -> None:
    earlier.state = get_move(earlier.state, RevisionAction.RETIRE).after
    reason = f"Superseded by revision {number}."
    _sign_retirement(earlier, reason, person=person, now=now)
    # Two published revisions of one recipe cannot stand side by side, not even for a statement.
    session.flush()
    details: dict[str, JsonValue] = {"reason": reason, "superseded_by": number}
    _tell(session, earlier, "recipes.supersede", person=person, now=now, details=details)


def _sign_retirement(
    revision: RecipeRevision, reason: str, *, person: Person, now: datetime
) -> None:
    revision.retired_by_id, revision.retired_at = person.account_id, now
    revision.retire_reason = reason


def _take_move(
    revision: RecipeRevision, action: RevisionAction, *, person: Person
) -> RevisionState:
    move = get_move(revision.state, action)
    person.check_may(move.permission)
    return move.after


def _return_to_draft(revision: RecipeRevision, action: RevisionAction, *, person: Person) -> None:
    revision.state = _take_move(revision, action, person=person)
    revision.proposed_by_id = revision.proposed_at = None


def _add_draft(
    session: Session, recipe: Recipe, fields: DraftFields, *, person: Person, now: datetime
) -> RecipeRevision:
    newest = select(func.max(RecipeRevision.number)).where(RecipeRevision.recipe_id == recipe.id)
    revision = RecipeRevision(
        recipe=recipe,
        number=(session.scalar(newest) or 0) + 1,
        state=RevisionState.DRAFT,
        title=fields.title,
        reason=fields.reason,
        body=canonical_bytes(fields.body),
        author_id=person.account_id,
        created_at=now,
    )
    session.add(revision)
    session.flush()
    return revision


def _count_revisions(session: Session, recipe_id: int) -> int:
    rows = select(func.count(RecipeRevision.id)).where(RecipeRevision.recipe_id == recipe_id)
    return session.scalar(rows) or 0


def _spell_changes(before: RecipeBody, after: RecipeBody) -> dict[str, JsonValue]:
    changes = compare_bodies(before, after)
    told: list[JsonValue] = [
        {"path": one.path, "label": one.label, "old": _cut(one.old), "new": _cut(one.new)}
        for one in changes[:CHANGES_TOLD]
    ]
    return {"changed": len(changes), "changes": told}


def _cut(text: str | None) -> str | None:
    if text is None or len(text) <= CHARACTERS_TOLD:
        return text
    return text[:CHARACTERS_TOLD] + "…"


def _tell(
    session: Session,
    revision: RecipeRevision,
    action: str,
    *,
    person: Person,
    now: datetime,
    details: Mapping[str, JsonValue] | None = None,
) -> None:
    audit.append(
        session,
        action=action,
        subject=Subject(SUBJECT, revision.id),
        actor=person.actor,
        now=now,
        details={
            "recipe": revision.recipe.code,
            "number": revision.number,
            "digest": get_digest(revision),
            **(details or {}),
        },
    )
