"""The JSON routes of boards."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards import service
from app.boards.queries import get_assembly, get_board, select_boards
from app.boards.rules import SERIAL_LENGTH_MAX, parse_serial
from app.boards.schemas.boards import BoardFields, BoardView, NewBoards, RegisteredBoards
from app.boards.tables import Board
from app.core.conditional import IfMatch, check_if_match, spell_etag
from app.core.paging import AskedPage, Piece, take_piece
from app.core.request import Now, PathId, RequestSession
from app.web.once import CreateOnce

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Registrar = Annotated[Person, Depends(needs(Action.BOARDS_REGISTER))]
SerialQuery = Annotated[
    str | None, Query(max_length=SERIAL_LENGTH_MAX, description="Exactly this serial.")
]
AssemblyQuery = Annotated[
    int | None, Query(ge=1, le=2**31 - 1, description="Boards of this assembly.")
]


@router.get("/boards")
def list_boards(
    session: RequestSession,
    paging: AskedPage,
    _: Reader,
    serial: SerialQuery = None,
    assembly_id: AssemblyQuery = None,
) -> Piece[BoardView]:
    """List the boards, newest first: all, those of an assembly, or those with a serial."""
    rows = select_boards(assembly_id=assembly_id)
    if serial is not None:
        rows = rows.where(Board.serial == parse_serial(serial, field="serial"))
    found, cursor = take_piece(session, rows, key=Board.id, paging=paging, newest_first=True)
    return Piece(items=[BoardView.model_validate(row) for row in found], next_cursor=cursor)


@router.post(
    "/assemblies/{assembly_id}/boards",
    response_model=RegisteredBoards,
    status_code=HTTPStatus.CREATED,
)
def register_boards(
    assembly_id: PathId,
    new: NewBoards,
    session: RequestSession,
    now: Now,
    person: Registrar,
    once: CreateOnce,
) -> Response:
    """Register boards by their serials: all of them or none."""
    assembly = get_assembly(session, assembly_id)

    def register() -> RegisteredBoards:
        boards = service.register_boards(
            session, assembly, new.serials, note=new.note, person=person, now=now
        )
        return RegisteredBoards(items=[BoardView.model_validate(board) for board in boards])

    return once.answer(session, person.account_id, register)


@router.get("/boards/{board_id}")
def show_board(
    board_id: PathId, session: RequestSession, response: Response, _: Reader
) -> BoardView:
    """Show a board with its version as the `ETag`."""
    board = get_board(session, board_id)
    response.headers["ETag"] = spell_etag(board.version)
    return BoardView.model_validate(board)


@router.put("/boards/{board_id}")
def edit_board(
    board_id: PathId,
    fields: BoardFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Registrar,
    if_match: IfMatch = None,
) -> BoardView:
    """Change a board's note; `If-Match` names the version that was read."""
    board = get_board(session, board_id)
    check_if_match(if_match, board.version)
    service.edit_board(session, board, note=fields.note, person=person, now=now)
    response.headers["ETag"] = spell_etag(board.version)
    return BoardView.model_validate(board)
