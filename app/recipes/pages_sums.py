"""The screens of the engineer's sums: everything stands in the address; a draft can take it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.conditional import EditedMeanwhile
from app.core.refusals import Fault, Refusal, Unacceptable
from app.core.request import Now, RequestSession
from app.recipes.draft_sums import use_sum
from app.recipes.pages_sums_draft import (
    DraftWords,
    find_draft,
    read_destination,
    spell_address,
    word_draft,
)
from app.recipes.sums.asked import MOST_CHARACTERS, SumUnreadable
from app.recipes.sums.figures import Sum
from app.recipes.sums.sheets import JOINT, LUMPED, SHEETS, STENCIL, AskGroup, SumSheet
from app.web.forms import PostedForm, map_faults
from app.web.shell import Shell, go_to
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]

# The button's own word in the address: somebody asked, and has not only followed a link.
_ASKED: Final = "do"


class NoDraftNamed(Unacceptable):
    """A sum is to be put into a draft, and none is named."""

    code = "recipes.no_draft_named"


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
    draft: DraftWords | None


@router.get("/recipes/sums")
def show_sums(request: Request, person: Reader) -> HTMLResponse:
    """Show which sums there are."""
    return render("recipes/sums.html", SumsPage(make_shell(request, person, title="Sums"), SHEETS))


@router.get("/recipes/sums/stencil")
def show_stencil(request: Request, session: RequestSession, person: Reader) -> HTMLResponse:
    """Show the sum of an aperture, worked out when the address has all of it."""
    return _show(request, session, person, STENCIL, request.query_params)


@router.get("/recipes/sums/joint")
def show_joint(request: Request, session: RequestSession, person: Reader) -> HTMLResponse:
    """Show the sum of a collapsed ball, worked out when the address has all of it."""
    return _show(request, session, person, JOINT, request.query_params)


@router.get("/recipes/sums/lumped")
def show_lumped(request: Request, session: RequestSession, person: Reader) -> HTMLResponse:
    """Show the sum of a body in hot gas, worked out when the address has all of it."""
    return _show(request, session, person, LUMPED, request.query_params)


@router.post("/recipes/sums/stencil/use")
def use_stencil(
    request: Request, session: RequestSession, now: Now, person: Writer, form: PostedForm
) -> Response:
    """Put an aperture and its foil into the draft that the sum was begun from."""
    return _use(request, session, person, STENCIL, form.texts, now=now)


@router.post("/recipes/sums/joint/use")
def use_joint(
    request: Request, session: RequestSession, now: Now, person: Writer, form: PostedForm
) -> Response:
    """Put the placement height and its tolerance into the draft that the sum was begun from."""
    return _use(request, session, person, JOINT, form.texts, now=now)


def _use(
    request: Request,
    session: Session,
    person: Person,
    sheet: SumSheet,
    asked: Mapping[str, str],
    *,
    now: datetime,
) -> Response:
    revision = find_draft(session, asked, person)
    if revision is None:
        raise NoDraftNamed("Begin the sum from the form of a draft.", field="draft")
    texts = {ask.name: asked[ask.name] for ask in sheet.asks if ask.name in asked}
    try:
        where = read_destination(asked)
        use_sum(
            session,
            revision,
            sheet,
            texts,
            where,
            seen_version=asked.get("version", "")[:20],
            person=person,
            now=now,
        )
    except EditedMeanwhile as refusal:
        return _show(request, session, person, sheet, asked, conflict=refusal)
    except Refusal as refusal:
        return _show(request, session, person, sheet, asked, refusal=refusal)
    return go_to(spell_address(sheet, texts, revision, where), said="sum-used")


def _show(
    request: Request,
    session: Session,
    person: Person,
    sheet: SumSheet,
    asked: Mapping[str, str],
    *,
    conflict: Refusal | None = None,
    refusal: Refusal | None = None,
) -> HTMLResponse:
    texts = {ask.name: asked[ask.name] for ask in sheet.asks if ask.name in asked}
    found: Sum | None = None
    faults: dict[str, str] = {}
    if _ASKED in asked or sheet.is_whole(texts):
        try:
            found = sheet.work_out(texts)
        except SumUnreadable as unreadable:
            faults = map_faults(unreadable)
    revision = find_draft(session, asked, person)
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
        draft=None
        if revision is None
        else word_draft(
            session,
            revision,
            sheet,
            texts,
            asked,
            is_worked_out=found is not None,
            was_used=asked.get("said") == "sum-used",
            conflict=conflict.sentence if conflict is not None else "",
        ),
    )
    status = 422 if faults or refusal is not None else 412 if conflict is not None else 200
    return render("recipes/sums_one.html", page, status=status)


def _summarise(sheet: SumSheet, faults: list[Fault]) -> tuple[FaultLine, ...]:
    labels = {ask.name: ask.label for ask in sheet.asks}
    return tuple(
        FaultLine(fault.field, labels.get(fault.field, ""), fault.sentence) for fault in faults
    )
