"""The dozen recipes are ones that the house accepts, and each revision is a small change."""

import pytest

from app.recipes.body.forms import parse_body
from app.recipes.body.site import PasteDeposit
from app.recipes.body.stencil import compute_ratios
from app.recipes.rules import fits
from seed_demo.layouts import lay_out, list_array_sites
from seed_demo.plant import ASSEMBLIES, get_assembly
from seed_demo.recipes import Recipe, get_value, list_changes, list_recipes

RECIPES = list_recipes()


def test_there_are_a_dozen_and_they_cover_every_array_site() -> None:
    assert len(RECIPES) == 12
    assert len({recipe.code for recipe in RECIPES}) == 12
    covered = {(r.assembly_part_number, name) for r in RECIPES for name in r.designators}
    sites = {
        (assembly.part_number, site.designator)
        for assembly in ASSEMBLIES
        for site in list_array_sites(assembly.part_number)
    }
    assert covered == sites


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
def test_every_revision_is_accepted_and_fits_its_sites(recipe: Recipe) -> None:
    parts = {part.designator: part for part in lay_out(recipe.assembly_part_number)}
    for revision in recipe.revisions:
        body = parse_body(revision.body)
        for designator in recipe.designators:
            fit = fits(
                body,
                assembly_part_number=recipe.assembly_part_number,
                assembly_revision=get_assembly(recipe.assembly_part_number).revision,
                designator=designator,
                part_number=parts[designator].part_number,
            )
            assert fit.fits, fit.reason


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
def test_the_neighbour_with_a_thermocouple_is_on_the_same_side(recipe: Recipe) -> None:
    parts = {part.designator: part for part in lay_out(recipe.assembly_part_number)}
    body = parse_body(recipe.revisions[-1].body)
    neighbours = [one.designator for one in body.thermocouples if one.designator]
    assert len(neighbours) == 1
    site, neighbour = parts[recipe.designators[0]], parts[neighbours[0]]
    assert neighbour.side == site.side
    assert abs(neighbour.x_mm - site.x_mm) + abs(neighbour.y_mm - site.y_mm) < 35


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
def test_each_revision_changes_one_value_and_says_why(recipe: Recipe) -> None:
    assert len(recipe.revisions) >= 3
    pairs = zip(recipe.revisions, recipe.revisions[1:], list_changes(recipe.code), strict=False)
    for before, after, change in pairs:
        assert get_value(before.body, change.path) == change.before
        assert get_value(after.body, change.path) == change.after
        assert change.before != change.after
        assert after.reason == change.reason
        changed = [key for key in before.body if before.body[key] != after.body[key]]
        assert changed == [change.path.split(".", maxsplit=1)[0]]


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
def test_paste_leaves_every_aperture_of_the_last_revision(recipe: Recipe) -> None:
    deposit = parse_body(recipe.revisions[-1].body).deposit
    if isinstance(deposit, PasteDeposit):
        for aperture in deposit.apertures:
            ratios = compute_ratios(aperture, deposit.foil_thickness)
            assert ratios.area_ratio_holds
            assert ratios.aspect_ratio_holds


def test_the_recipes_are_the_same_every_time_and_share_no_body() -> None:
    assert list_recipes() == list_recipes()
    one, other = list_recipes()[0], list_recipes()[0]
    one.revisions[0].body["cautions"] = []
    assert other.revisions[0].body["cautions"]
