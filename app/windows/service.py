"""Writes windows: drafts, and every move of a version through the one table of states."""

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
from app.recipes.rules import RevisionAction, RevisionState
from app.windows.body import WindowText, spell_text
from app.windows.built_in import BuiltIn
from app.windows.citations import list_settled, settle_citations
from app.windows.describe import compare_texts, spell_was
from app.windows.origin import find_copied
from app.windows.queries import (
    SUBJECT,
    find_open,
    find_published,
    find_window,
    get_digest,
    get_text,
    list_editors,
)
from app.windows.rules import (
    CitationNotPrinted,
    CodeTaken,
    OtherWindow,
    VersionOpenAlready,
    VersionUnknown,
    WindowUnknown,
    check_editable,
    check_four_eyes,
    check_seen,
    get_move,
)
from app.windows.schemas import NewWindow, TextFields
from app.windows.tables import PlantWindow, WindowVersion

# An audit entry keeps the digests of both texts; of the changes it keeps what a reader can read.
CHANGES_TOLD: Final = 60
CHARACTERS_TOLD: Final = 300


def create_window(
    session: Session,
    fields: NewWindow,
    *,
    person: Person,
    now: datetime,
    origin: Mapping[str, JsonValue] | None = None,
) -> WindowVersion:
    """Create a window and return its first draft; CodeTaken where the code is in use.

    `origin` says what the text began as, for the log: a built-in window, or a file. A limit that
    cites a built-in window's document for a number that is not printed there becomes the plant's
    own.
    """
    wait_for_names(session, "windows.code")
    if find_window(session, fields.code) is not None:
        raise CodeTaken(
            f"Another window has the code {fields.code} already: choose another code, or start a "
            "new version of that one.",
            field="code",
        )
    window = PlantWindow(code=fields.code, created_at=now, created_by_id=person.account_id)
    session.add(window)
    session.flush()
    fields = fields.model_copy(update={"text": settle_citations(fields.text)})
    version = _add_draft(session, window, fields, person=person, now=now)
    details: dict[str, JsonValue] = {
        "title": fields.title,
        "reason": fields.reason,
        **({"from": origin} if origin else {}),
    }
    tell(session, version, "windows.create", person=person, now=now, details=details)
    return version


def start_from_built_in(
    session: Session,
    found: BuiltIn,
    *,
    code: str,
    title: str,
    reason: str,
    person: Person,
    now: datetime,
) -> WindowVersion:
    """Create a window whose first draft is a built-in one, sources and statuses kept."""
    fields = NewWindow(code=code, title=title, reason=reason, text=found.text)
    origin: dict[str, JsonValue] = {
        "built_in": found.key,
        "version": found.version,
        "digest": found.digest,
    }
    if found.package is not None:
        origin["thickness_mm"] = found.package.thickness_mm
        origin["volume_mm3"] = found.package.volume_mm3
    return create_window(session, fields, person=person, now=now, origin=origin)


def copy_version(
    session: Session,
    window: PlantWindow,
    source: WindowVersion,
    *,
    reason: str,
    person: Person,
    now: datetime,
) -> WindowVersion:
    """Start a new version of a window as a copy of one of its versions, and return the draft.

    OtherWindow for a source of another window; VersionOpenAlready while one is open.
    """
    if source.window_id != window.id:
        raise OtherWindow(
            f"Version number {source.id} is of another window, not of {window.code}.",
            field="copy_of",
        )
    wait_for_row(session, window, gone=WindowUnknown("This window was discarded."))
    opened = find_open(session, window.id)
    if opened is not None:
        raise VersionOpenAlready(
            f"Version {opened.number} of {window.code} is {opened.state}; "
            "finish or discard it before you start another."
        )
    text = settle_citations(get_text(source))
    fields = TextFields(title=source.title, reason=reason, text=text)
    version = _add_draft(session, window, fields, person=person, now=now)
    details: dict[str, JsonValue] = {
        "title": source.title,
        "reason": reason,
        "copy_of": {"number": source.number, "digest": get_digest(source)},
    }
    tell(session, version, "windows.copy", person=person, now=now, details=details)
    return version


