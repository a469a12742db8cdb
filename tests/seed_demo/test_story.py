"""Half a year that could have happened: in order, in working hours, by people who may."""

from collections import Counter, defaultdict
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from seed_demo.plant import BENCHES, list_people
from seed_demo.recipes import list_recipes
from seed_demo.runs import simulate_planned, write_run_file
from seed_demo.story import SPAN_DAYS, plan_jobs
from seed_demo.story_jobs import STEP_KINDS
from seed_demo.story_shapes import PlannedJob
from seed_demo.story_stock import FAMOUS_SERIAL, list_boards, list_lots, list_revisions
from seed_demo.thermal_model import Variant
from seed_demo.working_time import is_working

# A summer evening, a Monday before work, a Sunday night, New Year's noon.
ENDS = [
    datetime(2026, 7, 15, 19, 30, tzinfo=UTC),
    datetime(2026, 11, 23, 4, 0, tzinfo=UTC),
    datetime(2027, 3, 28, 23, 0, tzinfo=UTC),
    datetime(2028, 1, 1, 12, 0, tzinfo=UTC),
]
END = ENDS[0]
JOBS = plan_jobs(END)
RECIPES = {recipe.code: recipe for recipe in list_recipes()}


def list_moments(job: PlannedJob) -> list[datetime]:
    """Every moment of a job in the order in which things must have happened."""
    moments = [job.opened_at, *(step.signed_at for step in job.steps)]
    moments += [run.started_at for step in job.steps for run in step.runs]
    moments += [hold.placed_at for hold in job.holds]
    moments += [hold.lifted_at for hold in job.holds if hold.lifted_at]
    moments += [correction.at for correction in job.corrections]
    return moments + [moment for moment in (job.cleared_at, job.closed_at) if moment]


@pytest.mark.parametrize("end", ENDS)
def test_everything_happens_in_working_hours_of_the_half_year(end: datetime) -> None:
    for job in plan_jobs(end):
        for moment in list_moments(job):
            assert is_working(moment)
            assert end - timedelta(days=SPAN_DAYS + 1) < moment < end


@pytest.mark.parametrize("end", ENDS)
def test_there_are_120_jobs_on_40_boards(end: datetime) -> None:
    jobs = plan_jobs(end)
    turns = Counter(job.serial for job in jobs)
    assert len(jobs) == 120
    assert set(turns) == {board.serial for board in list_boards()}
    assert len(turns) == 40
    assert turns.most_common(1) == [(FAMOUS_SERIAL, 8)]
    assert [job.opened_at for job in jobs] == sorted(job.opened_at for job in jobs)


@pytest.mark.parametrize("end", ENDS)
def test_a_board_is_in_one_job_at_a_time_and_in_none_after_its_scrapping(end: datetime) -> None:
    jobs_of: dict[str, list[PlannedJob]] = defaultdict(list)
    for job in plan_jobs(end):
        jobs_of[job.serial].append(job)
    for jobs in jobs_of.values():
        for before, after in pairwise(jobs):
            assert before.closed_at is not None
            assert before.closed_at < after.opened_at
            assert before.outcome != "scrapped"


@pytest.mark.parametrize("end", ENDS)
def test_a_bench_and_a_person_do_one_job_at_a_time(end: datetime) -> None:
    for name in ("bench", "operator"):
        jobs_of: dict[str, list[PlannedJob]] = defaultdict(list)
        for job in plan_jobs(end):
            jobs_of[getattr(job, name)].append(job)
        for jobs in jobs_of.values():
            for before, after in pairwise(jobs):
                assert max(list_moments(before)) < after.opened_at


@pytest.mark.parametrize("end", ENDS)
def test_each_job_follows_a_revision_that_was_published_then(end: datetime) -> None:
    life = {(one.recipe_code, one.number): one for one in list_revisions(end)}
    for job in plan_jobs(end):
        revision = life[job.recipe_code, job.recipe_revision]
        assert revision.published_at is not None
        assert revision.published_at < job.opened_at
        assert revision.retired_at is None or revision.retired_at > job.opened_at
        recipe = RECIPES[job.recipe_code]
        assert recipe.assembly_part_number == job.assembly_part_number
        assert set(job.designators) <= set(recipe.designators)


@pytest.mark.parametrize("end", ENDS)
def test_revisions_come_one_after_the_other_and_are_seen_by_four_eyes(end: datetime) -> None:
    revisions = sorted(list_revisions(end), key=lambda one: (one.recipe_code, one.number))
    assert len(revisions) == sum(len(recipe.revisions) for recipe in RECIPES.values())
    for one in revisions:
        assert one.author != one.approver
        moments = [one.drafted_at, one.proposed_at, one.published_at, one.retired_at]
        told = [moment for moment in moments if moment is not None]
        assert told == sorted(told)
        assert all(is_working(moment) and moment < end for moment in told)
    for before, after in pairwise(revisions):
        if before.recipe_code == after.recipe_code:
            assert before.published_at is not None
            assert before.published_at < after.drafted_at
            assert before.retired_at == after.published_at
    drafts = [one.recipe_code for one in revisions if one.published_at is None]
    assert drafts == [code for code, recipe in RECIPES.items() if recipe.ends_in_draft]


