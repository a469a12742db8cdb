"""The JSON routes of layouts on their way in."""

from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Response
from pydantic import AfterValidator

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards import service
from app.boards.ahead import RawFileAhead
from app.boards.files import BillChoices, PlacementChoices
from app.boards.queries import get_assembly, get_draft, list_open_drafts, read_preview
from app.boards.routes.readings import spell_preview
from app.boards.rules import FileKind
from app.boards.schemas.assemblies import AssemblyView
from app.boards.schemas.layouts import LayoutDraftView, LayoutPreviewView, TakingFields
from app.core.conditional import IfMatch, check_if_match, spell_etag
from app.core.request import Now, PathId, RequestSession
from app.core.text import parse_line
from app.web.once import CreateOnce

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Editor = Annotated[Person, Depends(needs(Action.ASSEMBLIES_EDIT))]
FileName = Annotated[
    str,
    Query(max_length=120, description="What the file is called."),
    AfterValidator(parse_line),
]
_BYTES: Final = {"schema": {"type": "string", "format": "binary"}}
RAW_FILE: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "description": "The file as it is, at most 10,000,000 bytes and 20,000 lines.",
        "content": {"text/csv": _BYTES, "application/octet-stream": _BYTES},
    }
}


@router.get("/assemblies/{assembly_id}/layout-drafts")
def list_drafts(assembly_id: PathId, session: RequestSession, _: Reader) -> list[LayoutDraftView]:
    """List the newest drafts of an assembly that are still open, at most 20."""
    drafts = list_open_drafts(session, get_assembly(session, assembly_id).id)
    return [LayoutDraftView.model_validate(draft) for draft in drafts]


@router.post(
    "/assemblies/{assembly_id}/layout-drafts",
    response_model=LayoutDraftView,
    status_code=HTTPStatus.CREATED,
    openapi_extra=RAW_FILE,
)
def start_draft(
    content: RawFileAhead,
    assembly_id: PathId,
    kind: FileKind,
    session: RequestSession,
    now: Now,
    person: Editor,
    once: CreateOnce,
    name: FileName = "",
) -> Response:
    """Start a draft from a placement file or a bill; the other file can be added to it."""
    assembly = get_assembly(session, assembly_id)
    return once.answer(
        session,
        person.account_id,
        lambda: LayoutDraftView.model_validate(
            service.start_draft(session, assembly, {kind: (name, content)}, person=person, now=now)
        ),
    )


@router.get("/layout-drafts/{draft_id}")
def show_draft(
    draft_id: PathId, session: RequestSession, response: Response, _: Reader
) -> LayoutDraftView:
    """Show a draft with its version as the `ETag`."""
    draft = get_draft(session, draft_id)
    response.headers["ETag"] = spell_etag(draft.version)
    return LayoutDraftView.model_validate(draft)


@router.put("/layout-drafts/{draft_id}/files/{kind}", openapi_extra=RAW_FILE)
def put_file(
    content: RawFileAhead,
    draft_id: PathId,
    kind: FileKind,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Editor,
    name: FileName = "",
    if_match: IfMatch = None,
) -> LayoutDraftView:
    """Add a file to a draft, or put it in the place of the one before."""
    draft = get_draft(session, draft_id)
    check_if_match(if_match, draft.version)
    service.put_draft_files(session, draft, {kind: (name, content)}, person=person, now=now)
    response.headers["ETag"] = spell_etag(draft.version)
    return LayoutDraftView.model_validate(draft)


@router.put("/layout-drafts/{draft_id}/placement-choices")
def choose_placement_reading(
    draft_id: PathId,
    choices: PlacementChoices,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Editor,
    if_match: IfMatch = None,
) -> LayoutDraftView:
    """Set how the placement file is read; what is not given is guessed."""
    draft = get_draft(session, draft_id)
    check_if_match(if_match, draft.version)
    service.choose_placement_reading(session, draft, choices, person=person, now=now)
    response.headers["ETag"] = spell_etag(draft.version)
    return LayoutDraftView.model_validate(draft)


@router.put("/layout-drafts/{draft_id}/bill-choices")
def choose_bill_reading(
    draft_id: PathId,
    choices: BillChoices,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Editor,
    if_match: IfMatch = None,
) -> LayoutDraftView:
    """Set how the bill is read; what is not given is guessed."""
    draft = get_draft(session, draft_id)
    check_if_match(if_match, draft.version)
    service.choose_bill_reading(session, draft, choices, person=person, now=now)
    response.headers["ETag"] = spell_etag(draft.version)
    return LayoutDraftView.model_validate(draft)


@router.get("/layout-drafts/{draft_id}/preview")
def preview_draft(
    draft_id: PathId, session: RequestSession, response: Response, _: Reader
) -> LayoutPreviewView:
    """Show how the files were read, what was refused, and what taking them would change."""
    draft = get_draft(session, draft_id)
    response.headers["ETag"] = spell_etag(draft.version)
    return spell_preview(session, draft, read_preview(session, draft))


@router.post("/layout-drafts/{draft_id}/take")
def take_layout(
    draft_id: PathId,
    fields: TakingFields,
    session: RequestSession,
    now: Now,
    person: Editor,
    if_match: IfMatch = None,
) -> AssemblyView:
    """Write the layout, all or nothing: to the assembly, or to a new revision of it."""
    draft = get_draft(session, draft_id)
    check_if_match(if_match, draft.version)
    assembly = service.take_layout(
        session,
        draft,
        leave_out_refused=fields.leave_out_refused,
        new_revision=fields.new_revision,
        person=person,
        now=now,
    )
    return AssemblyView.model_validate(assembly)


@router.delete("/layout-drafts/{draft_id}", status_code=HTTPStatus.NO_CONTENT)
def drop_draft(
    draft_id: PathId,
    session: RequestSession,
    now: Now,
    person: Editor,
    if_match: IfMatch = None,
) -> None:
    """Take an open draft away."""
    draft = get_draft(session, draft_id)
    check_if_match(if_match, draft.version)
    service.drop_draft(session, draft, person=person, now=now)
