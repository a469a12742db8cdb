"""A refusal's page leads back into the house, and nowhere else."""

import pytest

from app.web.problems import spell_way_back

HERE = "http://wickbook.plant:8000/"


def test_the_way_back_is_where_somebody_came_from() -> None:
    assert spell_way_back(f"{HERE}jobs/7?said=x", here=HERE) == "/jobs/7?said=x"
    assert spell_way_back(HERE, here=HERE) == "/"


@pytest.mark.parametrize(
    "came_from",
    [
        "",
        "http://elsewhere.plant/jobs/7",
        "http://wickbook.plant:8000.elsewhere.plant/",
        f"{HERE}/elsewhere.plant/jobs",
        f"{HERE}\\elsewhere.plant",
        f"{HERE}\t/elsewhere.plant",
        "javascript:alert(1)",
    ],
)
def test_no_way_back_leads_to_another_house(came_from: str) -> None:
    assert spell_way_back(came_from, here=HERE) == "/"
