"""Recipes are written by one, approved by another, and locked by the database."""

import json
from collections.abc import Iterator
from datetime import datetime

import pytest
from sqlalchemy import select
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from app.accounts.permissions import NotPermitted
from app.accounts.rules import Person
from app.approval.queries import get_digest, list_revisions
from app.approval.rules import RevisionState
from app.audit.tables import AuditEntry
from app.core.canonical_json import JsonValue
from app.core.conditional import EditedMeanwhile
from app.core.db import Sessions
from app.core.paging import CursorUnreadable, Paging
from app.recipes import service
from app.recipes.queries import (
    RecipeFilter,
    get_body,
    get_recipe,
    get_revision,
    list_fitting,
    list_recipes,
)
from app.recipes.rules import (
    AuthorCannotApprove,
    EditorCannotApprove,
    OtherRecipe,
    OtherTextSeen,
    ProposerCannotApprove,
    RecipeCodeTaken,
    RecipeUnknown,
    RevisionOpenAlready,
    RevisionUnknown,
    WrongState,
    digest_of,
)
from app.recipes.tables import Recipe, RecipeRevision
from tests.conftest import Look
from tests.recipes.conftest import BODY, Make, draft_fields, hotter, new_recipe

EVERYTHING = RecipeFilter()


def publish(db: Session, revision: RecipeRevision, person: Person, now: datetime) -> None:
    service.publish(db, revision, seen_digest=get_digest(revision), person=person, now=now)


def read_details(look: Look, action: str) -> dict[str, JsonValue]:
    rows = look(select(AuditEntry).where(AuditEntry.action == action).order_by(AuditEntry.seq))
    details: dict[str, JsonValue] = json.loads(rows[-1].body)["details"]
    return details


@pytest.fixture
def tampering(sessions: Sessions) -> Iterator[Session]:
    """Return a session on the bare connection, which no service stands before."""
    with Session(sessions.engine) as session:
        yield session


def test_a_recipe_starts_as_a_draft_with_its_text_stored_canonically(
    make: Make, look: Look
) -> None:
    make()
    revision = look(select(RecipeRevision))[0]
    assert revision.state is RevisionState.DRAFT
    assert revision.number == 1
    assert revision.digest is None
    assert get_body(revision) == BODY
    assert read_details(look, "recipes.create")["digest"] == digest_of(BODY)


def test_a_code_is_used_once(make: Make, db: Session, edda: Person, now: datetime) -> None:
    make()
    with pytest.raises(RecipeCodeTaken):
        service.create_recipe(db, new_recipe(), person=edda, now=now)


def test_saving_tells_what_changed(
    make: Make, sessions: Sessions, look: Look, ines: Person, now: datetime
) -> None:
    revision_id = make()
    with sessions.write.begin() as db:
        revision = get_revision(db, revision_id)
        service.save_draft(
            db, revision, draft_fields(hotter()), seen_version="1", person=ines, now=now
        )
    told = read_details(look, "recipes.save_draft")
    assert told["digest"] == digest_of(hotter())
    assert told["changes"] == [
        {
            "path": "zones.3.top_c",
            "label": "Zone 4: reflow: Top",
            "old": "290 °C",
            "new": "293 °C",
        }
    ]


def test_saving_the_same_text_changes_and_tells_nothing(
    make: Make, sessions: Sessions, look: Look, ines: Person, now: datetime
) -> None:
    revision_id = make()
    before = len(look(select(AuditEntry)))
    with sessions.write.begin() as db:
        revision = get_revision(db, revision_id)
        service.save_draft(db, revision, draft_fields(BODY), seen_version="1", person=ines, now=now)
    assert len(look(select(AuditEntry))) == before
    assert look(select(RecipeRevision.version)) == [1]


def test_the_second_of_two_editors_is_refused(
    make: Make, db: Session, ines: Person, edda: Person, now: datetime
) -> None:
    revision = get_revision(db, make())
    service.save_draft(db, revision, draft_fields(hotter()), seen_version="1", person=edda, now=now)
    with pytest.raises(EditedMeanwhile):
        service.save_draft(
            db,
            revision,
            draft_fields(hotter(top_c=295)),
            seen_version="1",
            person=ines,
            now=now,
        )
    assert get_body(revision) == hotter()


def test_two_editors_at_the_same_moment_cannot_both_save(
    make: Make, sessions: Sessions, look: Look, ines: Person, edda: Person, now: datetime
) -> None:
    revision_id = make()
    ours, theirs = draft_fields(hotter()), draft_fields(hotter(top_c=291))
    with sessions.read() as second:
        stale = get_revision(second, revision_id)
        with sessions.write.begin() as first:
            revision = get_revision(first, revision_id)
            service.save_draft(first, revision, ours, seen_version="1", person=ines, now=now)
        # PostgreSQL waits and reads it anew; SQLite refuses to write on an old reading.
        with pytest.raises((EditedMeanwhile, OperationalError)):
            service.save_draft(second, stale, theirs, seen_version="1", person=edda, now=now)
    assert look(select(RecipeRevision.version)) == [2]


