"""The screens of a layout on its way in: upload, preview, corrections, taking."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards import service
from app.boards.ahead import FormFilesAhead
from app.boards.files import BillChoices, BillField, PlacementChoices, PlacementField
from app.boards.pages.assembly import AskedView, show_assembly_page
from app.boards.pages.preview import show_preview_page
from app.boards.queries import get_assembly, get_draft
from app.boards.schemas.layouts import TakingFields
from app.boards.service.drafts import check_open
from app.core.conditional import EditedMeanwhile, check_version
from app.core.refusals import Refusal
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.web.forms import Form, PostedForm, map_faults
from app.web.shell import add_notices, go_to

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Editor = Annotated[Person, Depends(needs(Action.ASSEMBLIES_EDIT))]

add_notices(
    {
        "layout-read": "The file was read; nothing is stored in the assembly yet.",
        "layout-read-again": "The file was read again as you chose.",
        "layout-taken": "The layout was taken.",
        "layout-dropped": "The draft was dropped; the assembly is as it was.",
    }
)


@router.post("/boards/assemblies/{assembly_id}/layouts")
def start_draft(
    files: FormFilesAhead,
    assembly_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Editor,
    form: PostedForm,
) -> Response:
    """Start a draft from the files, or show the assembly with what was wrong with them."""
    assembly = get_assembly(session, assembly_id)
    try:
        draft = service.start_draft(session, assembly, files, person=person, now=now)
    except Refusal as refusal:
        view = AskedView(values=form.texts, faults=map_faults(refusal))
        return show_assembly_page(request, session, settings, person, assembly, view)
    return go_to(f"/boards/layouts/{draft.id}", said="layout-read")


@router.get("/boards/layouts/{draft_id}")
def show_draft(
    draft_id: PathId, request: Request, session: RequestSession, person: Reader
) -> Response:
    """Show how the files were read and what taking them would write."""
    draft = get_draft(session, draft_id)
    if draft.taken_at is not None:
        return go_to(f"/boards/assemblies/{draft.assembly_id}")
    return show_preview_page(request, session, person, draft)


@router.post("/boards/layouts/{draft_id}/files")
def put_files(
    files: FormFilesAhead,
    draft_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Editor,
    form: PostedForm,
) -> Response:
    """Add a file to the draft, or put another in its place."""
    draft = get_draft(session, draft_id)
    check_open(draft)
    try:
        check_version(form.text("version"), draft.version)
        service.put_draft_files(session, draft, files, person=person, now=now)
    except Refusal as refusal:
        return show_preview_page(request, session, person, draft, faults=map_faults(refusal))
    return go_to(f"/boards/layouts/{draft.id}", said="layout-read")


@router.post("/boards/layouts/{draft_id}/placement-choices")
def choose_placement_reading(
    draft_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Editor,
    form: PostedForm,
) -> Response:
    """Read the placement file as chosen, or say why that cannot be."""
    draft = get_draft(session, draft_id)
    check_open(draft)
    try:
        check_version(form.text("version"), draft.version)
        columns = _get_columns(form, [str(field) for field in PlacementField])
        choices = form.parse(PlacementChoices, columns=columns)
        service.choose_placement_reading(session, draft, choices, person=person, now=now)
    except Refusal as refusal:
        return _refuse_choices(request, session, person, draft_id, form, refusal, "placement")
    return go_to(f"/boards/layouts/{draft.id}", said="layout-read-again")


@router.post("/boards/layouts/{draft_id}/bill-choices")
def choose_bill_reading(
    draft_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Editor,
    form: PostedForm,
) -> Response:
    """Read the bill as chosen, or say why that cannot be."""
    draft = get_draft(session, draft_id)
    check_open(draft)
    try:
        check_version(form.text("version"), draft.version)
        columns = _get_columns(form, [str(field) for field in BillField])
        choices = form.parse(BillChoices, columns=columns)
        service.choose_bill_reading(session, draft, choices, person=person, now=now)
    except Refusal as refusal:
        return _refuse_choices(request, session, person, draft_id, form, refusal, "bill")
    return go_to(f"/boards/layouts/{draft.id}", said="layout-read-again")


@router.post("/boards/layouts/{draft_id}/taking")
def take_layout(
    draft_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Editor,
    form: PostedForm,
) -> Response:
    """Write the layout, all or nothing, or say what stands in the way."""
    draft = get_draft(session, draft_id)
    check_open(draft)
    try:
        check_version(form.text("version"), draft.version)
        fields = form.parse(TakingFields)
        assembly = service.take_layout(
            session,
            draft,
            leave_out_refused=fields.leave_out_refused,
            new_revision=fields.new_revision,
            person=person,
            now=now,
        )
    except Refusal as refusal:
        return show_preview_page(
            request,
            session,
            person,
            draft,
            faults=map_faults(refusal),
            taking=form.texts,
            is_stale=isinstance(refusal, EditedMeanwhile),
        )
    return go_to(f"/boards/assemblies/{assembly.id}", said="layout-taken")


@router.post("/boards/layouts/{draft_id}/dropping")
def drop_draft(
    draft_id: PathId, session: RequestSession, now: Now, person: Editor, form: PostedForm
) -> Response:
    """Take an open draft away."""
    draft = get_draft(session, draft_id)
    check_version(form.text("version"), draft.version)
    assembly_id = draft.assembly_id
    service.drop_draft(session, draft, person=person, now=now)
    return go_to(f"/boards/assemblies/{assembly_id}", said="layout-dropped")


def _refuse_choices(
    request: Request,
    session: RequestSession,
    person: Person,
    draft_id: int,
    form: Form,
    refusal: Refusal,
    kind: str,
) -> HTMLResponse:
    return show_preview_page(
        request,
        session,
        person,
        get_draft(session, draft_id),
        faults=map_faults(refusal),
        chosen={kind: form.texts},
        is_stale=isinstance(refusal, EditedMeanwhile),
    )


def _get_columns(form: Form, fields: list[str]) -> dict[str, str | None]:
    """Return the columns that were chosen by field; `none` leaves a field out."""
    columns: dict[str, str | None] = {}
    for name in fields:
        text = form.text(f"columns.{name}")
        if text:
            columns[name] = None if text == "none" else text
    return columns
