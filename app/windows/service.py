"""Writes windows: drafts, and every move of a version (app.approval.service)."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.approval.service import ApprovedTexts, Draft, spell_changes
from app.core.canonical_json import JsonValue
from app.windows.body import WindowText, spell_text
from app.windows.built_in import BuiltIn
from app.windows.citations import list_settled, settle_citations
from app.windows.describe import compare_texts, spell_was
from app.windows.origin import find_copied
from app.windows.queries import find_window, get_text
from app.windows.rules import VERSIONS, CitationNotPrinted
from app.windows.schemas import NewWindow, TextFields
from app.windows.tables import PlantWindow, WindowVersion

_TEXTS: Final = ApprovedTexts(VERSIONS, WindowVersion)

withdraw = _TEXTS.withdraw
send_back = _TEXTS.send_back
publish = _TEXTS.publish
retire = _TEXTS.retire
discard_draft = _TEXTS.discard
lock_version = _TEXTS.lock
tell = _TEXTS.tell


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
    details: dict[str, JsonValue] = {
        "title": fields.title,
        "reason": fields.reason,
        **({"from": origin} if origin else {}),
    }
    return _TEXTS.create(
        session,
        PlantWindow(code=fields.code, created_at=now, created_by_id=person.account_id),
        Draft(fields.title, fields.reason, spell_text(settle_citations(fields.text))),
        taken=(
            f"Another window has the code {fields.code} already: choose another code, or start a "
            "new version of that one."
        ),
        is_taken=lambda: find_window(session, fields.code) is not None,
        person=person,
        now=now,
        details=details,
    )


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
    _TEXTS.check_copy(session, window, source)
    return _TEXTS.copy(
        session,
        window,
        Draft(source.title, reason, spell_text(settle_citations(get_text(source)))),
        copy_of={"number": source.number, "digest": get_digest(source)},
        person=person,
        now=now,
    )


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
    _TEXTS.open_draft(session, version, seen_version=seen_version)
    before = get_text(version)
    text = settle_citations(fields.text, copied=find_copied(session, version), stored=before)
    return _TEXTS.save(
        session,
        version,
        Draft(fields.title, fields.reason, spell_text(text)),
        changes=lambda: _spell_changes(before, text),
        person=person,
        now=now,
    )


def propose(
    session: Session, version: WindowVersion, *, person: Person, now: datetime
) -> WindowVersion:
    """Propose a draft; from here on its text is frozen.

    CitationNotPrinted where a limit cites a source for a number that is not printed there, as a
    draft may that was saved before this was asked.
    """
    _TEXTS.lock(session, version)
    _check_citations(session, version)
    return _TEXTS.propose(session, version, person=person, now=now)


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


def _spell_changes(before: WindowText, after: WindowText) -> dict[str, JsonValue]:
    return spell_changes(
        [
            {"label": row.label, "old": row.old, "new": row.new}
            for part in compare_texts(before, after)
            for row in part.rows
            if row.is_changed
        ]
    )
