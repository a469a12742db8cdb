"""JSON routes of windows as a list, of new ones, and of what stands for a part."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.approval.queries import map_people, select_revisions
from app.approval.rules import RevisionState
from app.core.paging import AskedPage, Piece, take_piece
from app.core.request import Now, PathId, RequestSession
from app.core.text import Line, OptionalLine, RowId
from app.materials.queries import get_part
from app.recipes.schemas import CopyFields
from app.web.once import CreateOnce
from app.windows import service
from app.windows.files import parse_window_file
from app.windows.origin import name_version
from app.windows.queries import WindowFilter, get_own_line, get_version, get_window
from app.windows.queries import list_windows as list_all
from app.windows.schemas import (
    AnyWindowView,
    ImportFields,
    NewWindow,
    OwnWindowView,
    StandingListView,
    VersionLine,
    VersionView,
)
from app.windows.standing import list_standing_windows
from app.windows.tables import WindowVersion
from app.windows.views import view_line, view_own, view_standing, view_version, view_windows

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]


@router.get("/windows")
def list_windows(
    session: RequestSession,
    paging: AskedPage,
    _: Reader,
    text: Annotated[OptionalLine, Query(description="In code, name or key.")] = "",
    state: Annotated[
        RevisionState | None, Query(description="Of the plant's own; leaves built-in ones out.")
    ] = None,
) -> Piece[AnyWindowView]:
    """List all windows: the plant's own by code, and after them those that are built in."""
    lines, cursor = list_all(session, wanted=WindowFilter(text, state), paging=paging)
    return Piece(items=[*view_windows(session, lines)], next_cursor=cursor)


@router.post("/windows", response_model=VersionView, status_code=HTTPStatus.CREATED)
def create_window(
    fields: NewWindow, session: RequestSession, now: Now, person: Writer, once: CreateOnce
) -> Response:
    """Create a window; the answer is its first draft."""
    return once.answer(
        session,
        person.account_id,
        lambda: view_version(
            session, service.create_window(session, fields, person=person, now=now)
        ),
    )


@router.post("/window-imports", response_model=VersionView, status_code=HTTPStatus.CREATED)
def import_window(
    fields: ImportFields, session: RequestSession, now: Now, person: Writer, once: CreateOnce
) -> Response:
    """Create a window from a file's JSON; it becomes a draft, and nothing is ever overwritten."""
    read = parse_window_file(fields.file)
    new = NewWindow(
        code=fields.code,
        title=fields.title or read.name or fields.code,
        reason=fields.reason,
        text=read.text,
    )
    return once.answer(
        session,
        person.account_id,
        lambda: view_version(
            session,
            service.create_window(
                session, new, person=person, now=now, origin={"file": read.name or "a bare window"}
            ),
        ),
    )


@router.get("/windows/{window_id}")
def show_window(window_id: PathId, session: RequestSession, _: Reader) -> OwnWindowView:
    """Show a window of the plant's own."""
    return view_own(session, get_own_line(session, window_id))


@router.get("/windows/{window_id}/versions")
def list_versions(
    window_id: PathId, session: RequestSession, paging: AskedPage, _: Reader
) -> Piece[VersionLine]:
    """List the versions of a window, newest first, without their texts."""
    window = get_window(session, window_id)
    rows, cursor = take_piece(
        session,
        select_revisions(WindowVersion, window.id),
        key=WindowVersion.id,
        paging=paging,
        newest_first=True,
    )
    people = map_people(session, rows)
    return Piece(items=[view_line(row, people) for row in rows], next_cursor=cursor)


@router.post(
    "/windows/{window_id}/versions", response_model=VersionView, status_code=HTTPStatus.CREATED
)
def start_version(
    window_id: PathId,
    fields: CopyFields,
    session: RequestSession,
    now: Now,
    person: Writer,
    once: CreateOnce,
) -> Response:
    """Start a new version as a copy of any version of the window."""

    def start() -> VersionView:
        source = get_version(session, fields.copy_of)
        version = service.copy_version(
            session,
            get_window(session, window_id),
            source,
            reason=fields.reason,
            person=person,
            now=now,
        )
        return view_version(session, version, origin=name_version(source))

    return once.answer(session, person.account_id, start)


@router.get("/standing-windows")
def list_standing(
    session: RequestSession,
    _: Reader,
    alloy: Annotated[Line, Query(description="Of the joints, as a recipe names it.")],
    part_id: Annotated[RowId | None, Query(description="The site's part, where it is known.")] = (
        None
    ),
) -> StandingListView:
    """List what a site may never exceed: by its part, by its neighbours, by the alloy."""
    part = None if part_id is None else get_part(session, part_id)
    standing = list_standing_windows(session, part, alloy=alloy)
    return StandingListView(
        windows=[view_standing(one) for one in standing.windows],
        not_known=list(standing.not_known),
    )
