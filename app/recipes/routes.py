"""JSON routes of recipes and their revisions."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response
from sqlalchemy.orm import Session

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.approval.queries import get_digest, map_people, select_revisions
from app.approval.rules import RevisionState
from app.core.conditional import IfMatch, check_if_match, spell_etag
from app.core.paging import AskedPage, Piece, take_piece
from app.core.request import Now, PathId, RequestSession
from app.core.text import Code, OptionalLine, RowId
from app.recipes import routes_sums, service
from app.recipes.body.compare import compare_bodies
from app.recipes.body.describe import spell_limit, spell_taken_from
from app.recipes.queries import (
    RecipeFilter,
    RecipeLine,
    get_body,
    get_recipe,
    get_recipe_line,
    get_revision,
    list_fitting,
)
from app.recipes.queries import list_recipes as list_recipe_lines
from app.recipes.schemas import (
    ApprovalFields,
    ChangeView,
    ComparisonView,
    CopyFields,
    DraftFields,
    FitView,
    LimitView,
    NewRecipe,
    PersonView,
    ReasonFields,
    RecipeView,
    RevisionLine,
    RevisionView,
    UnheldView,
)
from app.recipes.tables import RecipeRevision
from app.recipes.unheld import list_unheld
from app.web.once import CreateOnce

router = APIRouter(tags=["recipes"])
router.include_router(routes_sums.router)

Reader = Annotated[Person, Depends(needs(Action.READ))]
Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]
Approver = Annotated[Person, Depends(needs(Action.RECIPES_APPROVE))]
Retirer = Annotated[Person, Depends(needs(Action.RECIPES_RETIRE))]


@router.get("/recipes")
def list_recipes(
    session: RequestSession,
    paging: AskedPage,
    _: Reader,
    text: Annotated[OptionalLine, Query(description="In code, title, part or package.")] = "",
    assembly: Annotated[OptionalLine, Query(description="In the assembly's part number.")] = "",
    designator: Annotated[OptionalLine, Query(description="One of the designators.")] = "",
    state: RevisionState | None = None,
) -> Piece[RecipeView]:
    """List the recipes by code, each with its newest, published and open revision."""
    wanted = RecipeFilter(text=text, assembly=assembly, designator=designator, state=state)
    lines, cursor = list_recipe_lines(session, wanted=wanted, paging=paging)
    return Piece(items=_view_recipes(session, lines), next_cursor=cursor)


@router.post("/recipes", response_model=RevisionView, status_code=HTTPStatus.CREATED)
def create_recipe(
    fields: NewRecipe, session: RequestSession, now: Now, person: Writer, once: CreateOnce
) -> Response:
    """Create a recipe; the answer is its first draft."""
    return once.answer(
        session,
        person.account_id,
        lambda: _view(session, service.create_recipe(session, fields, person=person, now=now)),
    )


@router.get("/recipes/{recipe_id}")
def show_recipe(recipe_id: PathId, session: RequestSession, _: Reader) -> RecipeView:
    """Show a recipe."""
    return _view_recipes(session, [get_recipe_line(session, recipe_id)])[0]


@router.get("/recipes/{recipe_id}/revisions")
def list_revisions(
    recipe_id: PathId, session: RequestSession, paging: AskedPage, _: Reader
) -> Piece[RevisionLine]:
    """List the revisions of a recipe, newest first, without their bodies."""
    recipe = get_recipe(session, recipe_id)
    rows, cursor = take_piece(
        session,
        select_revisions(RecipeRevision, recipe.id),
        key=RecipeRevision.id,
        paging=paging,
        newest_first=True,
    )
    people = map_people(session, rows)
    return Piece(items=[_view_line(row, people) for row in rows], next_cursor=cursor)


@router.post(
    "/recipes/{recipe_id}/revisions", response_model=RevisionView, status_code=HTTPStatus.CREATED
)
def start_revision(
    recipe_id: PathId,
    fields: CopyFields,
    session: RequestSession,
    now: Now,
    person: Writer,
    once: CreateOnce,
) -> Response:
    """Start a new revision as a copy of any revision of the recipe."""
    return once.answer(
        session,
        person.account_id,
        lambda: _view(
            session,
            service.copy_revision(
                session,
                get_recipe(session, recipe_id),
                get_revision(session, fields.copy_of),
                reason=fields.reason,
                person=person,
                now=now,
            ),
        ),
    )


@router.get("/recipe-fits")
def list_fits(
    session: RequestSession,
    _: Reader,
    assembly_part_number: Annotated[Code, Query()],
    assembly_revision: Annotated[Code, Query()],
    designator: Annotated[Code, Query()],
    part_number: Annotated[Code | None, Query()] = None,
) -> list[FitView]:
    """List the published revisions with whether each may be used at a site, and why not."""
    found = list_fitting(
        session,
        assembly_part_number=assembly_part_number,
        assembly_revision=assembly_revision,
        designator=designator,
        part_number=part_number,
    )
    people = map_people(session, (revision for revision, _ in found))
    return [
        FitView(revision=_view_line(revision, people), fits=fit.fits, reason=fit.reason)
        for revision, fit in found
    ]


@router.get("/recipe-revisions/{revision_id}")
def show_revision(
    revision_id: PathId, session: RequestSession, response: Response, _: Reader
) -> RevisionView:
    """Show a revision with its whole body, and its version as the `ETag`."""
    return _answer(session, get_revision(session, revision_id), response)


@router.put("/recipe-revisions/{revision_id}")
def save_draft(
    revision_id: PathId,
    fields: DraftFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Writer,
    if_match: IfMatch = None,
) -> RevisionView:
    """Write the text of a draft; `If-Match` names the version that was read."""
    revision = get_revision(session, revision_id)
    check_if_match(if_match, revision.version)
    service.save_draft(
        session, revision, fields, seen_version=str(revision.version), person=person, now=now
    )
    return _answer(session, revision, response)


@router.delete("/recipe-revisions/{revision_id}", status_code=HTTPStatus.NO_CONTENT)
def discard_draft(
    revision_id: PathId,
    session: RequestSession,
    now: Now,
    person: Writer,
    if_match: IfMatch = None,
) -> None:
    """Discard a draft; `If-Match` names the version that was read."""
    revision = get_revision(session, revision_id)
    check_if_match(if_match, revision.version)
    service.discard_draft(session, revision, person=person, now=now)


@router.post("/recipe-revisions/{revision_id}/proposal")
def propose(
    revision_id: PathId, session: RequestSession, response: Response, now: Now, person: Writer
) -> RevisionView:
    """Propose a draft: its text is frozen."""
    revision = get_revision(session, revision_id)
    return _answer(session, service.propose(session, revision, person=person, now=now), response)


@router.post("/recipe-revisions/{revision_id}/withdrawal")
def withdraw(
    revision_id: PathId, session: RequestSession, response: Response, now: Now, person: Writer
) -> RevisionView:
    """Make a proposed revision a draft again."""
    revision = get_revision(session, revision_id)
    return _answer(session, service.withdraw(session, revision, person=person, now=now), response)


@router.post("/recipe-revisions/{revision_id}/return")
def send_back(
    revision_id: PathId,
    fields: ReasonFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Approver,
) -> RevisionView:
    """Send a proposed revision back to its writers, and say why."""
    revision = get_revision(session, revision_id)
    service.send_back(session, revision, reason=fields.reason, person=person, now=now)
    return _answer(session, revision, response)


@router.post("/recipe-revisions/{revision_id}/publication")
def publish(
    revision_id: PathId,
    fields: ApprovalFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Approver,
) -> RevisionView:
    """Approve, and so publish, a proposed revision; `digest` is that of the text that was read."""
    revision = get_revision(session, revision_id)
    service.publish(session, revision, seen_digest=fields.digest, person=person, now=now)
    return _answer(session, revision, response)


@router.post("/recipe-revisions/{revision_id}/retirement")
def retire(
    revision_id: PathId,
    fields: ReasonFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Retirer,
) -> RevisionView:
    """Retire a published revision: new jobs cannot take it, open ones go on."""
    revision = get_revision(session, revision_id)
    service.retire(session, revision, reason=fields.reason, person=person, now=now)
    return _answer(session, revision, response)


@router.get("/recipe-revisions/{revision_id}/comparison")
def compare(
    revision_id: PathId,
    session: RequestSession,
    _: Reader,
    other_id: Annotated[RowId, Query(alias="with", description="The revision to compare with.")],
) -> ComparisonView:
    """Show what differs from this revision to another one, of any recipe."""
    old, new = get_revision(session, revision_id), get_revision(session, other_id)
    return ComparisonView(
        old_id=old.id,
        new_id=new.id,
        old_digest=get_digest(old),
        new_digest=get_digest(new),
        changes=[
            ChangeView(path=one.path, label=one.label, old=one.old, new=one.new)
            for one in compare_bodies(get_body(old), get_body(new))
        ],
    )


def _answer(session: Session, revision: RecipeRevision, response: Response) -> RevisionView:
    response.headers["ETag"] = spell_etag(revision.version)
    return _view(session, revision)


def _view(session: Session, revision: RecipeRevision) -> RevisionView:
    line = _view_line(revision, map_people(session, [revision]))
    body = get_body(revision)
    return RevisionView(
        **line.model_dump(),
        body=body,
        limits=[
            LimitView(
                path=f"window.limits.{place}",
                limit=spell_limit(limit),
                whose=spell_taken_from(limit),
            )
            for place, limit in enumerate(body.window.limits)
        ],
        without_limit=[
            UnheldView(
                channel=one.channel,
                sentence=one.sentence,
                built_in_windows=[window.key for window in one.windows],
            )
            for one in list_unheld(body)
        ],
    )


def _view_line(revision: RecipeRevision, people: dict[int, str]) -> RevisionLine:
    def name(account_id: int) -> PersonView:
        return PersonView(id=account_id, name=people[account_id])

    def find(account_id: int | None) -> PersonView | None:
        return None if account_id is None else name(account_id)

    return RevisionLine(
        id=revision.id,
        recipe_id=revision.recipe_id,
        code=revision.recipe.code,
        number=revision.number,
        state=revision.state,
        title=revision.title,
        reason=revision.reason,
        digest=get_digest(revision),
        author=name(revision.author_id),
        created_at=revision.created_at,
        proposed_by=find(revision.proposed_by_id),
        proposed_at=revision.proposed_at,
        approved_by=find(revision.approved_by_id),
        approved_at=revision.approved_at,
        retired_by=find(revision.retired_by_id),
        retired_at=revision.retired_at,
        retire_reason=revision.retire_reason,
        version=revision.version,
    )


def _view_recipes(session: Session, lines: list[RecipeLine]) -> list[RecipeView]:
    revisions = [
        one for line in lines for one in (line.newest, line.published, line.open) if one is not None
    ]
    people = map_people(session, revisions)

    def find(revision: RecipeRevision | None) -> RevisionLine | None:
        return None if revision is None else _view_line(revision, people)

    return [
        RecipeView(
            id=line.recipe.id,
            code=line.recipe.code,
            created_at=line.recipe.created_at,
            newest=_view_line(line.newest, people),
            published=find(line.published),
            open=find(line.open),
        )
        for line in lines
    ]
