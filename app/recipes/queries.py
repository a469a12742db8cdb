"""Reads recipes and their revisions."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, aliased, joinedload

from app.approval.rules import OPEN, RevisionState
from app.core.paging import CursorUnreadable, Paging, spell_cursor
from app.recipes.body.forms import parse_stored_body
from app.recipes.body.recipe import RecipeBody
from app.recipes.rules import Fit, RecipeUnknown, RevisionUnknown, fits
from app.recipes.tables import Recipe, RecipeRevision

_BATCH: Final = 200


@dataclass(frozen=True)
class RecipeFilter:
    """What a reader looks for; every text that is given must be found, without regard to case.

    `text` is looked for in code, title, part numbers and package. `state` is that of the open
    revision, of the published one, or retired where there is neither.
    """

    text: str = ""
    assembly: str = ""
    designator: str = ""
    state: RevisionState | None = None


@dataclass(frozen=True)
class Where:
    """Where a revision applies, read from its stored text without checking it again."""

    assembly: str
    revisions: tuple[str, ...] | None
    designators: tuple[str, ...]
    part_numbers: tuple[str, ...]
    package: str


@dataclass(frozen=True)
class RecipeLine:
    """A recipe with the revisions that say where it stands; `where` is the published one's."""

    recipe: Recipe
    newest: RecipeRevision
    published: RecipeRevision | None
    open: RecipeRevision | None
    where: Where

    @property
    def states(self) -> frozenset[RevisionState]:
        """Where the recipe stands; retired only when nothing is open or published."""
        found = {one.state for one in (self.published, self.open) if one is not None}
        return frozenset(found or {RevisionState.RETIRED})


@lru_cache(maxsize=256)
def _parse(text: bytes) -> RecipeBody:
    return parse_stored_body(text)


def get_body(revision: RecipeRevision) -> RecipeBody:
    """Return a revision's body; it is frozen, and read once for the same text."""
    return _parse(revision.body)


def get_revision(session: Session, revision_id: int) -> RecipeRevision:
    """Return a revision with its recipe; RevisionUnknown if there is none."""
    revision = session.scalar(
        select(RecipeRevision)
        .where(RecipeRevision.id == revision_id)
        .options(joinedload(RecipeRevision.recipe))
    )
    if revision is None:
        raise RevisionUnknown(f"There is no recipe revision number {revision_id}.", field="id")
    return revision


def get_recipe(session: Session, recipe_id: int) -> Recipe:
    """Return a recipe; RecipeUnknown if there is none."""
    recipe = session.get(Recipe, recipe_id)
    if recipe is None:
        raise RecipeUnknown(f"There is no recipe number {recipe_id}.", field="recipe_id")
    return recipe


def find_recipe(session: Session, code: str) -> Recipe | None:
    """Return the recipe with this code, or None."""
    return session.scalar(select(Recipe).where(Recipe.code == code))


def get_recipe_line(session: Session, recipe_id: int) -> RecipeLine:
    """Return one recipe as the list shows it; RecipeUnknown if there is none."""
    return next(_build_lines(session, [get_recipe(session, recipe_id)]))


def list_recipes(
    session: Session, *, wanted: RecipeFilter, paging: Paging
) -> tuple[list[RecipeLine], str | None]:
    """Return a piece of the recipes by code, and the cursor of the next piece.

    CursorUnreadable when the recipe that the cursor stands after is gone.
    """
    found: list[RecipeLine] = []
    for line in _iterate_lines(session, _find_code_after(session, paging)):
        if _is_wanted(line, wanted):
            if len(found) == paging.limit:
                return found, spell_cursor(found[-1].recipe.id)
            found.append(line)
    return found, None


