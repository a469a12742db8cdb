"""Reads revisions of approved texts, whatever they are of."""

from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import TypeVar

from sqlalchemy import Select, func, inspect, select
from sqlalchemy.orm import Session, joinedload

from app.accounts.permissions import Action
from app.accounts.queries import map_account_names
from app.accounts.rules import Person
from app.approval.rules import OPEN, FourEyes, RevisionState
from app.approval.tables import TextRevision
from app.audit.queries import list_entries_of_subject
from app.core.refusals import Forbidden

Text = TypeVar("Text", bound=TextRevision)


def get_digest(revision: TextRevision) -> str:
    """Return the SHA-256 of the stored text; a published revision carries the same one."""
    return revision.digest or sha256(revision.body).hexdigest()


def select_revisions(table: type[Text], whole_id: int) -> Select[Text]:
    """Return the select of the revisions of one whole, each with it."""
    # Loading along wants the relationship itself, which `whole` is another name of.
    whole = getattr(table, inspect(table).synonyms["whole"].name)
    return select(table).where(table.whole_id == whole_id).options(joinedload(whole))


def find_published(session: Session, table: type[Text], whole_id: int) -> Text | None:
    """Return the published revision of a whole, or None."""
    return session.scalar(
        select_revisions(table, whole_id).where(table.state == RevisionState.PUBLISHED)
    )


def find_open(session: Session, table: type[Text], whole_id: int) -> Text | None:
    """Return the draft or proposed revision of a whole, or None."""
    return session.scalar(select_revisions(table, whole_id).where(table.state.in_(OPEN)))


def list_revisions(session: Session, table: type[Text], whole_id: int) -> Sequence[Text]:
    """Return all revisions of a whole, newest first."""
    return session.scalars(select_revisions(table, whole_id).order_by(table.number.desc())).all()


def count_revisions(session: Session, table: type[Text], whole_id: int) -> int:
    """Return how many revisions a whole has."""
    rows = select(func.count(table.id)).where(table.whole_id == whole_id)
    return session.scalar(rows) or 0


def list_editors(session: Session, rules: FourEyes, revision_id: int) -> frozenset[int]:
    """Return the accounts that ever saved a revision's text, as the audit log tells."""
    return frozenset(
        entry.actor_id
        for entry in list_entries_of_subject(session, rules.subject, revision_id)
        if entry.actor_id is not None and entry.action in rules.text_actions
    )


def find_why_not(session: Session, rules: FourEyes, revision: TextRevision, person: Person) -> str:
    """Say why this person cannot approve a proposed revision; empty when they can or may not."""
    if revision.state is not RevisionState.PROPOSED or not person.may(Action.RECIPES_APPROVE):
        return ""
    try:
        rules.check_approver(
            author_id=revision.author_id,
            proposer_id=revision.proposed_by_id or revision.author_id,
            editor_ids=list_editors(session, rules, revision.id),
            approver_id=person.account_id,
        )
    except Forbidden as refusal:
        return refusal.sentence
    return ""


def map_people(session: Session, revisions: Iterable[TextRevision]) -> dict[int, str]:
    """Return id → name of everybody who wrote, proposed, approved or retired the revisions."""
    ids: set[int | None] = set()
    for one in revisions:
        ids |= {one.author_id, one.proposed_by_id, one.approved_by_id, one.retired_by_id}
    return map_account_names(session, {found for found in ids if found is not None})
