"""The life of a window's version through the services, and what the log tells of it."""

from datetime import datetime

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.accounts.permissions import NotPermitted
from app.accounts.rules import Person
from app.approval.queries import find_published, get_digest, list_revisions
from app.approval.rules import RevisionState
from app.audit.rules import read_body
from app.audit.tables import AuditEntry
from app.core.conditional import EditedMeanwhile
from app.core.db import Sessions
from app.history.sweep import sweep
from app.windows import service
from app.windows.body import spell_text
from app.windows.built_in import Package, get_built_in
from app.windows.queries import get_text, get_version
from app.windows.rules import (
    AuthorCannotApprove,
    CodeTaken,
    OtherTextSeen,
    OtherWindow,
    VersionFrozen,
    VersionOpenAlready,
    WrongState,
)
from app.windows.tables import PlantWindow, WindowVersion
from tests.conftest import Look
from tests.windows.conftest import Make, bring_to, narrower, new_window, text_fields


def test_a_window_begins_as_a_draft_of_its_author(make: Make, look: Look, ines: Person) -> None:
    make()
    version = look(select(WindowVersion))[0]
    assert (version.number, version.state, version.digest) == (1, RevisionState.DRAFT, None)
    assert version.author_id == ines.account_id


def test_a_code_belongs_to_one_window(make: Make, db: Session, ines: Person, now: datetime) -> None:
    make()
    with pytest.raises(CodeTaken) as caught:
        service.create_window(db, new_window(), person=ines, now=now)
    assert caught.value.field == "code"


def test_publishing_locks_the_digest_of_the_canonical_text(make: Make, look: Look) -> None:
    make(RevisionState.PUBLISHED)
    version = look(select(WindowVersion))[0]
    assert version.digest == get_digest(version)
    assert version.body == spell_text(get_text(version))
    assert version.approved_by_id != version.author_id


@pytest.mark.parametrize("who", ["author", "proposer", "editor"])
def test_nobody_approves_what_they_wrote_proposed_or_changed(
    make: Make, sessions: Sessions, ines: Person, edda: Person, now: datetime, who: str
) -> None:
    version_id = make()
    with sessions.write.begin() as db:
        version = get_version(db, version_id)
        if who == "editor":
            fields = text_fields(narrower())
            service.save_draft(db, version, fields, seen_version="1", person=edda, now=now)
        service.propose(db, version, person=edda if who == "proposer" else ines, now=now)
    with sessions.write() as db:
        version = get_version(db, version_id)
        approver = ines if who == "author" else edda
        with pytest.raises(AuthorCannotApprove):
            service.publish(db, version, seen_digest=get_digest(version), person=approver, now=now)


def test_only_the_text_that_was_read_is_approved(
    make: Make, db: Session, edda: Person, now: datetime
) -> None:
    version = get_version(db, make(RevisionState.PROPOSED))
    with pytest.raises(OtherTextSeen):
        service.publish(db, version, seen_digest="0" * 64, person=edda, now=now)


def test_an_operator_moves_nothing(make: Make, db: Session, odile: Person, now: datetime) -> None:
    version = get_version(db, make())
    with pytest.raises(NotPermitted):
        service.propose(db, version, person=odile, now=now)


def test_a_new_version_starts_as_a_copy_and_supersedes_the_one_before(
    make: Make, db: Session, ines: Person, edda: Person, now: datetime
) -> None:
    first = get_version(db, make(RevisionState.PUBLISHED))
    copy = service.copy_version(db, first.window, first, reason="Narrower.", person=ines, now=now)
    assert (copy.number, get_text(copy)) == (2, get_text(first))
    with pytest.raises(VersionOpenAlready):
        service.copy_version(db, first.window, first, reason="Again.", person=ines, now=now)
    service.save_draft(db, copy, text_fields(narrower()), seen_version="1", person=ines, now=now)
    bring_to(db, copy.id, RevisionState.PUBLISHED, ines, edda, now)
    assert [one.state for one in list_revisions(db, WindowVersion, first.window_id)] == [
        "published",
        "retired",
    ]
    published = find_published(db, WindowVersion, first.window_id)
    assert published is not None
    assert published.number == 2
    assert first.retire_reason == "Superseded by version 2."


def test_a_version_of_another_window_is_no_start(
    make: Make, db: Session, ines: Person, now: datetime
) -> None:
    ids = make(), make(code="OTHER")
    first, other = (get_version(db, one) for one in ids)
    with pytest.raises(OtherWindow) as caught:
        service.copy_version(db, first.window, other, reason="x", person=ines, now=now)
    assert caught.value.field == "copy_of"


