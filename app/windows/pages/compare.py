"""Two versions of windows side by side."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.core.request import PathId, RequestSession
from app.recipes.side_by_side import PairSection
from app.web.shell import Shell
from app.web.templates import render
from app.windows.describe import compare_texts
from app.windows.queries import get_text, get_version
from app.windows.tables import WindowVersion

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]


@dataclass(frozen=True)
class Compared:
    """One of the two."""

    href: str
    name: str
    state: str
    title: str
    reason: str
    digest: str


@dataclass(frozen=True)
class ComparePage:
    """All that compare.html can see."""

    shell: Shell
    old: Compared
    new: Compared
    sections: tuple[PairSection, ...]
    changed: int
    swap_href: str


@router.get("/windows/versions/{old_id}/compare/{new_id}")
def compare(
    old_id: PathId, new_id: PathId, request: Request, session: RequestSession, person: Reader
) -> HTMLResponse:
    """Show two versions side by side, with what differs marked."""
    old, new = get_version(session, old_id), get_version(session, new_id)
    sections = compare_texts(get_text(old), get_text(new))
    page = ComparePage(
        shell=make_shell(request, person, title="Two versions side by side"),
        old=_spell(old),
        new=_spell(new),
        sections=sections,
        changed=sum(section.changed for section in sections),
        swap_href=f"/windows/versions/{new.id}/compare/{old.id}",
    )
    return render("windows/compare.html", page)


def _spell(version: WindowVersion) -> Compared:
    return Compared(
        href=f"/windows/versions/{version.id}",
        name=f"{version.window.code}, version {version.number}",
        state=version.state,
        title=version.title,
        reason=version.reason,
        digest=get_digest(version),
    )
