"""Two revisions side by side."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.core.request import PathId, RequestSession
from app.recipes.queries import get_body, get_revision
from app.recipes.side_by_side import PairSection, lay_side_by_side
from app.recipes.tables import RecipeRevision
from app.web.shell import Shell
from app.web.templates import render

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


@router.get("/recipes/revisions/{old_id}/compare/{new_id}")
def compare(
    old_id: PathId, new_id: PathId, request: Request, session: RequestSession, person: Reader
) -> HTMLResponse:
    """Show two revisions side by side, with what differs marked."""
    old, new = get_revision(session, old_id), get_revision(session, new_id)
    sections = lay_side_by_side(get_body(old), get_body(new))
    page = ComparePage(
        shell=make_shell(request, person, title="Two revisions side by side"),
        old=_spell(old),
        new=_spell(new),
        sections=sections,
        changed=sum(section.changed for section in sections),
        swap_href=f"/recipes/revisions/{new.id}/compare/{old.id}",
    )
    return render("recipes/compare.html", page)


def _spell(revision: RecipeRevision) -> Compared:
    return Compared(
        href=f"/recipes/revisions/{revision.id}",
        name=f"{revision.recipe.code}, revision {revision.number}",
        state=revision.state,
        title=revision.title,
        reason=revision.reason,
        digest=get_digest(revision),
    )
