"""How the invented benches measure."""

from datetime import UTC, date, datetime, timedelta

import pytest

from app.plant.measuring import list_lapsed
from app.recipes.body.forms import parse_body
from seed_demo.chains import make_chain
from seed_demo.plant import BENCHES
from seed_demo.recipes import list_recipes
from seed_demo.working_time import ZONE

FIRST_DAY = date(2026, 3, 2)


@pytest.mark.parametrize("bench", [bench.code for bench in BENCHES])
def test_every_calibrated_channel_of_a_bench_is_one_that_recipes_plan(bench: str) -> None:
    bodies = (parse_body(recipe.revisions[-1].body) for recipe in list_recipes())
    planned = {one.channel for body in bodies for one in body.thermocouples}
    chain = make_chain(bench, first_day=FIRST_DAY)
    assert chain.corrections
    assert {one.channel for one in chain.corrections} <= planned


def test_one_certificate_ends_within_the_half_year_so_that_a_caution_is_seen() -> None:
    end = datetime(2026, 3, 2, tzinfo=UTC) + timedelta(days=250)
    lapsed = [
        bench.code
        for bench in BENCHES
        if list_lapsed(make_chain(bench.code, first_day=FIRST_DAY), now=end, zone=ZONE)
    ]
    assert lapsed == ["GREBE"]