def test_every_outcome_and_every_kind_of_run_occurs() -> None:
    assert Counter(job.outcome for job in JOBS) == {
        "accepted": 92, "rejected": 11, "scrapped": 7, "cancelled": 4, None: 6,
    }  # fmt: skip
    runs = [run for job in JOBS for step in job.steps for run in step.runs]
    assert {run.variant for run in runs} == set(Variant)
    assert len({run.seed for run in runs}) == len(runs)
    assert len(runs) > 200
    assert sum(bool(job.corrections) for job in JOBS) == 10
    assert sum(bool(job.holds) for job in JOBS) >= 15
    assert any(hold.lifted_at is None for job in JOBS for hold in job.holds)
    assert any(len(job.designators) > 1 for job in JOBS)


def test_a_closed_job_has_all_its_steps_done_or_skipped_with_a_reason() -> None:
    for job in JOBS:
        kinds = [(step.designator, step.kind) for step in job.steps]
        whole = [(site, kind) for site in job.designators for kind in STEP_KINDS]
        if job.outcome == "cancelled":
            assert kinds == []
        elif job.outcome is None:
            assert kinds == whole[: len(kinds)]
        else:
            assert kinds == whole
        for step in job.steps:
            if step.skipped_because is not None:
                assert step.skipped_because
                assert not step.runs
                assert not step.lots
            elif step.kind in {"remove", "reflow"}:
                assert step.runs
            assert (step.inspection is not None) == (step.kind == "inspect")


def test_steps_are_signed_in_order_and_after_their_runs() -> None:
    for job in JOBS:
        signed = [job.opened_at, *(step.signed_at for step in job.steps)]
        assert all(before < after for before, after in pairwise(signed))
        for (before, after), step in zip(pairwise(signed), job.steps, strict=True):
            for run in step.runs:
                assert before < run.started_at < after - timedelta(minutes=6, seconds=15)


def test_rejected_boards_show_why_and_come_again_for_the_same_site() -> None:
    for place, job in enumerate(JOBS):
        if job.outcome != "rejected":
            continue
        found = [step.inspection for step in job.steps if step.inspection]
        is_bad = [not one.electrical_passed or (one.void_pct or 0) > 30 for one in found]
        assert any(is_bad)
        later = [other for other in JOBS[place + 1 :] if other.serial == job.serial]
        if later:
            assert later[0].recipe_code == job.recipe_code
            assert later[0].designators == job.designators


def test_people_do_what_their_roles_allow() -> None:
    operators = {person.username for person in list_people("operator")}
    engineers = {person.username for person in list_people("engineer")}
    for job in JOBS:
        assert job.operator in operators
        assert job.closed_by in operators | engineers | {None}
        for hold in job.holds:
            assert hold.lifted_by is None or hold.lifted_by in engineers
            assert hold.lifted_by != hold.placed_by


def test_lots_were_in_the_house_and_not_expired() -> None:
    lots = {lot.code: lot for lot in list_lots(END)}
    assert len(lots) == len(list_lots(END))
    for job in JOBS:
        for step in job.steps:
            for code in step.lots:
                lot, day = lots[code], step.signed_at.date()
                assert lot.received_on < day
                assert lot.expires_on is None or day < lot.expires_on


def test_a_corrected_step_says_something_else_than_its_correction() -> None:
    for job in JOBS:
        for correction in job.corrections:
            step = job.steps[correction.step_index]
            assert (step.values, step.lots) != (correction.values, correction.lots)
            assert step.signed_at < correction.at


def test_nitrogen_recipes_are_run_where_there_is_nitrogen() -> None:
    with_nitrogen = {bench.code for bench in BENCHES if bench.has_nitrogen}
    for job in JOBS:
        assert job.assembly_part_number != "OSSAREL-310" or job.bench in with_nitrogen


def test_the_half_year_is_the_same_every_time() -> None:
    assert plan_jobs(END) == JOBS


def test_every_normal_run_of_the_story_reaches_the_window() -> None:
    for job in JOBS:
        recipe = RECIPES[job.recipe_code]
        for step in job.steps:
            for run in step.runs:
                if run.variant is Variant.NORMAL:
                    trace = simulate_planned(run, recipe=recipe, revision=job.recipe_revision)
                    assert 230 < np.nanmax(trace.get_channel("joint_centre")) < 245


def test_a_run_file_is_the_same_every_time() -> None:
    job = next(job for job in JOBS if job.steps and job.steps[0].runs)
    run, recipe = job.steps[0].runs[0], RECIPES[job.recipe_code]
    one = write_run_file(run, recipe=recipe, revision=job.recipe_revision)
    assert one == write_run_file(run, recipe=recipe, revision=job.recipe_revision)
    assert one.text.count("\n") > 600
    assert one.name == f"run-{run.started_at:%Y%m%d-%H%M%S}.csv"


def test_an_end_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="offset"):
        plan_jobs(END.replace(tzinfo=None))
