"""Each finding of the check before heat, alone."""

from dataclasses import replace

import pytest

from app.approval.rules import RevisionState
from app.jobs.clearance import JobCase, PartLimits, Signal, SiteCase, find_all, is_clear
from app.recipes.body.recipe import RecipeBody
from app.recipes.rules import Fit
from tests.jobs.conftest import make_body

PART = PartLimits("ZQ-4410", 260.0, 260.0, 3)
SITE = SiteCase(
    designator="U3",
    recipe_code="LIM-U3 rev 1",
    body=make_body(),
    state=RevisionState.PUBLISHED,
    fit=Fit(fits=True),
    part=PART,
    heats=0,
    reworks=0,
)
CASE = JobCase(
    is_held=False,
    hold_reason="",
    is_scrapped=False,
    bench_code="B1",
    bench_has_nitrogen=False,
    reworks_allowed=2,
    sites=(SITE,),
)


def with_site(**changes: object) -> JobCase:
    return replace(CASE, sites=(replace(SITE, **changes),))  # type: ignore[arg-type]


def with_nitrogen() -> RecipeBody:
    given = make_body().model_dump(mode="json")
    given["zones"][3]["nitrogen"] = True
    return RecipeBody.model_validate(given)


def test_a_job_with_nothing_against_it_is_clear_and_says_what_was_checked() -> None:
    findings = find_all(CASE)
    assert is_clear(findings)
    assert {finding.code for finding in findings} == {"free", "recipe", "body", "heat-count"}
    assert all(finding.source for finding in findings)


@pytest.mark.parametrize(
    ("case", "code", "signal"),
    [
        (replace(CASE, is_held=True, hold_reason="Wait"), "hold", Signal.STOP),
        (replace(CASE, is_scrapped=True), "scrapped", Signal.STOP),
        (with_site(fit=Fit(fits=False, reason="it is for U5")), "fit", Signal.STOP),
        (with_site(state=RevisionState.RETIRED), "retired", Signal.CAUTION),
        (with_site(state=RevisionState.DRAFT), "unpublished", Signal.STOP),
        (with_site(body=with_nitrogen()), "nitrogen", Signal.STOP),
        (with_site(part=None), "part-unknown", Signal.CAUTION),
        (
            with_site(part=replace(PART, classification_c=None, max_body_c=None)),
            "body-limit-unknown",
            Signal.CAUTION,
        ),
        (with_site(part=replace(PART, max_body_c=245.0)), "body-limit", Signal.STOP),
        (with_site(heats=3), "heats", Signal.CAUTION),
        (with_site(reworks=2), "reworks", Signal.CAUTION),
    ],
)
def test_each_finding_comes_with_its_signal(case: JobCase, code: str, signal: Signal) -> None:
    found = [finding for finding in find_all(case) if finding.code == code]
    assert [finding.signal for finding in found] == [signal]
    assert is_clear(find_all(case)) is (signal is not Signal.STOP)


def test_what_stops_comes_first_and_names_its_numbers() -> None:
    findings = find_all(with_site(part=replace(PART, max_body_c=245.0)))
    assert findings[0].code == "body-limit"
    assert "250 °C" in findings[0].sentence
    assert "245 °C" in findings[0].sentence
    assert findings[0].way_out


def test_a_bench_with_nitrogen_answers_a_recipe_that_asks_for_it() -> None:
    case = replace(with_site(body=with_nitrogen()), bench_has_nitrogen=True)
    assert is_clear(find_all(case))


def test_one_heat_below_the_limit_is_go_and_at_it_is_caution() -> None:
    codes = [{f.code for f in find_all(with_site(heats=heats))} for heats in (2, 3)]
    assert "heats" not in codes[0]
    assert "heats" in codes[1]
