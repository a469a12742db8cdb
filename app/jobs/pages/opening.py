"""Opening a job: the board is scanned, its sites are picked, each gets a recipe that fits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import ValidationError
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards.queries import find_boards, find_placement, get_board, list_placements
from app.boards.rules import SERIAL_LENGTH_MAX, is_array_package
from app.boards.tables import Board, Placement
from app.core.faults import faults_of
from app.core.refusals import Refusal, Unreadable
from app.core.request import Now, RequestSession
from app.core.text import OptionalLine, RowId
from app.jobs import service
from app.jobs.pages.words import Link
from app.jobs.queries import list_designators_with_recipes, list_offers
from app.jobs.schemas import MAX_SITES, NewJob
from app.web.forms import Form, PostedForm, map_faults
from app.web.shell import Shell, go_to
from app.web.templates import render

router = APIRouter()

Opener = Annotated[Person, Depends(needs(Action.JOBS_OPEN))]
Designators = Annotated[list[Annotated[str, Query(max_length=64)]], Query(max_length=MAX_SITES)]
_SITES_SHOWN: Final = 80


@dataclass(frozen=True)
class SiteChoice:
    """A designator that can be picked."""

    designator: str
    part: str
    package: str
    has_recipe: bool
    is_picked: bool


@dataclass(frozen=True)
class NotOffered:
    """A published recipe that cannot be picked, and why."""

    recipe: str
    reason: str


@dataclass(frozen=True)
class SiteOffer:
    """A picked site with the recipes that fit it and those that do not."""

    designator: str
    part: str
    recipes: tuple[Link, ...]
    chosen: str
    others: tuple[NotOffered, ...]
    fault: str


@dataclass(frozen=True)
class NewJobPage:
    """All that new_job.html can see; one of three steps is filled."""

    shell: Shell
    serial: str
    boards: tuple[Link, ...]
    problem: str
    board_id: str
    board: str
    text: str
    sites: tuple[SiteChoice, ...]
    hidden_count: int
    offers: tuple[SiteOffer, ...]
    back_href: str
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@router.get("/jobs/new")
def show_new_job(
    request: Request,
    session: RequestSession,
    person: Opener,
    board: Annotated[RowId | None, Query()] = None,
    serial: Annotated[str, Query(max_length=4 * SERIAL_LENGTH_MAX)] = "",
    q: Annotated[OptionalLine, Query()] = "",
    site: Designators = [],  # noqa: B006 - FastAPI copies a query's default
) -> Response:
    """Show the step that is next: find the board, pick its sites, or choose their recipes."""
    if board is None:
        return _show_boards(request, session, person, serial)
    found = get_board(session, board)
    placements = [_find(session, found, designator) for designator in dict.fromkeys(site)]
    picked = [one for one in placements if one is not None]
    if picked:
        return _show_offers(request, session, person, found, picked)
    return _show_sites(request, session, person, found, q)


@router.post("/jobs/new")
def open_job(
    request: Request, session: RequestSession, now: Now, person: Opener, form: PostedForm
) -> Response:
    """Open the job, or show its form again with what was wrong."""
    try:
        new = _parse(form)
        job = service.open_job(session, new, person=person, now=now)
    except Refusal as refusal:
        # What was changed before the refusal must not be kept with the page that shows it.
        session.rollback()
        return _show_again(request, session, person, form, refusal)
    return go_to(f"/jobs/{job.id}", said="job-opened")


def _parse(form: Form) -> NewJob:
    sites = form.lists.get("site", ())
    given = {
        "board_id": form.text("board"),
        "reason": form.text("reason"),
        "reference": form.text("reference"),
        "sites": [
            {"designator": designator, "recipe_revision_id": form.text(f"recipe_{place}")}
            for place, designator in enumerate(sites)
        ],
    }
    try:
        return NewJob.model_validate(given)
    except ValidationError as error:
        raise Unreadable(faults_of(error)) from None


def _show_again(
    request: Request, session: Session, person: Person, form: Form, refusal: Refusal
) -> Response:
    text = form.text("board")
    if not (text.isascii() and text.isdigit() and len(text) <= 9):  # noqa: PLR2004
        raise refusal
    board = get_board(session, int(text))
    placements = [_find(session, board, d) for d in form.lists.get("site", ())[:MAX_SITES]]
    if not placements or None in placements:
        raise refusal
    picked = [one for one in placements if one is not None]
    return _show_offers(request, session, person, board, picked, form=form, refusal=refusal)


def _show_boards(request: Request, session: Session, person: Person, serial: str) -> Response:
    boards = find_boards(session, serial) if serial.strip() else []
    if len(boards) == 1:
        return go_to(f"/jobs/new?board={boards[0].id}")
    problem = ""
    if serial.strip() and not boards:
        problem = "No board has this serial. Register it first, or scan it again."
    links = tuple(Link(f"/jobs/new?board={one.id}", _spell_board(one)) for one in boards)
    return render(
        "jobs/new_job.html",
        _make_page(request, person, serial=serial, boards=links, problem=problem),
    )


def _show_sites(
    request: Request, session: Session, person: Person, board: Board, text: str
) -> HTMLResponse:
    placements = list_placements(session, board.assembly_id)
    with_recipe = list_designators_with_recipes(session, board, placements)
    wanted = text.casefold()
    matching = [
        one
        for one in placements
        if wanted in f"{one.designator} {one.part_number} {one.package} {one.value}".casefold()
    ]
    ordered = sorted(
        matching,
        key=lambda one: (one.designator not in with_recipe, not is_array_package(one.package)),
    )
    shown = ordered[:_SITES_SHOWN]
    page = _make_page(
        request,
        person,
        board=board,
        text=text,
        problem="" if placements else "This assembly has no layout yet, so it has no sites.",
        sites=tuple(
            SiteChoice(
                one.designator,
                one.part_number or one.value,
                one.package,
                has_recipe=one.designator in with_recipe,
                is_picked=False,
            )
            for one in shown
        ),
        hidden_count=len(ordered) - len(shown),
    )
    return render("jobs/new_job.html", page)


def _show_offers(
    request: Request,
    session: Session,
    person: Person,
    board: Board,
    placements: Sequence[Placement],
    *,
    form: Form | None = None,
    refusal: Refusal | None = None,
) -> HTMLResponse:
    faults = map_faults(refusal) if refusal else {}
    offers = []
    for place, placement in enumerate(placements):
        judged = list_offers(session, board, placement)
        fitting = [revision for revision, fit in judged if fit.fits]
        chosen = form.text(f"recipe_{place}") if form else ""
        offers.append(
            SiteOffer(
                designator=placement.designator,
                part=" ".join(p for p in (placement.part_number, placement.package) if p),
                recipes=tuple(
                    Link(str(one.id), f"{one.recipe.code} revision {one.number} · {one.title}")
                    for one in fitting
                ),
                chosen=chosen or (str(fitting[0].id) if len(fitting) == 1 else ""),
                others=tuple(
                    NotOffered(f"{revision.recipe.code} revision {revision.number}", fit.reason)
                    for revision, fit in judged
                    if not fit.fits
                ),
                fault=faults.get(f"sites.{place}.recipe_revision_id", "")
                or faults.get(f"sites.{place}.designator", ""),
            )
        )
    page = _make_page(
        request,
        person,
        board=board,
        offers=tuple(offers),
        values=form.texts if form else {},
        faults={name: said for name, said in faults.items() if not name.startswith("sites.")},
    )
    return render("jobs/new_job.html", page, status=422 if refusal else 200)


def _make_page(
    request: Request,
    person: Person,
    *,
    serial: str = "",
    boards: tuple[Link, ...] = (),
    problem: str = "",
    board: Board | None = None,
    text: str = "",
    sites: tuple[SiteChoice, ...] = (),
    hidden_count: int = 0,
    offers: tuple[SiteOffer, ...] = (),
    values: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> NewJobPage:
    title = f"Open a job · board {board.serial}" if board else "Open a job"
    return NewJobPage(
        shell=make_shell(request, person, title=title),
        serial=serial,
        boards=boards,
        problem=problem,
        board_id=str(board.id) if board else "",
        board=_spell_board(board) if board else "",
        text=text,
        sites=sites,
        hidden_count=hidden_count,
        offers=offers,
        back_href="/jobs/new?" + urlencode({"board": board.id}) if board else "",
        values=values or {},
        faults=faults or {},
    )


def _find(session: Session, board: Board, designator: str) -> Placement | None:
    return find_placement(session, assembly_id=board.assembly_id, designator=designator)


def _spell_board(board: Board) -> str:
    assembly = board.assembly
    scrapped = " · scrapped" if board.scrapped_at else ""
    return (
        f"{board.serial} · {assembly.part_number} revision {assembly.revision} · "
        f"{assembly.title}{scrapped}"
    )