def list_fitting(
    session: Session,
    *,
    assembly_part_number: str,
    assembly_revision: str,
    designator: str,
    part_number: str | None,
) -> list[tuple[RecipeRevision, Fit]]:
    """Return every published revision and whether it may be used at a site, those that fit first.

    What a `Fit` says is defined in the rules of recipes.
    """
    published = session.scalars(
        select(RecipeRevision)
        .join(RecipeRevision.recipe)
        .where(RecipeRevision.state == RevisionState.PUBLISHED)
        .options(joinedload(RecipeRevision.recipe))
        .order_by(Recipe.code)
    ).all()
    judged = [
        (
            revision,
            fits(
                get_body(revision),
                assembly_part_number=assembly_part_number,
                assembly_revision=assembly_revision,
                designator=designator,
                part_number=part_number,
            ),
        )
        for revision in published
    ]
    return sorted(judged, key=lambda pair: not pair[1].fits)


def _find_code_after(session: Session, paging: Paging) -> str | None:
    if paging.after_id is None:
        return None
    if paging.after_id >= 2**31:
        raise CursorUnreadable("This cursor was not given by Wickbook; begin again without one.")
    recipe = session.get(Recipe, paging.after_id)
    if recipe is None:
        raise CursorUnreadable(
            "The recipe this cursor stands after is gone; begin again without one.", field="cursor"
        )
    return recipe.code


def _iterate_lines(session: Session, after: str | None) -> Iterator[RecipeLine]:
    while True:
        rows = select(Recipe).order_by(Recipe.code).limit(_BATCH)
        recipes = session.scalars(rows if after is None else rows.where(Recipe.code > after)).all()
        yield from _build_lines(session, recipes)
        if len(recipes) < _BATCH:
            return
        after = recipes[-1].code


def _build_lines(session: Session, recipes: Sequence[Recipe]) -> Iterator[RecipeLine]:
    revisions = _group_revisions(session, recipes)
    for recipe in recipes:
        own = revisions.get(recipe.id, [])
        if own:
            published = _find_in(own, {RevisionState.PUBLISHED})
            yield RecipeLine(
                recipe=recipe,
                newest=own[-1],
                published=published,
                open=_find_in(own, OPEN),
                where=_read_where((published or own[-1]).body),
            )


def _group_revisions(
    session: Session, recipes: Sequence[Recipe]
) -> Mapping[int, list[RecipeRevision]]:
    """Return recipe id → its revisions that are newest, open or published, oldest first."""
    other = aliased(RecipeRevision)
    newest = (
        select(func.max(other.number))
        .where(other.recipe_id == RecipeRevision.recipe_id)
        .scalar_subquery()
    )
    rows = session.scalars(
        select(RecipeRevision)
        .where(RecipeRevision.recipe_id.in_([recipe.id for recipe in recipes]))
        .where(or_(RecipeRevision.state != RevisionState.RETIRED, RecipeRevision.number == newest))
        .options(joinedload(RecipeRevision.recipe))
        .order_by(RecipeRevision.number)
    ).all()
    grouped: dict[int, list[RecipeRevision]] = {}
    for row in rows:
        grouped.setdefault(row.recipe_id, []).append(row)
    return grouped


def _find_in(
    revisions: Iterable[RecipeRevision], states: Iterable[RevisionState]
) -> RecipeRevision | None:
    wanted = frozenset(states)
    return next((one for one in revisions if one.state in wanted), None)


def _read_where(body: bytes) -> Where:
    where = json.loads(body)["applies_to"]
    revisions = where["revisions"]
    return Where(
        assembly=where["assembly_part_number"],
        revisions=None if revisions is None else tuple(revisions),
        designators=tuple(where["designators"]),
        part_numbers=tuple(where["part_numbers"]),
        package=where["package_family"],
    )


def _is_wanted(line: RecipeLine, wanted: RecipeFilter) -> bool:
    where = line.where
    titles = (one.title for one in (line.published, line.newest) if one is not None)
    haystack = (line.recipe.code, *titles, *where.part_numbers, where.package)
    return (
        (wanted.state is None or wanted.state in line.states)
        and _holds(haystack, wanted.text)
        and _holds((where.assembly,), wanted.assembly)
        and (
            not wanted.designator
            or wanted.designator.casefold() in {name.casefold() for name in where.designators}
        )
    )


def _holds(haystack: Iterable[str], needle: str) -> bool:
    return needle.casefold() in "\n".join(haystack).casefold()