def test_publishing_locks_the_digest_of_the_canonical_text(
    make: Make, look: Look, edda: Person, ines: Person, now: datetime
) -> None:
    make(RevisionState.PUBLISHED)
    revision = look(select(RecipeRevision))[0]
    assert revision.digest == digest_of(BODY)
    assert (revision.author_id, revision.proposed_by_id) == (ines.account_id, ines.account_id)
    assert revision.approved_by_id == edda.account_id
    told = read_details(look, "recipes.publish")
    assert told["digest"] == digest_of(BODY)
    assert told["supersedes"] is None


def test_the_author_cannot_approve_what_somebody_else_proposed(
    make: Make, db: Session, ines: Person, edda: Person, now: datetime
) -> None:
    revision = get_revision(db, make())
    service.propose(db, revision, person=edda, now=now)
    with pytest.raises(AuthorCannotApprove):
        publish(db, revision, ines, now)
    with pytest.raises(ProposerCannotApprove):
        publish(db, revision, edda, now)
    assert revision.state is RevisionState.PROPOSED


def test_whoever_changed_the_draft_cannot_approve_it(
    make: Make, sessions: Sessions, ines: Person, edda: Person, now: datetime
) -> None:
    revision_id = make()
    with sessions.write.begin() as db:
        revision = get_revision(db, revision_id)
        service.save_draft(
            db, revision, draft_fields(hotter()), seen_version="1", person=edda, now=now
        )
    with sessions.write.begin() as db:
        revision = get_revision(db, revision_id)
        service.propose(db, revision, person=ines, now=now)
        with pytest.raises(EditorCannotApprove):
            publish(db, revision, edda, now)


def test_an_operator_moves_nothing(make: Make, db: Session, odile: Person, now: datetime) -> None:
    revision = get_revision(db, make())
    with pytest.raises(NotPermitted):
        service.propose(db, revision, person=odile, now=now)


def test_the_digest_that_was_read_must_be_that_of_the_text(
    make: Make, db: Session, edda: Person, now: datetime
) -> None:
    revision = get_revision(db, make(RevisionState.PROPOSED))
    with pytest.raises(OtherTextSeen):
        service.publish(db, revision, seen_digest=digest_of(hotter()), person=edda, now=now)


def test_a_proposal_can_be_withdrawn_or_sent_back_with_a_reason(
    make: Make, sessions: Sessions, look: Look, ines: Person, edda: Person, now: datetime
) -> None:
    revision_id = make(RevisionState.PROPOSED)
    with sessions.write.begin() as db:
        revision = get_revision(db, revision_id)
        service.withdraw(db, revision, person=ines, now=now)
        assert (revision.state, revision.proposed_by_id) == (RevisionState.DRAFT, None)
        service.propose(db, revision, person=ines, now=now)
        service.send_back(db, revision, reason="Soak too long.", person=edda, now=now)
        assert (revision.state, revision.proposed_at) == (RevisionState.DRAFT, None)
    assert read_details(look, "recipes.send_back")["reason"] == "Soak too long."


def test_publishing_the_next_revision_retires_the_one_before_as_superseded(
    make: Make, sessions: Sessions, look: Look, ines: Person, edda: Person, now: datetime
) -> None:
    first_id = make(RevisionState.PUBLISHED)
    with sessions.write.begin() as db:
        first = get_revision(db, first_id)
        second = service.copy_revision(
            db, first.recipe, first, reason="Reflow top up 3 K.", person=ines, now=now
        )
        assert (second.number, get_body(second), second.author_id) == (2, BODY, ines.account_id)
        service.save_draft(
            db, second, draft_fields(hotter()), seen_version="1", person=ines, now=now
        )
        service.propose(db, second, person=ines, now=now)
        publish(db, second, edda, now)
    states = look(select(RecipeRevision.state).order_by(RecipeRevision.number))
    assert states == [RevisionState.RETIRED, RevisionState.PUBLISHED]
    old = look(select(RecipeRevision).order_by(RecipeRevision.number))[0]
    assert old.retire_reason == "Superseded by revision 2."
    assert old.retired_by_id == edda.account_id
    assert read_details(look, "recipes.publish")["supersedes"] == 1
    assert read_details(look, "recipes.supersede")["superseded_by"] == 2


def test_a_recipe_has_one_open_revision_at_a_time(
    make: Make, db: Session, tampering: Session, ines: Person, now: datetime
) -> None:
    first = get_revision(db, make(RevisionState.PUBLISHED))
    service.copy_revision(db, first.recipe, first, reason="Two.", person=ines, now=now)
    with pytest.raises(RevisionOpenAlready):
        service.copy_revision(db, first.recipe, first, reason="Three.", person=ines, now=now)


