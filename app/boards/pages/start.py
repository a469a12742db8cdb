"""The start of Boards: scan a serial, or look for it by its assembly."""

from dataclasses import dataclass
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse
from pydantic import AfterValidator

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards.pages.lines import BoardLine, spell_board
from app.boards.queries import count_boards, get_assembly, list_assemblies, select_boards
from app.boards.tables import Board
from app.core.clock import spell_day
from app.core.paging import Paging, take_piece
from app.core.request import HouseSettings, RequestSession
from app.core.text import parse_line
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
SearchText = Annotated[str, Query(max_length=100), AfterValidator(parse_line)]
AfterId = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
Cursor = Annotated[str | None, Query(max_length=60)]

ASSEMBLIES_AT_ONCE: Final = 30
BOARDS_AT_ONCE: Final = 15


@dataclass(frozen=True)
class AssemblyLine:
    """One assembly in the list."""

    href: str
    part_number: str
    revision: str
    title: str
    boards: str
    shape: str
    layout: str


@dataclass(frozen=True)
class BoardsPage:
    """All that boards.html can see."""

    shell: Shell
    text: str
    assemblies: tuple[AssemblyLine, ...]
    more_assemblies: str
    boards: tuple[BoardLine, ...]
    older_boards: str
    can_edit: bool


@router.get("/boards")
def show_start(
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Reader,
    q: SearchText = "",
    after: AfterId = None,
    boards: Cursor = None,
) -> HTMLResponse:
    """Show where to scan, the assemblies, and the boards that were registered last."""
    behind = get_assembly(session, after) if after is not None else None
    found = list_assemblies(session, text=q, after=behind, limit=ASSEMBLIES_AT_ONCE + 1)
    shown = found[:ASSEMBLIES_AT_ONCE]
    counts = count_boards(session, [assembly.id for assembly in shown])
    rows, cursor = take_piece(
        session,
        select_boards(),
        key=Board.id,
        paging=Paging(cursor=boards, limit=BOARDS_AT_ONCE),
        newest_first=True,
    )
    page = BoardsPage(
        shell=make_shell(request, person, title="Boards"),
        text=q,
        assemblies=tuple(
            AssemblyLine(
                href=f"/boards/assemblies/{row.id}",
                part_number=row.part_number,
                revision=row.revision,
                title=row.title,
                boards=str(counts.get(row.id, 0)),
                shape="go" if row.layout_at else "plain",
                layout=(
                    f"since {spell_day(row.layout_at, settings.zone)}"
                    if row.layout_at
                    else "none yet"
                ),
            )
            for row in shown
        ),
        more_assemblies=(
            "/boards?" + urlencode({"q": q, "after": shown[-1].id})
            if len(found) > len(shown)
            else ""
        ),
        boards=tuple(spell_board(row, settings.zone) for row in rows),
        older_boards="/boards?" + urlencode({"boards": cursor}) + "#boards" if cursor else "",
        can_edit=person.may(Action.ASSEMBLIES_EDIT),
    )
    return render("boards/boards.html", page)