def test_a_stale_edit_is_refused_and_no_change_tells_nothing(
    make: Make, db: Session, ines: Person, now: datetime, look: Look
) -> None:
    version = get_version(db, make())
    same = text_fields(get_text(version))
    service.save_draft(db, version, same, seen_version="1", person=ines, now=now)
    assert version.version == 1
    with pytest.raises(EditedMeanwhile):
        service.save_draft(db, version, same, seen_version="7", person=ines, now=now)


@pytest.mark.parametrize("state", ["proposed", "published", "retired"])
def test_the_text_of_what_is_no_draft_is_frozen(
    make: Make, db: Session, ines: Person, now: datetime, state: str
) -> None:
    version = get_version(db, make(RevisionState(state)))
    with pytest.raises(VersionFrozen):
        service.save_draft(
            db,
            version,
            text_fields(narrower()),
            seen_version=str(version.version),
            person=ines,
            now=now,
        )
    with pytest.raises(VersionFrozen):
        service.discard_draft(db, version, person=ines, now=now)


def test_sending_back_and_withdrawing_make_a_draft_again(
    make: Make, db: Session, ines: Person, edda: Person, now: datetime
) -> None:
    version = get_version(db, make(RevisionState.PROPOSED))
    service.send_back(db, version, reason="Peak too high.", person=edda, now=now)
    assert (version.state, version.proposed_by_id) == (RevisionState.DRAFT, None)
    service.propose(db, version, person=ines, now=now)
    service.withdraw(db, version, person=ines, now=now)
    assert version.state is RevisionState.DRAFT
    with pytest.raises(WrongState, match="must be proposed; this one is draft"):
        service.withdraw(db, version, person=ines, now=now)


def test_a_discarded_draft_takes_its_window_along_when_nothing_is_left(
    make: Make, sessions: Sessions, look: Look, ines: Person, now: datetime
) -> None:
    version_id = make()
    with sessions.write.begin() as db:
        service.discard_draft(db, get_version(db, version_id), person=ines, now=now)
    assert look(select(PlantWindow)) == []
    with sessions.write.begin() as db:
        again = service.create_window(db, new_window(), person=ines, now=now)
        assert again.id > version_id


def test_an_own_window_started_from_a_built_in_one_keeps_sources_and_says_so(
    sessions: Sessions, look: Look, ines: Person, now: datetime
) -> None:
    found = get_built_in("classification-pb-free", Package(1.6, 350.0))
    with sessions.write.begin() as db:
        version = service.start_from_built_in(
            db, found, code="OWN-BODY", title="Bodies", reason="Ours.", person=ines, now=now
        )
        assert get_text(version) == found.text
    entry = look(select(AuditEntry).where(AuditEntry.action == "windows.create"))[0]
    details = read_body(entry.body)["details"]
    assert isinstance(details, dict)
    assert details["from"] == {
        "built_in": found.key, "version": 1, "digest": found.digest,
        "thickness_mm": 1.6, "volume_mm3": 350,
    }  # fmt: skip


def test_the_log_tells_each_move_with_the_digest_and_what_changed(
    make: Make, sessions: Sessions, look: Look, ines: Person, edda: Person, now: datetime
) -> None:
    version_id = make()
    with sessions.write.begin() as db:
        version = get_version(db, version_id)
        service.save_draft(
            db, version, text_fields(narrower()), seen_version="1", person=ines, now=now
        )
        bring_to(db, version_id, RevisionState.RETIRED, ines, edda, now)
    told = [
        (entry.action, read_body(entry.body)["details"])
        for entry in look(
            select(AuditEntry)
            .where(AuditEntry.subject_kind == "window_version")
            .order_by(AuditEntry.seq)
        )
    ]
    assert [action for action, _ in told] == [
        "windows.create", "windows.save_draft", "windows.propose", "windows.publish",
        "windows.retire",
    ]  # fmt: skip
    saved = told[1][1]
    assert isinstance(saved, dict)
    assert saved["changes"] == [
        {
            "label": "Peak temperature (joint, centre; joint, corner)",
            "old": "232 to 243 °C",
            "new": "232 to 240 °C",
        }
    ]
    digest = get_digest(look(select(WindowVersion))[0])
    assert all(isinstance(said, dict) and said["digest"] == digest for _, said in told[1:])


def test_the_sweep_finds_nothing_in_what_the_services_wrote_and_a_text_that_was_changed(
    make: Make, sessions: Sessions
) -> None:
    for state in RevisionState:
        make(state, code=f"OWN-{state}")
    assert [one for swept in sweep(sessions) for one in swept.differences] == []
    with sessions.write() as db:
        # A draft's row is not locked: whoever holds the database can write over it.
        db.connection().exec_driver_sql(
            "UPDATE window_versions SET title = 'another' WHERE state = 'draft'"
        )
        db.connection().commit()
    found = [str(one) for swept in sweep(sessions) for one in swept.differences]
    assert len(found) == 1
    assert found[0].startswith("window OWN-draft version 1: its title is another")
