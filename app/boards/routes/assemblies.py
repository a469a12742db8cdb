"""The JSON routes of assemblies and their placements."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response
from pydantic import AfterValidator

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards import service
from app.boards.queries import (
    draw_side,
    get_assembly,
    get_placement_by_id,
    list_placements,
    select_assemblies,
    select_placements,
)
from app.boards.rules import Side
from app.boards.schemas.assemblies import (
    AssemblyFields,
    AssemblyView,
    NewRevision,
    PartLink,
    PartLinks,
    PlacementView,
)
from app.boards.tables import Assembly, Placement
from app.core.conditional import IfMatch, check_if_match, spell_etag
from app.core.paging import AskedPage, Piece, take_piece
from app.core.request import Now, PathId, RequestSession
from app.core.text import parse_line
from app.web.once import CreateOnce

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Editor = Annotated[Person, Depends(needs(Action.ASSEMBLIES_EDIT))]
SearchText = Annotated[
    str,
    Query(max_length=100, description="Stands in the part number or the title; case is ignored."),
    AfterValidator(parse_line),
]
SiteName = Annotated[
    str, Query(max_length=64, description="A designator to mark."), AfterValidator(parse_line)
]


@router.get("/assemblies")
def list_assemblies(
    session: RequestSession, paging: AskedPage, _: Reader, q: SearchText = ""
) -> Piece[AssemblyView]:
    """List the assemblies, every revision, all or those that hold a text."""
    rows, cursor = take_piece(session, select_assemblies(q), key=Assembly.id, paging=paging)
    return Piece(items=[AssemblyView.model_validate(row) for row in rows], next_cursor=cursor)


@router.post("/assemblies", response_model=AssemblyView, status_code=HTTPStatus.CREATED)
def add_assembly(
    fields: AssemblyFields, session: RequestSession, now: Now, person: Editor, once: CreateOnce
) -> Response:
    """Add an assembly; its layout is imported after."""
    return once.answer(
        session,
        person.account_id,
        lambda: AssemblyView.model_validate(
            service.add_assembly(session, fields, person=person, now=now)
        ),
    )


@router.get("/assemblies/{assembly_id}")
def show_assembly(
    assembly_id: PathId, session: RequestSession, response: Response, _: Reader
) -> AssemblyView:
    """Show an assembly with its version as the `ETag`."""
    assembly = get_assembly(session, assembly_id)
    response.headers["ETag"] = spell_etag(assembly.version)
    return AssemblyView.model_validate(assembly)


@router.put("/assemblies/{assembly_id}")
def edit_assembly(
    assembly_id: PathId,
    fields: AssemblyFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Editor,
    if_match: IfMatch = None,
) -> AssemblyView:
    """Change an assembly; `If-Match` names the version that was read. Its layout stays."""
    assembly = get_assembly(session, assembly_id)
    check_if_match(if_match, assembly.version)
    service.edit_assembly(session, assembly, fields, person=person, now=now)
    response.headers["ETag"] = spell_etag(assembly.version)
    return AssemblyView.model_validate(assembly)


@router.post(
    "/assemblies/{assembly_id}/revisions",
    response_model=AssemblyView,
    status_code=HTTPStatus.CREATED,
)
def add_revision(
    assembly_id: PathId,
    fields: NewRevision,
    session: RequestSession,
    now: Now,
    person: Editor,
    once: CreateOnce,
) -> Response:
    """Add a revision that begins as a copy of this one, its layout included."""
    assembly = get_assembly(session, assembly_id)
    return once.answer(
        session,
        person.account_id,
        lambda: AssemblyView.model_validate(
            service.add_revision(session, assembly, fields.revision, person=person, now=now)
        ),
    )


@router.get("/assemblies/{assembly_id}/placements")
def show_placements(
    assembly_id: PathId, session: RequestSession, paging: AskedPage, _: Reader
) -> Piece[PlacementView]:
    """List the designators of an assembly; those that only the bill names have no place."""
    rows, cursor = take_piece(
        session,
        select_placements(get_assembly(session, assembly_id).id),
        key=Placement.id,
        paging=paging,
    )
    return Piece(items=[PlacementView.model_validate(row) for row in rows], next_cursor=cursor)


@router.post("/assemblies/{assembly_id}/part-links")
def link_parts(assembly_id: PathId, session: RequestSession, now: Now, person: Editor) -> PartLinks:
    """Link every designator without a part to the part of its part number."""
    assembly = get_assembly(session, assembly_id)
    return PartLinks(linked=service.link_parts(session, assembly, person=person, now=now))


@router.put("/placements/{placement_id}/part")
def link_part(
    placement_id: PathId, link: PartLink, session: RequestSession, now: Now, person: Editor
) -> PlacementView:
    """Say which part stands at a designator, whatever the bill wrote."""
    placement = get_placement_by_id(session, placement_id)
    service.link_part(session, placement, link.part_number, person=person, now=now)
    return PlacementView.model_validate(placement)


@router.get(
    "/assemblies/{assembly_id}/picture.svg",
    response_class=Response,
    responses={200: {"content": {"image/svg+xml": {}}, "description": "The picture."}},
)
def draw_picture(
    assembly_id: PathId,
    session: RequestSession,
    _: Reader,
    side: Side = Side.TOP,
    site: SiteName = "",
) -> Response:
    """Draw one side of an assembly, to scale where sizes are known."""
    assembly = get_assembly(session, assembly_id)
    placements = list_placements(session, assembly.id)
    marked = (site.upper(),) if site else ()
    picture = draw_side(assembly, placements, side=side, marked=marked)
    return Response(picture, media_type="image/svg+xml")
