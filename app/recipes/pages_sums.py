"""The screens of the engineer's sums: everything stands in the address, nothing is stored."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.refusals import Fault
from app.recipes.sums.asked import MOST_CHARACTERS, SumUnreadable
from app.recipes.sums.figures import Sum
from app.recipes.sums.sheets import JOINT, LUMPED, SHEETS, STENCIL, AskGroup, SumSheet
from app.web.forms import map_faults
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]

# The button's own word in the address: somebody asked, and has not only followed a link.
_ASKED: Final = "do"


@dataclass(frozen=True)
class SumsPage:
    """All that sums.html can see."""

    shell: Shell
    sheets: tuple[SumSheet, ...]


@dataclass(frozen=True)
class FaultLine:
    """One fault in the summary: the field, its label and the sentence."""

    name: str
    label: str
    sentence: str


@dataclass(frozen=True)
class SumPage:
    """All that sums_one.html can see."""

    shell: Shell
    sheet: SumSheet
    others: tuple[SumSheet, ...]
    groups: tuple[AskGroup, ...]
    values: Mapping[str, str]
    faults: Mapping[str, str]
    summary: tuple[FaultLine, ...]
    most: int
    sum: Sum | None
    is_begun: bool


@router.get("/recipes/sums")
def show_sums(request: Request, person: Reader) -> HTMLResponse:
    """Show which sums there are."""
    return render("recipes/sums.html", SumsPage(make_shell(request, person, title="Sums"), SHEETS))


@router.get("/recipes/sums/stencil")
def show_stencil(request: Request, person: Reader) -> HTMLResponse:
    """Show the sum of an aperture, worked out when the address has all of it."""
    return _show(request, person, STENCIL)


@router.get("/recipes/sums/joint")
def show_joint(request: Request, person: Reader) -> HTMLResponse:
    """Show the sum of a collapsed ball, worked out when the address has all of it."""
    return _show(request, person, JOINT)


@router.get("/recipes/sums/lumped")
def show_lumped(request: Request, person: Reader) -> HTMLResponse:
    """Show the sum of a body in hot gas, worked out when the address has all of it."""
    return _show(request, person, LUMPED)


def _show(request: Request, person: Person, sheet: SumSheet) -> HTMLResponse:
    asked = request.query_params
    texts = {ask.name: asked[ask.name] for ask in sheet.asks if ask.name in asked}
    found: Sum | None = None
    faults: dict[str, str] = {}
    if _ASKED in asked or sheet.is_whole(texts):
        try:
            found = sheet.work_out(texts)
        except SumUnreadable as refusal:
            faults = map_faults(refusal)
    page = SumPage(
        shell=make_shell(request, person, title=sheet.title),
        sheet=sheet,
        others=tuple(one for one in SHEETS if one is not sheet),
        groups=sheet.groups,
        values={ask.name: texts.get(ask.name, ask.usual) for ask in sheet.asks},
        faults=faults,
        summary=_summarise(sheet, [Fault(name, told) for name, told in faults.items()]),
        most=MOST_CHARACTERS,
        sum=found,
        is_begun=bool(texts),
    )
    return render("recipes/sums_one.html", page, status=422 if faults else 200)


def _summarise(sheet: SumSheet, faults: list[Fault]) -> tuple[FaultLine, ...]:
    labels = {ask.name: ask.label for ask in sheet.asks}
    return tuple(
        FaultLine(fault.field, labels.get(fault.field, ""), fault.sentence) for fault in faults
    )
