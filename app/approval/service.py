"""Writes approved texts: drafts, and every move of a revision through the one table of states."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Generic, TypeVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.queries import (
    count_revisions,
    find_open,
    find_published,
    get_digest,
    list_editors,
)
from app.approval.rules import FourEyes, RevisionAction, RevisionState
from app.approval.tables import CodedText, TextRevision
from app.audit import service as audit
from app.audit.rules import Subject
from app.core.canonical_json import JsonValue
from app.core.conditional import check_version
from app.core.races import wait_for_names, wait_for_row

# An audit entry keeps the digests of both texts; of the changes it keeps what a reader can read.
CHANGES_TOLD: Final = 60
CHARACTERS_TOLD: Final = 300

Text = TypeVar("Text", bound=TextRevision)
Details = Mapping[str, JsonValue]


@dataclass(frozen=True)
class Draft:
    """What a draft says: its title, why it is written, and its text as canonical JSON."""

    title: str
    reason: str
    body: bytes


@dataclass(frozen=True)
class ApprovedTexts(Generic[Text]):
    """Writes the texts of one kind; every function tells the log of what it did."""

    rules: FourEyes
    table: type[Text]

    def create(
        self,
        session: Session,
        whole: CodedText,
        draft: Draft,
        *,
        taken: str,
        is_taken: Callable[[], bool],
        person: Person,
        now: datetime,
        details: Details,
    ) -> Text:
        """Begin a whole with its first draft; refused with `taken` where its code is in use."""
        wait_for_names(session, f"{self.rules.area}.code")
        if is_taken():
            raise self.rules.refusals.code_taken(taken, field="code")
        session.add(whole)
        session.flush()
        revision = self._add(session, whole, draft, person=person, now=now)
        self.tell(session, revision, "create", person=person, now=now, details=details)
        return revision

    def check_copy(self, session: Session, whole: CodedText, source: Text) -> None:
        """Refuse a source of another whole, and a copy while a revision is open."""
        rules = self.rules
        if source.whole_id != whole.id:
            raise rules.refusals.other_whole(
                f"{rules.noun.capitalize()} number {source.id} is of another {rules.whole}, "
                f"not of {whole.code}.",
                field="copy_of",
            )
        gone = rules.refusals.whole_unknown(f"This {rules.whole} was discarded.")
        wait_for_row(session, whole, gone=gone)
        opened = find_open(session, self.table, whole.id)
        if opened is not None:
            raise rules.refusals.open_already(
                f"{rules.noun.capitalize()} {opened.number} of {whole.code} is {opened.state}; "
                "finish or discard it before you start another."
            )

    def copy(
        self,
        session: Session,
        whole: CodedText,
        draft: Draft,
        *,
        copy_of: Details,
        person: Person,
        now: datetime,
    ) -> Text:
        """Add a draft that begins as a copy; `check_copy` was asked before."""
        revision = self._add(session, whole, draft, person=person, now=now)
        details: dict[str, JsonValue] = {
            "title": draft.title,
            "reason": draft.reason,
            "copy_of": dict(copy_of),
        }
        self.tell(session, revision, "copy", person=person, now=now, details=details)
        return revision

    def open_draft(self, session: Session, revision: Text, *, seen_version: str) -> None:
        """Wait for others and refuse what is no draft, or another version than was seen."""
        self.lock(session, revision)
        self.rules.check_editable(revision.state)
        check_version(seen_version, revision.version)

    def save(
        self,
        session: Session,
        revision: Text,
        draft: Draft,
        *,
        changes: Callable[[], Details],
        person: Person,
        now: datetime,
    ) -> Text:
        """Write a draft's text, opened before; nothing is told of no change."""
        old: dict[str, JsonValue] = {
            "title": revision.title,
            "reason": revision.reason,
            "digest": get_digest(revision),
        }
        revision.title, revision.reason, revision.body = draft.title, draft.reason, draft.body
        if not session.is_modified(revision):
            return revision
        session.flush()
        details: dict[str, JsonValue] = {
            "before": old,
            "title": draft.title,
            "reason": draft.reason,
            **changes(),
        }
        self.tell(session, revision, "save_draft", person=person, now=now, details=details)
        return revision

    def discard(self, session: Session, revision: Text, *, person: Person, now: datetime) -> None:
        """Delete a draft, and its whole when nothing else is left of it."""
        self.lock(session, revision)
        self.rules.check_editable(revision.state)
        whole = revision.whole
        details: dict[str, JsonValue] = {"title": revision.title, "reason": revision.reason}
        self.tell(session, revision, "discard", person=person, now=now, details=details)
        session.delete(revision)
        session.flush()
        if not count_revisions(session, self.table, whole.id):
            session.delete(whole)
            session.flush()

    def propose(
        self,
        session: Session,
        revision: Text,
        *,
        person: Person,
        now: datetime,
        details: Details | None = None,
    ) -> Text:
        """Propose a locked draft; from here on its text is frozen."""
        revision.state = self._take_move(revision, RevisionAction.PROPOSE, person=person)
        revision.proposed_by_id, revision.proposed_at = person.account_id, now
        session.flush()
        self.tell(session, revision, "propose", person=person, now=now, details=details)
        return revision

    def withdraw(self, session: Session, revision: Text, *, person: Person, now: datetime) -> Text:
        """Make a proposed revision a draft again, from the writers' side."""
        self._return(session, revision, RevisionAction.WITHDRAW, person=person)
        self.tell(session, revision, "withdraw", person=person, now=now)
        return revision

    def send_back(
        self, session: Session, revision: Text, *, reason: str, person: Person, now: datetime
    ) -> Text:
        """Make a proposed revision a draft again, from the approvers' side, and say why."""
        self._return(session, revision, RevisionAction.SEND_BACK, person=person)
        details = {"reason": reason}
        self.tell(session, revision, "send_back", person=person, now=now, details=details)
        return revision

    def publish(
        self, session: Session, revision: Text, *, seen_digest: str, person: Person, now: datetime
    ) -> Text:
        """Approve a proposed revision, which publishes it; the one before it is superseded.

        `seen_digest` is that of the text the approver read. Whoever wrote, proposed or changed it
        is refused.
        """
        self.lock(session, revision)
        after = self._take_move(revision, RevisionAction.PUBLISH, person=person)
        proposer_id = revision.proposed_by_id or revision.author_id
        self.rules.check_approver(
            author_id=revision.author_id,
            proposer_id=proposer_id,
            editor_ids=list_editors(session, self.rules, revision.id),
            approver_id=person.account_id,
        )
        digest = get_digest(revision)
        self.rules.check_seen(seen_digest, digest)
        earlier = find_published(session, self.table, revision.whole_id)
        if earlier is not None:
            self._supersede(session, earlier, number=revision.number, person=person, now=now)
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
        self.tell(session, revision, "publish", person=person, now=now, details=details)
        return revision

    def retire(
        self, session: Session, revision: Text, *, reason: str, person: Person, now: datetime
    ) -> Text:
        """Retire a published revision, and say why."""
        self.lock(session, revision)
        revision.state = self._take_move(revision, RevisionAction.RETIRE, person=person)
        _sign_retirement(revision, reason, person=person, now=now)
        session.flush()
        details = {"reason": reason}
        self.tell(session, revision, "retire", person=person, now=now, details=details)
        return revision

    def lock(self, session: Session, revision: Text) -> None:
        """Let others who change the whole finish first, and read the revision as they left it.

        The whole is what is waited for, since publishing a revision changes the one before it.
        """
        gone = self.rules.refusals.unknown(f"This {self.rules.noun} was discarded.", field="id")
        wait_for_row(session, revision.whole, gone=gone)
        wait_for_row(session, revision, gone=gone)

    def tell(
        self,
        session: Session,
        revision: Text,
        verb: str,
        *,
        person: Person,
        now: datetime,
        details: Details | None = None,
    ) -> None:
        """Tell the log what was done to a revision: its whole, number and digest, and details."""
        audit.append(
            session,
            action=f"{self.rules.area}.{verb}",
            subject=Subject(self.rules.subject, revision.id),
            actor=person.actor,
            now=now,
            details={
                self.rules.whole: revision.whole.code,
                "number": revision.number,
                "digest": get_digest(revision),
                **(details or {}),
            },
        )

    def _add(
        self, session: Session, whole: CodedText, draft: Draft, *, person: Person, now: datetime
    ) -> Text:
        newest = select(func.max(self.table.number)).where(self.table.whole_id == whole.id)
        revision = self.table(
            whole=whole,
            number=(session.scalar(newest) or 0) + 1,
            state=RevisionState.DRAFT,
            title=draft.title,
            reason=draft.reason,
            body=draft.body,
            author_id=person.account_id,
            created_at=now,
        )
        session.add(revision)
        session.flush()
        return revision

    def _take_move(
        self, revision: Text, action: RevisionAction, *, person: Person
    ) -> RevisionState:
        move = self.rules.get_move(revision.state, action)
        person.check_may(move.permission)
        return move.after

    def _return(
        self, session: Session, revision: Text, action: RevisionAction, *, person: Person
    ) -> None:
        self.lock(session, revision)
        revision.state = self._take_move(revision, action, person=person)
        revision.proposed_by_id = revision.proposed_at = None
        session.flush()

    def _supersede(
        self, session: Session, earlier: Text, *, number: int, person: Person, now: datetime
    ) -> None:
        earlier.state = self.rules.get_move(earlier.state, RevisionAction.RETIRE).after
        reason = f"Superseded by {self.rules.noun} {number}."
        _sign_retirement(earlier, reason, person=person, now=now)
        # Two published revisions of one whole cannot stand side by side, not for a statement.
        session.flush()
        details: dict[str, JsonValue] = {"reason": reason, "superseded_by": number}
        self.tell(session, earlier, "supersede", person=person, now=now, details=details)


def spell_changes(changes: Sequence[Mapping[str, str | None]]) -> dict[str, JsonValue]:
    """Return changed values for the log: how many, and the first of them, long ones cut."""
    told: list[JsonValue] = [
        {name: _cut(value) for name, value in one.items()} for one in changes[:CHANGES_TOLD]
    ]
    return {"changed": len(changes), "changes": told}


def _cut(text: str | None) -> str | None:
    if text is None or len(text) <= CHARACTERS_TOLD:
        return text
    return text[:CHARACTERS_TOLD] + "…"


def _sign_retirement(revision: TextRevision, reason: str, *, person: Person, now: datetime) -> None:
    revision.retired_by_id, revision.retired_at = person.account_id, now
    revision.retire_reason = reason
