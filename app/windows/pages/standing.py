"""What a part may never be exposed to, whatever its recipe says."""

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.request import RequestSession
from app.core.text import OptionalLine
from app.materials.queries import find_part, list_parts
from app.recipes.form_fields import ALLOY_NAMES
from app.web.shell import Shell
from app.web.templates import render
from app.windows.holding import HeldWindow
from app.windows.pages.words import DIGEST_SHOWN, TextWords, spell_text
from app.windows.standing import list_standing_windows

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]

PARTS_SUGGESTED: Final = 200


@dataclass(frozen=True)
class StandingItem:
    """One window that stands, and why."""

    key: str
    version: int
    name: str
    digest: str
    origin: str
    why: str
    cautions: tuple[str, ...]
    text: TextWords


@dataclass(frozen=True)
class StandingPage:
    """All that standing.html can see; nothing is listed before a part and an alloy are named."""

    shell: Shell
    part_number: str
    alloy: str
    parts: tuple[str, ...]
    alloys: tuple[str, ...]
    is_asked: bool
    part_fault: str
    items: tuple[StandingItem, ...]
    not_known: tuple[str, ...]


@router.get("/windows/standing")
def show_standing(
    request: Request,
    session: RequestSession,
    person: Reader,
    part_number: Annotated[OptionalLine, Query()] = "",
    alloy: Annotated[OptionalLine, Query()] = "",
) -> HTMLResponse:
    """Show the windows that stand for a part under joints of an alloy."""
    part = find_part(session, part_number) if part_number else None
    is_unknown = bool(part_number) and part is None
    is_asked = bool(part_number and alloy) and not is_unknown
    items: tuple[StandingItem, ...] = ()
    not_known: tuple[str, ...] = ()
    if is_asked:
        standing = list_standing_windows(session, part, alloy=alloy)
        items, not_known = tuple(map(_spell, standing.windows)), standing.not_known
    parts = list_parts(session, limit=PARTS_SUGGESTED)
    page = StandingPage(
        shell=make_shell(request, person, title="What stands for a part"),
        part_number=part_number,
        alloy=alloy,
        parts=tuple(one.part_number for one in parts),
        alloys=ALLOY_NAMES,
        is_asked=is_asked,
        part_fault="is no part of the materials" if is_unknown else "",
        items=items,
        not_known=not_known,
    )
    return render("windows/standing.html", page, status=422 if is_unknown else 200)


def _spell(held: HeldWindow) -> StandingItem:
    return StandingItem(
        key=held.key,
        version=held.version,
        name=held.name,
        digest=held.digest[:DIGEST_SHOWN],
        origin="built in" if held.is_built_in else "the plant's own",
        why=held.why,
        cautions=held.cautions,
        text=spell_text(held.text),
    )
