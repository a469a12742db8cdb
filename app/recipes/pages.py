"""The screens of recipes: the list, a new one, and one recipe with its revisions."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Annotated, Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, ConfigDict, ValidationError
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.approval.queries import get_digest, list_revisions, map_people
from app.approval.rules import RevisionState
from app.core.clock import spell_minute
from app.core.faults import faults_of
from app.core.paging import AskedPage
from app.core.refusals import Fault, Refusal, Unreadable
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.text import Code, Line, OptionalLine
from app.recipes import (
    pages_compare,
    pages_edit,
    pages_moves,
    pages_revision,
    pages_sums,
    service,
)
from app.recipes.body.forms import BodyUnreadable
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import default_body
from app.recipes.form_values import split_words
from app.recipes.pages_revision import SHAPES
from app.recipes.queries import RecipeFilter, RecipeLine, Where, get_recipe, get_revision
from app.recipes.queries import list_recipes as list_recipe_lines
from app.recipes.schemas import CopyFields, NewRecipe, Reason
from app.recipes.tables import RecipeRevision
from app.web.forms import Form, PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()
# Its addresses come before those that take any word for a recipe's number.
router.include_router(pages_sums.router)

Reader = Annotated[Person, Depends(needs(Action.READ))]
Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]

DIGEST_SHOWN: Final = 12

add_notices(
    {
        "recipe-created": "The recipe was created. This is its first draft; no job can use it.",
        "revision-started": "A new draft was started as a copy.",
    }
)


class StartFields(BaseModel):
    """What a new recipe is called, and where it applies; the rest starts from common practice."""

    model_config = ConfigDict(extra="forbid")

    code: Code
    title: Line
    reason: Reason
    assembly_part_number: Code


@dataclass(frozen=True)
class StateWord:
    """A state as a shape and a word."""

    shape: str
    word: str


@dataclass(frozen=True)
class ListLine:
    """One recipe in the list."""

    href: str
    code: str
    title: str
    assembly: str
    sites: str
    published: str
    published_href: str
    digest: str
    open_word: str
    open_shape: str
    open_href: str


@dataclass(frozen=True)
class RecipesPage:
    """All that recipes.html can see."""

    shell: Shell
    lines: tuple[ListLine, ...]
    wanted: RecipeFilter
    is_filtered: bool
    states: tuple[str, ...]
    next_href: str
    can_write: bool


@dataclass(frozen=True)
class NewRecipePage:
    """All that recipe_new.html can see."""

    shell: Shell
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class RevisionItem:
    """One revision of a recipe."""

    id: int
    href: str
    number: int
    title: str
    reason: str
    state: StateWord
    written: str
    proposed: str
    approved: str
    retired: str
    retire_reason: str
    digest: str
    compare_href: str


@dataclass(frozen=True)
class RecipePage:
    """All that recipe.html can see."""

    shell: Shell
    href: str
    revisions: tuple[RevisionItem, ...]
    open_href: str
    can_write: bool
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@router.get("/recipes")
def show_recipes(
    request: Request,
    session: RequestSession,
    paging: AskedPage,
    person: Reader,
    text: Annotated[OptionalLine, Query()] = "",
    assembly: Annotated[OptionalLine, Query()] = "",
    designator: Annotated[OptionalLine, Query()] = "",
    state: Annotated[str, Query(max_length=24)] = "",
) -> HTMLResponse:
    """Show the recipes by code, those that the filter leaves."""
    wanted = RecipeFilter(text, assembly, designator, _parse_state(state))
    lines, cursor = list_recipe_lines(session, wanted=wanted, paging=paging)
    asked = {"text": text, "assembly": assembly, "designator": designator, "state": state}
    given = {name: value for name, value in asked.items() if value}
    page = RecipesPage(
        shell=make_shell(request, person, title="Recipes"),
        lines=tuple(_spell_line(line) for line in lines),
        wanted=wanted,
        is_filtered=bool(given) or paging.after_id is not None,
        states=tuple(RevisionState),
        next_href=f"/recipes?{urlencode({**given, 'cursor': cursor})}" if cursor else "",
        can_write=person.may(Action.RECIPES_WRITE),
    )
    return render("recipes/recipes.html", page)


@router.get("/recipes/new")
def show_new_recipe(request: Request, person: Writer) -> HTMLResponse:
    """Show the short form that a new recipe starts with."""
    shell = make_shell(request, person, title="New recipe")
    return render("recipes/recipe_new.html", NewRecipePage(shell))


@router.post("/recipes/new")
def create_recipe(
    request: Request, session: RequestSession, now: Now, person: Writer, form: PostedForm
) -> Response:
    """Create a recipe with its first draft, or show the form again with what was wrong."""
    try:
        fields = _read_new_recipe(form)
        revision = service.create_recipe(session, fields, person=person, now=now)
    except Refusal as refusal:
        shell = make_shell(request, person, title="New recipe")
        page = NewRecipePage(shell, form.texts, map_faults(refusal))
        return render("recipes/recipe_new.html", page, status=422)
    return go_to(f"/recipes/revisions/{revision.id}/edit", said="recipe-created")


@router.get("/recipes/{recipe_id}")
def show_recipe(
    recipe_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Reader,
) -> HTMLResponse:
    """Show one recipe with all its revisions."""
    return _show_recipe(request, session, settings.zone, person, recipe_id)


@router.post("/recipes/{recipe_id}/revisions")
def start_revision(
    recipe_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Writer,
    form: PostedForm,
) -> Response:
    """Start a new revision as a copy, or show the recipe again with what was wrong."""
    recipe = get_recipe(session, recipe_id)
    try:
        fields = form.parse(CopyFields)
        source = get_revision(session, fields.copy_of)
        revision = service.copy_revision(
            session, recipe, source, reason=fields.reason, person=person, now=now
        )
    except Refusal as refusal:
        return _show_recipe(
            request,
            session,
            settings.zone,
            person,
            recipe_id,
            values=form.texts,
            faults=map_faults(refusal),
        )
    return go_to(f"/recipes/revisions/{revision.id}/edit", said="revision-started")


def _parse_state(text: str) -> RevisionState | None:
    if not text:
        return None
    try:
        return RevisionState(text)
    except ValueError:
        sentence = f"must be {', '.join(RevisionState)}"
        raise Unreadable((Fault("state", sentence),)) from None


def _read_new_recipe(form: Form) -> NewRecipe:
    faults: tuple[Fault, ...] = ()
    start: StartFields | None = None
    body: RecipeBody | None = None
    try:
        start = form.parse(StartFields)
    except Unreadable as refusal:
        faults = refusal.faults
    designators = split_words(form.text("designators"))
    if not designators:
        faults += (Fault("designators", "must name at least one site, such as U3"),)
    part_number = start.assembly_part_number if start is not None else "any"
    try:
        body = default_body(assembly_part_number=part_number, designators=designators[:300])
    except ValidationError as error:
        if designators:
            faults += (Fault("designators", faults_of(error)[0].sentence),)
    if faults or start is None or body is None:
        raise BodyUnreadable(faults)
    return NewRecipe(code=start.code, title=start.title, reason=start.reason, body=body)


def _spell_line(line: RecipeLine) -> ListLine:
    shown = line.published or line.newest
    return ListLine(
        href=f"/recipes/{line.recipe.id}",
        code=line.recipe.code,
        title=shown.title,
        assembly=line.where.assembly,
        sites=_spell_sites(line.where),
        published=f"revision {line.published.number}" if line.published else "",
        published_href=f"/recipes/revisions/{line.published.id}" if line.published else "",
        digest=get_digest(line.published)[:DIGEST_SHOWN] if line.published else "",
        open_word=f"revision {line.open.number} {line.open.state}" if line.open else "",
        open_shape=SHAPES[line.open.state] if line.open else "",
        open_href=f"/recipes/revisions/{line.open.id}" if line.open else "",
    )


def _spell_sites(where: Where) -> str:
    revisions = "" if where.revisions is None else f"rev. {', '.join(where.revisions)}"
    designators = ", ".join(where.designators)
    return "; ".join(filter(None, (revisions, designators, ", ".join(where.part_numbers))))


def _show_recipe(
    request: Request,
    session: Session,
    zone: ZoneInfo,
    person: Person,
    recipe_id: int,
    *,
    values: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> HTMLResponse:
    recipe = get_recipe(session, recipe_id)
    revisions = list_revisions(session, RecipeRevision, recipe_id)
    people = map_people(session, revisions)
    open_ids = [
        one.id for one in revisions if one.state in {RevisionState.DRAFT, RevisionState.PROPOSED}
    ]
    earlier = {one.id: before for one, before in pairwise(revisions)}
    page = RecipePage(
        shell=make_shell(request, person, title=f"Recipe {recipe.code}"),
        href=f"/recipes/{recipe.id}",
        revisions=tuple(_spell_item(one, earlier.get(one.id), people, zone) for one in revisions),
        open_href=f"/recipes/revisions/{open_ids[0]}" if open_ids else "",
        can_write=person.may(Action.RECIPES_WRITE),
        values=values or {},
        faults=faults or {},
    )
    return render("recipes/recipe.html", page, status=422 if faults else 200)


def _spell_item(
    revision: RecipeRevision,
    earlier: RecipeRevision | None,
    people: Mapping[int, str],
    zone: ZoneInfo,
) -> RevisionItem:
    href = f"/recipes/revisions/{revision.id}"
    steps = {
        "written": (revision.author_id, revision.created_at),
        "proposed": (revision.proposed_by_id, revision.proposed_at),
        "approved": (revision.approved_by_id, revision.approved_at),
        "retired": (revision.retired_by_id, revision.retired_at),
    }
    who_when = {
        step: f"{people[by]}, {spell_minute(at, zone)}" if by is not None and at is not None else ""
        for step, (by, at) in steps.items()
    }
    return RevisionItem(
        id=revision.id,
        href=href,
        number=revision.number,
        title=revision.title,
        reason=revision.reason,
        state=StateWord(SHAPES[revision.state], revision.state),
        retire_reason=revision.retire_reason or "",
        digest=get_digest(revision)[:DIGEST_SHOWN],
        compare_href=f"/recipes/revisions/{earlier.id}/compare/{revision.id}" if earlier else "",
        **who_when,
    )


router.include_router(pages_revision.router)
router.include_router(pages_moves.router)
router.include_router(pages_edit.router)
router.include_router(pages_compare.router)