def save_draft(
    session: Session,
    version: WindowVersion,
    fields: TextFields,
    *,
    seen_version: str,
    person: Person,
    now: datetime,
) -> WindowVersion:
    """Write a draft's text; the author stays who began it, and nothing is told of no change.

    A limit whose number is no longer that of what it was copied from becomes the plant's own,
    unless another source is stated for it (app.windows.citations). VersionFrozen for any state
    but draft; EditedMeanwhile when another version was seen.
    """
    lock_version(session, version)
    check_editable(version.state)
    check_version(seen_version, version.version)
    before = get_text(version)
    text = settle_citations(fields.text, copied=find_copied(session, version), stored=before)
    old: dict[str, JsonValue] = {
        "title": version.title,
        "reason": version.reason,
        "digest": get_digest(version),
    }
    version.title, version.reason = fields.title, fields.reason
    version.body = spell_text(text)
    if not session.is_modified(version):
        return version
    session.flush()
    details: dict[str, JsonValue] = {
        "before": old,
        "title": fields.title,
        "reason": fields.reason,
        **_spell_changes(before, text),
    }
    tell(session, version, "windows.save_draft", person=person, now=now, details=details)
    return version


def discard_draft(
    session: Session, version: WindowVersion, *, person: Person, now: datetime
) -> None:
    """Delete a draft, and its window when nothing else is left of it; VersionFrozen otherwise."""
    lock_version(session, version)
    check_editable(version.state)
    window = version.window
    details: dict[str, JsonValue] = {"title": version.title, "reason": version.reason}
    tell(session, version, "windows.discard", person=person, now=now, details=details)
    session.delete(version)
    session.flush()
    if not _count_versions(session, window.id):
        session.delete(window)
        session.flush()


def propose(
    session: Session, version: WindowVersion, *, person: Person, now: datetime
) -> WindowVersion:
    """Propose a draft; from here on its text is frozen.

    CitationNotPrinted where a limit cites a source for a number that is not printed there, as a
    draft may that was saved before this was asked.
    """
    lock_version(session, version)
    _check_citations(session, version)
    version.state = _take_move(version, RevisionAction.PROPOSE, person=person)
    version.proposed_by_id, version.proposed_at = person.account_id, now
    session.flush()
    tell(session, version, "windows.propose", person=person, now=now)
    return version


def withdraw(
    session: Session, version: WindowVersion, *, person: Person, now: datetime
) -> WindowVersion:
    """Make a proposed version a draft again, from the writers' side."""
    _return_to_draft(session, version, RevisionAction.WITHDRAW, person=person)
    tell(session, version, "windows.withdraw", person=person, now=now)
    return version


def send_back(
    session: Session, version: WindowVersion, *, reason: str, person: Person, now: datetime
) -> WindowVersion:
    """Make a proposed version a draft again, from the approvers' side, and say why."""
    _return_to_draft(session, version, RevisionAction.SEND_BACK, person=person)
    details: dict[str, JsonValue] = {"reason": reason}
    tell(session, version, "windows.send_back", person=person, now=now, details=details)
    return version


def publish(
    session: Session, version: WindowVersion, *, seen_digest: str, person: Person, now: datetime
) -> WindowVersion:
    """Approve a proposed version, which publishes it; the one published before is superseded.

    `seen_digest` is that of the text the approver read: OtherTextSeen for another. An approver who
    wrote, changed or proposed it is refused with AuthorCannotApprove.
    """
    lock_version(session, version)
    after = _take_move(version, RevisionAction.PUBLISH, person=person)
    proposer_id = version.proposed_by_id or version.author_id
    check_four_eyes(
        author_id=version.author_id,
        proposer_id=proposer_id,
        editor_ids=list_editors(session, version.id),
        approver_id=person.account_id,
    )
    digest = get_digest(version)
    check_seen(seen_digest, digest)
    earlier = find_published(session, version.window_id)
    if earlier is not None:
        _supersede(session, earlier, number=version.number, person=person, now=now)
    version.state, version.digest = after, digest
    version.approved_by_id, version.approved_at = person.account_id, now
    session.flush()
    details: dict[str, JsonValue] = {
        "title": version.title,
        "reason": version.reason,
        "author": version.author_id,
        "proposed_by": proposer_id,
        "supersedes": earlier.number if earlier is not None else None,
    }
    tell(session, version, "windows.publish", person=person, now=now, details=details)
    return version


