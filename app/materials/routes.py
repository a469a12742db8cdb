"""The JSON routes of parts."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response
from pydantic import AfterValidator

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.conditional import IfMatch, check_if_match, spell_etag
from app.core.paging import AskedPage, Piece, take_piece
from app.core.request import Now, PathId, RequestSession
from app.core.text import parse_line
from app.materials import service
from app.materials.queries import get_part, select_parts
from app.materials.schemas import PartFields, PartView
from app.materials.tables import Part
from app.web.once import CreateOnce

router = APIRouter(tags=["materials"])

Reader = Annotated[Person, Depends(needs(Action.READ))]
Editor = Annotated[Person, Depends(needs(Action.PARTS_EDIT))]
SearchText = Annotated[
    str,
    Query(max_length=100, description="Stands in the part number or the title; case is ignored."),
    AfterValidator(parse_line),
]


@router.get("/parts")
def list_parts(
    session: RequestSession, paging: AskedPage, _: Reader, q: SearchText = ""
) -> Piece[PartView]:
    """List the parts, all or those that hold a text."""
    rows, cursor = take_piece(session, select_parts(q), key=Part.id, paging=paging)
    return Piece(items=[PartView.model_validate(row) for row in rows], next_cursor=cursor)


@router.post("/parts", response_model=PartView, status_code=HTTPStatus.CREATED)
def add_part(
    fields: PartFields, session: RequestSession, now: Now, person: Editor, once: CreateOnce
) -> Response:
    """Add a part."""
    return once.answer(
        session,
        person.account_id,
        lambda: PartView.model_validate(service.add_part(session, fields, person=person, now=now)),
    )


@router.get("/parts/{part_id}")
def show_part(part_id: PathId, session: RequestSession, response: Response, _: Reader) -> PartView:
    """Show a part with its version as the `ETag`."""
    part = get_part(session, part_id)
    response.headers["ETag"] = spell_etag(part.version)
    return PartView.model_validate(part)


@router.put("/parts/{part_id}")
def edit_part(
    part_id: PathId,
    fields: PartFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Editor,
    if_match: IfMatch = None,
) -> PartView:
    """Change a part; `If-Match` names the version that was read."""
    part = get_part(session, part_id)
    check_if_match(if_match, part.version)
    service.edit_part(session, part, fields, person=person, now=now)
    response.headers["ETag"] = spell_etag(part.version)
    return PartView.model_validate(part)
