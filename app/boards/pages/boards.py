"""The screens of boards: registering them, and a board's note."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards import service
from app.boards.pages.lines import map_faults_beside, spell_assembly
from app.boards.queries import get_assembly, get_board
from app.boards.rules import BOARDS_AT_ONCE_MAX
from app.boards.schemas.boards import BoardFields
from app.boards.tables import Assembly, Board
from app.core.conditional import EditedMeanwhile, check_version
from app.core.refusals import Refusal
from app.core.request import Now, PathId, RequestSession
from app.web.forms import PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render
from app.web.versions import VersionLine, compare_versions

router = APIRouter()

Registrar = Annotated[Person, Depends(needs(Action.BOARDS_REGISTER))]

add_notices(
    {
        "boards-registered": "The boards were registered.",
        "board-changed": "The board's note was changed.",
    }
)


@dataclass(frozen=True)
class RegisterPage:
    """All that register.html can see."""

    shell: Shell
    href: str
    at_once: int
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class BoardNotePage:
    """All that board_note.html can see."""

    shell: Shell
    href: str
    back: str
    version: int
    assembly: str
    note: str
    faults: Mapping[str, str] = field(default_factory=dict)
    versions: tuple[VersionLine, ...] = ()


@router.get("/boards/assemblies/{assembly_id}/register")
def show_register(
    assembly_id: PathId, request: Request, session: RequestSession, person: Registrar
) -> HTMLResponse:
    """Show the field that serials are scanned into."""
    return _show_register(request, person, get_assembly(session, assembly_id), {}, {})


@router.post("/boards/assemblies/{assembly_id}/register")
def register_boards(
    assembly_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Registrar,
    form: PostedForm,
) -> Response:
    """Register the serials of all lines, or none and say which lines were wrong."""
    assembly = get_assembly(session, assembly_id)
    lines = form.text("serials").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    try:
        note = form.parse(BoardFields, note=form.text("note")).note
        service.register_boards(session, assembly, lines, note=note, person=person, now=now)
    except Refusal as refusal:
        faults = map_faults_beside(refusal, "serials")
        return _show_register(request, person, assembly, form.texts, faults)
    return go_to(f"/boards/assemblies/{assembly.id}", said="boards-registered")


@router.get("/boards/{board_id}/note")
def show_note(
    board_id: PathId, request: Request, session: RequestSession, person: Registrar
) -> HTMLResponse:
    """Show a board's note to change it."""
    board = get_board(session, board_id)
    return _show_note(request, person, board, board.note, {})


@router.post("/boards/{board_id}/note")
def edit_note(
    board_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Registrar,
    form: PostedForm,
) -> Response:
    """Change a board's note, or show what was wrong; a stale edit shows both versions."""
    board = get_board(session, board_id)
    typed = form.text("note")
    try:
        check_version(form.text("version"), board.version)
        note = form.parse(BoardFields, note=typed).note
        service.edit_board(session, board, note=note, person=person, now=now)
    except EditedMeanwhile:
        return _show_note(request, person, board, typed, {}, is_stale=True)
    except Refusal as refusal:
        return _show_note(request, person, board, typed, map_faults(refusal))
    return go_to(f"/boards/{board.id}/history", said="board-changed")


def _show_register(
    request: Request,
    person: Person,
    assembly: Assembly,
    values: Mapping[str, str],
    faults: Mapping[str, str],
) -> HTMLResponse:
    page = RegisterPage(
        shell=make_shell(request, person, title=f"Register boards of {spell_assembly(assembly)}"),
        href=f"/boards/assemblies/{assembly.id}",
        at_once=BOARDS_AT_ONCE_MAX,
        values=values,
        faults=faults,
    )
    return render("boards/register.html", page, status=422 if faults else 200)


def _show_note(
    request: Request,
    person: Person,
    board: Board,
    note: str,
    faults: Mapping[str, str],
    *,
    is_stale: bool = False,
) -> HTMLResponse:
    page = BoardNotePage(
        shell=make_shell(request, person, title=f"Note on board {board.serial}"),
        href=f"/boards/{board.id}/note",
        back=f"/boards/{board.id}/history",
        version=board.version,
        assembly=spell_assembly(board.assembly),
        note=note,
        faults=faults,
        versions=(
            compare_versions({"note": "Note"}, yours={"note": note}, stored={"note": board.note})
            if is_stale
            else ()
        ),
    )
    status = HTTPStatus.OK
    if faults:
        status = HTTPStatus.UNPROCESSABLE_ENTITY
    if is_stale:
        status = HTTPStatus.PRECONDITION_FAILED
    return render("boards/board_note.html", page, status=status)