def retire(
    session: Session, version: WindowVersion, *, reason: str, person: Person, now: datetime
) -> WindowVersion:
    """Retire a published version: it stands for no part and goes into no recipe any more."""
    lock_version(session, version)
    version.state = _take_move(version, RevisionAction.RETIRE, person=person)
    _sign_retirement(version, reason, person=person, now=now)
    session.flush()
    details: dict[str, JsonValue] = {"reason": reason}
    tell(session, version, "windows.retire", person=person, now=now, details=details)
    return version


def lock_version(session: Session, version: WindowVersion) -> None:
    """Let others who change a window finish first, and read the version as they left it."""
    gone = VersionUnknown("This version was discarded.", field="id")
    wait_for_row(session, version.window, gone=gone)
    wait_for_row(session, version, gone=gone)


def tell(
    session: Session,
    version: WindowVersion,
    action: str,
    *,
    person: Person,
    now: datetime,
    details: Mapping[str, JsonValue] | None = None,
) -> None:
    """Tell the log what was done to a version: its window, number and digest, and the details."""
    audit.append(
        session,
        action=action,
        subject=Subject(SUBJECT, version.id),
        actor=person.actor,
        now=now,
        details={
            "window": version.window.code,
            "number": version.number,
            "digest": get_digest(version),
            **(details or {}),
        },
    )


def _supersede(
    session: Session, earlier: WindowVersion, *, number: int, person: Person, now: datetime
) -> None:
    earlier.state = get_move(earlier.state, RevisionAction.RETIRE).after
    reason = f"Superseded by version {number}."
    _sign_retirement(earlier, reason, person=person, now=now)
    # Two published versions of one window cannot stand side by side, not even for a statement.
    session.flush()
    details: dict[str, JsonValue] = {"reason": reason, "superseded_by": number}
    tell(session, earlier, "windows.supersede", person=person, now=now, details=details)


def _sign_retirement(version: WindowVersion, reason: str, *, person: Person, now: datetime) -> None:
    version.retired_by_id, version.retired_at = person.account_id, now
    version.retire_reason = reason


def _check_citations(session: Session, version: WindowVersion) -> None:
    text = get_text(version)
    settled = settle_citations(text, copied=find_copied(session, version), stored=text)
    for place in list_settled(text, settled):
        was = spell_was(settled.rows[place]) or "was another one"
        raise CitationNotPrinted(
            f"Limit {place + 1} cites a source for a number that is not printed there: it {was}. "
            "Save the draft once more and it becomes the plant's own, or state another source.",
            field=f"rows.{place}.document",
        )


def _take_move(version: WindowVersion, action: RevisionAction, *, person: Person) -> RevisionState:
    move = get_move(version.state, action)
    person.check_may(move.permission)
    return move.after


def _return_to_draft(
    session: Session, version: WindowVersion, action: RevisionAction, *, person: Person
) -> None:
    lock_version(session, version)
    version.state = _take_move(version, action, person=person)
    version.proposed_by_id = version.proposed_at = None
    session.flush()


def _add_draft(
    session: Session, window: PlantWindow, fields: TextFields, *, person: Person, now: datetime
) -> WindowVersion:
    newest = select(func.max(WindowVersion.number)).where(WindowVersion.window_id == window.id)
    version = WindowVersion(
        window=window,
        number=(session.scalar(newest) or 0) + 1,
        state=RevisionState.DRAFT,
        title=fields.title,
        reason=fields.reason,
        body=spell_text(fields.text),
        author_id=person.account_id,
        created_at=now,
    )
    session.add(version)
    session.flush()
    return version


def _count_versions(session: Session, window_id: int) -> int:
    rows = select(func.count(WindowVersion.id)).where(WindowVersion.window_id == window_id)
    return session.scalar(rows) or 0


def _spell_changes(before: WindowText, after: WindowText) -> dict[str, JsonValue]:
    changes = [row for part in compare_texts(before, after) for row in part.rows if row.is_changed]
    told: list[JsonValue] = [
        {"label": one.label, "old": _cut(one.old), "new": _cut(one.new)}
        for one in changes[:CHANGES_TOLD]
    ]
    return {"changed": len(changes), "changes": told}


def _cut(text: str | None) -> str | None:
    if text is None or len(text) <= CHARACTERS_TOLD:
        return text
    return text[:CHARACTERS_TOLD] + "…"