def test_a_copy_can_start_from_a_retired_revision_but_not_from_another_recipe(
    make: Make, db: Session, ines: Person, now: datetime
) -> None:
    retired_id, other_id = make(RevisionState.RETIRED), make(code="LIM-U4")
    retired, other = get_revision(db, retired_id), get_revision(db, other_id)
    with pytest.raises(OtherRecipe):
        service.copy_revision(db, other.recipe, retired, reason="No.", person=ines, now=now)
    copy = service.copy_revision(db, retired.recipe, retired, reason="Yes.", person=ines, now=now)
    assert (copy.number, copy.state) == (2, RevisionState.DRAFT)


def test_only_what_is_published_can_be_retired_and_only_once(
    make: Make, db: Session, edda: Person, now: datetime
) -> None:
    draft_id, retired_id = make(), make(RevisionState.RETIRED, code="LIM-U4")
    with pytest.raises(WrongState):
        service.retire(db, get_revision(db, draft_id), reason="No.", person=edda, now=now)
    retired = get_revision(db, retired_id)
    with pytest.raises(WrongState):
        service.retire(db, retired, reason="Again.", person=edda, now=now)


def test_discarding_the_only_draft_takes_the_recipe_with_it_and_its_number_stays_used(
    make: Make, sessions: Sessions, look: Look, ines: Person, now: datetime
) -> None:
    gone_id = make()
    with sessions.write.begin() as db:
        service.discard_draft(db, get_revision(db, gone_id), person=ines, now=now)
    assert look(select(Recipe)) == []
    assert read_details(look, "recipes.discard")["digest"] == digest_of(BODY)
    assert make() != gone_id


def test_discarding_a_later_draft_leaves_the_rest(
    make: Make, sessions: Sessions, look: Look, ines: Person, now: datetime
) -> None:
    first_id = make(RevisionState.PUBLISHED)
    with sessions.write.begin() as db:
        first = get_revision(db, first_id)
        draft = service.copy_revision(db, first.recipe, first, reason="2", person=ines, now=now)
        service.discard_draft(db, draft, person=ines, now=now)
    assert look(select(RecipeRevision.id)) == [first_id]


def test_what_fits_a_site_comes_first_and_the_rest_says_why_not(make: Make, db: Session) -> None:
    fitting = make(RevisionState.PUBLISHED, code="Z-FITS")
    other = BODY.model_dump(mode="json")
    other["applies_to"]["designators"] = ["U9"]
    elsewhere = make(RevisionState.PUBLISHED, code="A-NOT", body=type(BODY).model_validate(other))
    make(code="B-DRAFT")
    make(RevisionState.RETIRED, code="C-RETIRED")
    found = list_fitting(
        db,
        assembly_part_number="LIMNET-07",
        assembly_revision="B",
        designator="U3",
        part_number=None,
    )
    assert [(one.id, fit.fits) for one, fit in found] == [(fitting, True), (elsewhere, False)]
    assert found[1][1].reason == "it is for U9, not U3"


@pytest.mark.parametrize(
    ("wanted", "codes"),
    [
        (RecipeFilter(text="lim-u3"), ["LIM-U3"]),
        (RecipeFilter(text="remove AND place"), ["LIM-U3", "LIM-U4"]),
        (RecipeFilter(text="%"), []),
        (RecipeFilter(assembly="limnet"), ["LIM-U3", "LIM-U4"]),
        (RecipeFilter(assembly="other"), []),
        (RecipeFilter(designator="u3"), ["LIM-U3", "LIM-U4"]),
        (RecipeFilter(designator="U"), []),
        (RecipeFilter(state=RevisionState.PUBLISHED), ["LIM-U3"]),
        (RecipeFilter(state=RevisionState.DRAFT), ["LIM-U4"]),
        (RecipeFilter(state=RevisionState.RETIRED), []),
    ],
)
def test_the_list_finds_by_text_assembly_designator_and_state(
    make: Make, db: Session, wanted: RecipeFilter, codes: list[str]
) -> None:
    make(RevisionState.PUBLISHED)
    make(code="LIM-U4")
    found, _ = list_recipes(db, wanted=wanted, paging=Paging(None, 50))
    assert [line.recipe.code for line in found] == codes


def test_the_list_comes_in_pieces_by_code(make: Make, db: Session) -> None:
    for code in ("C", "A", "D", "B"):
        make(code=code)
    first, cursor = list_recipes(db, wanted=EVERYTHING, paging=Paging(None, 3))
    rest, end = list_recipes(db, wanted=EVERYTHING, paging=Paging(cursor, 3))
    assert [line.recipe.code for line in first] == ["A", "B", "C"]
    assert [line.recipe.code for line in rest] == ["D"]
    assert end is None


def test_a_cursor_after_a_recipe_that_is_gone_is_refused(db: Session) -> None:
    for number in ("77", "99999999999999"):
        paging = Paging(None, 3)
        paging.after_id = int(number)
        with pytest.raises(CursorUnreadable):
            list_recipes(db, wanted=EVERYTHING, paging=paging)


def test_unknown_numbers_are_refused(db: Session) -> None:
    with pytest.raises(RevisionUnknown):
        get_revision(db, 4711)
    with pytest.raises(RecipeUnknown):
        get_recipe(db, 4711)
    assert list_revisions(db, RecipeRevision, 4711) == []
