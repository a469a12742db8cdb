"""JSON routes of one version of a window: its text, its moves, its files, its uses."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response
from sqlalchemy.orm import Session

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.approval.queries import get_digest as get_recipe_digest
from app.core.conditional import IfMatch, check_if_match, spell_etag
from app.core.request import Now, PathId, RequestSession
from app.core.text import RowId
from app.recipes.body.compare import compare_bodies
from app.recipes.queries import get_body, get_revision
from app.recipes.schemas import ApprovalFields, ChangeView, ReasonFields
from app.windows import service
from app.windows.built_in import BuiltIn
from app.windows.downloads import answer_csv, answer_json, state_version
from app.windows.queries import get_text, get_version
from app.windows.schemas import ComparisonView, PutFields, PutView, TextFields, VersionView
from app.windows.tables import WindowVersion
from app.windows.uses import PutHow
from app.windows.uses import put_into_recipe as put_window
from app.windows.views import view_changes, view_version

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]
Approver = Annotated[Person, Depends(needs(Action.RECIPES_APPROVE))]
Retirer = Annotated[Person, Depends(needs(Action.RECIPES_RETIRE))]


@router.get("/window-versions/{version_id}")
def show_version(
    version_id: PathId, session: RequestSession, response: Response, _: Reader
) -> VersionView:
    """Show a version with its whole text, and its row's version as the `ETag`."""
    return _answer(session, get_version(session, version_id), response)


@router.put("/window-versions/{version_id}")
def save_draft(
    version_id: PathId,
    fields: TextFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Writer,
    if_match: IfMatch = None,
) -> VersionView:
    """Write the text of a draft; `If-Match` names the version that was read."""
    version = get_version(session, version_id)
    check_if_match(if_match, version.version)
    service.save_draft(
        session, version, fields, seen_version=str(version.version), person=person, now=now
    )
    return _answer(session, version, response)


@router.delete("/window-versions/{version_id}", status_code=HTTPStatus.NO_CONTENT)
def discard_draft(
    version_id: PathId,
    session: RequestSession,
    now: Now,
    person: Writer,
    if_match: IfMatch = None,
) -> None:
    """Discard a draft; `If-Match` names the version that was read."""
    version = get_version(session, version_id)
    check_if_match(if_match, version.version)
    service.discard_draft(session, version, person=person, now=now)


@router.post("/window-versions/{version_id}/proposal")
def propose(
    version_id: PathId, session: RequestSession, response: Response, now: Now, person: Writer
) -> VersionView:
    """Propose a draft: its text is frozen."""
    version = get_version(session, version_id)
    return _answer(session, service.propose(session, version, person=person, now=now), response)


@router.post("/window-versions/{version_id}/withdrawal")
def withdraw(
    version_id: PathId, session: RequestSession, response: Response, now: Now, person: Writer
) -> VersionView:
    """Make a proposed version a draft again."""
    version = get_version(session, version_id)
    return _answer(session, service.withdraw(session, version, person=person, now=now), response)


@router.post("/window-versions/{version_id}/return")
def send_back(
    version_id: PathId,
    fields: ReasonFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Approver,
) -> VersionView:
    """Send a proposed version back to its writers, and say why."""
    version = get_version(session, version_id)
    service.send_back(session, version, reason=fields.reason, person=person, now=now)
    return _answer(session, version, response)


@router.post("/window-versions/{version_id}/publication")
def publish(
    version_id: PathId,
    fields: ApprovalFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Approver,
) -> VersionView:
    """Approve, and so publish, a proposed version; `digest` is that of the text that was read."""
    version = get_version(session, version_id)
    service.publish(session, version, seen_digest=fields.digest, person=person, now=now)
    return _answer(session, version, response)


@router.post("/window-versions/{version_id}/retirement")
def retire(
    version_id: PathId,
    fields: ReasonFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Retirer,
) -> VersionView:
    """Retire a published version: it goes into no recipe any more."""
    version = get_version(session, version_id)
    service.retire(session, version, reason=fields.reason, person=person, now=now)
    return _answer(session, version, response)


@router.get("/window-versions/{version_id}/comparison")
def compare(
    version_id: PathId,
    session: RequestSession,
    _: Reader,
    other_id: Annotated[RowId, Query(alias="with", description="The version to compare with.")],
) -> ComparisonView:
    """Show what differs from this version to another one, of any window."""
    old, new = get_version(session, version_id), get_version(session, other_id)
    return ComparisonView(
        old_id=old.id,
        new_id=new.id,
        old_digest=get_digest(old),
        new_digest=get_digest(new),
        changes=view_changes(get_text(old), get_text(new)),
    )


@router.get("/window-versions/{version_id}/file")
def download_file(version_id: PathId, session: RequestSession, _: Reader) -> Response:
    """Download the version as the JSON file that the import and `wickbook analyse` read."""
    return answer_json(state_version(get_version(session, version_id)))


@router.get("/window-versions/{version_id}/table")
def download_table(version_id: PathId, session: RequestSession, _: Reader) -> Response:
    """Download the version as a CSV table for people."""
    return answer_csv(state_version(get_version(session, version_id)))


@router.post("/window-versions/{version_id}/uses")
def put_into_recipe(
    version_id: PathId,
    fields: PutFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Writer,
    if_match: IfMatch = None,
) -> PutView:
    """Put a published version into one's own draft of a recipe; `If-Match` is that draft's."""
    source = get_version(session, version_id)
    return put(session, source, fields, if_match, person=person, now=now, response=response)


def put(
    session: Session,
    source: WindowVersion | BuiltIn,
    fields: PutFields,
    if_match: str | None,
    *,
    person: Person,
    now: Now,
    response: Response,
) -> PutView:
    """Put any window into a draft of a recipe and answer with what changed in it."""
    revision = get_revision(session, fields.recipe_revision_id)
    check_if_match(if_match, revision.version)
    before = get_body(revision)
    put_window(
        session,
        source,
        revision,
        PutHow(fields.limits, fields.temperatures),
        seen_version=str(revision.version),
        person=person,
        now=now,
    )
    response.headers["ETag"] = spell_etag(revision.version)
    after = get_body(revision)
    return PutView(
        recipe_revision_id=revision.id,
        version=revision.version,
        digest=get_recipe_digest(revision),
        caution=after.cautions[-1],
        changes=[
            ChangeView(path=one.path, label=one.label, old=one.old, new=one.new)
            for one in compare_bodies(before, after)
        ],
    )


def _answer(session: Session, version: WindowVersion, response: Response) -> VersionView:
    response.headers["ETag"] = spell_etag(version.version)
    return view_version(session, version)
