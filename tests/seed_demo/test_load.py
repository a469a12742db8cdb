"""The demo, loaded through the services: a true log in time order, whole or not there at all."""

import json
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.accounts.passwords.hashing import get_hasher
from app.accounts.permissions import Role
from app.accounts.tables import Account
from app.approval.rules import RevisionState
from app.audit.queries import count_entries, iterate_entries
from app.audit.service import install_log
from app.audit.tables import AuditEntry
from app.audit.verifier import verify_entries
from app.boards.tables import Board, Placement
from app.core.db import Base, Sessions, create_house_engine, open_sessions
from app.core.settings import Settings
from app.jobs.rules import RunState
from app.jobs.tables import Job, Run, StepEntry
from app.plant.tables import BenchReading
from app.recipes.body.recipe import RecipeBody
from app.recipes.rules import digest_of
from app.recipes.tables import RecipeRevision
from app.traces.tables import Trace
from seed_demo.layouts import lay_out
from seed_demo.load import InUse, load_demo
from seed_demo.load_acts import DemoAccount
from seed_demo.plant import ASSEMBLIES, PEOPLE
from seed_demo.recipes import list_recipes
from seed_demo.story import plan_jobs
from seed_demo.story_shapes import PlannedJob
from seed_demo.story_stock import list_revisions
from seed_demo.thermal_model import Variant
from tests.conftest import Databases

END = datetime(2026, 7, 15, 19, 30, tzinfo=UTC)
ALL_JOBS = plan_jobs(END)
LEAST_INSIDE = 0.85
MOST_TOO_CLOSE = 0.03


def list_planned_runs(job: PlannedJob) -> list[Variant]:
    return [run.variant for step in job.steps for run in step.runs]


def list_traits(job: PlannedJob) -> set[str]:
    """List what a job shows: its kinds of run, its outcome, holds, corrections and sites."""
    traits = {f"run {variant}" for variant in list_planned_runs(job)} | {f"ends {job.outcome}"}
    traits |= {f"lifted {hold.lifted_at is not None}" for hold in job.holds}
    for one in job.corrections:
        wrong = job.steps[one.step_index]
        traits.add(f"wrong lots {wrong.lots != one.lots}")
    return traits | {f"sites {len(job.designators)}"}


def pick_jobs() -> tuple[PlannedJob, ...]:
    """Pick every job that shows something that no earlier one showed."""
    seen: set[str] = set()
    picked = []
    for job in ALL_JOBS:
        if not list_traits(job) <= seen:
            picked.append(job)
            seen |= list_traits(job)
    return tuple(picked)


JOBS = pick_jobs()


class Interrupted(Exception):
    """Somebody pressed Ctrl-C."""


@pytest.fixture(scope="module")
def empty(databases: Databases, alembic_config: Config) -> Iterator[str]:
    """Return a migrated database without anybody; copy it, never write to it."""
    url = databases.create()
    engine = create_house_engine(url)
    with engine.begin() as connection:
        alembic_config.attributes["connection"] = connection
        command.upgrade(alembic_config, "head")
    if url.startswith("sqlite"):
        with engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    yield url
    databases.drop(url)


def open_house(url: str) -> tuple[Sessions, Settings]:
    sessions = open_sessions(create_house_engine(url))
    install_log(sessions)
    return sessions, Settings(
        database_url=url, plant_zone="Europe/Vienna", argon2_memory_kib=64, argon2_passes=1
    )


@pytest.fixture(scope="module")
def loaded(databases: Databases, empty: str) -> Iterator[tuple[Sessions, tuple[DemoAccount, ...]]]:
    """Return a database with the demo's first jobs, and the accounts that were printed."""
    url = databases.create(empty)
    sessions, settings = open_house(url)
    accounts = load_demo(sessions, settings, end=END, jobs=JOBS)
    yield sessions, accounts
    sessions.engine.dispose()
    databases.drop(url)


@pytest.fixture
def reading(loaded: tuple[Sessions, tuple[DemoAccount, ...]]) -> Iterator[Session]:
    with loaded[0].read() as session:
        yield session


def count_rows(session: Session) -> dict[str, int]:
    """Count the rows of every table."""
    return {
        name: session.scalar(select(func.count()).select_from(table)) or 0
        for name, table in Base.metadata.tables.items()
    }


def test_the_log_verifies_from_its_first_entry_to_its_last(reading: Session) -> None:
    verdict = verify_entries(iterate_entries(reading))
    assert verdict.is_whole
    assert verdict.size == count_entries(reading) > 300


def test_the_log_is_in_the_order_of_time(reading: Session) -> None:
    moments = reading.scalars(select(AuditEntry.at).order_by(AuditEntry.seq)).all()
    assert all(before <= after for before, after in pairwise(moments))
    assert moments[-1] < END


def test_only_the_administrator_came_from_the_terminal(reading: Session) -> None:
    entries = reading.scalars(select(AuditEntry).order_by(AuditEntry.seq)).all()
    nobodys = [entry for entry in entries if entry.actor_id is None]
    assert [entry.action for entry in nobodys] == ["accounts.add"]
    assert entries[0].seq == nobodys[0].seq


def test_everybody_has_an_account_whose_printed_password_opens_it(
    loaded: tuple[Sessions, tuple[DemoAccount, ...]], reading: Session
) -> None:
    printed = {one.username: one.password for one in loaded[1]}
    hasher = get_hasher(Settings(argon2_memory_kib=64, argon2_passes=1))
    rows = reading.scalars(select(Account)).all()
    assert {row.username for row in rows} == set(printed) == {one.username for one in PEOPLE}
    assert all(hasher.verify(printed[row.username], row.password_hash)[0] for row in rows)
    assert not any(row.must_change_password for row in rows)
    roles = {row.username: row.roles for row in rows}
    assert all(roles[one.username] == {Role(role) for role in one.roles} for one in PEOPLE)


def test_every_designator_of_the_layouts_is_there_and_linked_to_its_part(reading: Session) -> None:
    rows = reading.scalars(select(Placement)).all()
    assert len(rows) == sum(len(lay_out(one.part_number)) for one in ASSEMBLIES)
    assert all(row.part_id is not None and row.side is not None for row in rows)


def test_the_jobs_and_their_boards_are_the_storys(reading: Session) -> None:
    jobs = reading.scalars(select(Job).order_by(Job.id)).all()
    assert [row.reference for row in jobs] == [job.reference for job in JOBS]
    assert [row.outcome and str(row.outcome) for row in jobs] == [job.outcome for job in JOBS]
    serials = set(reading.scalars(select(Board.serial)).all())
    assert serials == {job.serial for job in JOBS}


def test_every_line_and_correction_of_the_story_is_written(reading: Session) -> None:
    count = reading.scalar(select(func.count(StepEntry.id)))
    assert count == sum(len(job.steps) + len(job.corrections) for job in JOBS)


def test_runs_end_as_they_went(reading: Session) -> None:
    """Verdicts follow the planned variants: normal inside, cool and hot outside, open unsaid.

    A few normal ones may be too close to call: one bench's calibration leaves that much.
    """
    variants = [variant for job in JOBS for variant in list_planned_runs(job)]
    rows = reading.scalars(select(Run)).all()
    assert len(rows) == len(variants)
    wanted = Counter(_VERDICTS[variant] for variant in variants)
    found = Counter(row.verdict for row in rows)
    too_close = found.pop("too close to call", 0)
    assert too_close <= MOST_TOO_CLOSE * len(rows)
    assert found + Counter({"inside": too_close}) == wanted
    assert all((row.state is RunState.ABORTED) == (row.verdict is None) for row in rows)
    assert set(variants) == set(Variant)


def test_most_complete_runs_of_the_half_year_are_inside() -> None:
    wanted = Counter(_VERDICTS[one] for job in ALL_JOBS for one in list_planned_runs(job))
    over = wanted.total() - wanted[None]
    assert wanted["inside"] - MOST_TOO_CLOSE * over >= LEAST_INSIDE * over


_VERDICTS = {
    Variant.NORMAL: "inside",
    Variant.COOL: "outside",
    Variant.HOT: "outside",
    Variant.WARM_NEIGHBOUR: "outside",
    Variant.OPEN_SENSOR: "cannot say",
    Variant.ABORTED: None,
}


def test_a_bench_remembers_each_logger_from_its_first_file_on(reading: Session) -> None:
    used = {(job.bench, run.dialect) for job in JOBS for step in job.steps for run in step.runs}
    assert reading.scalar(select(func.count(BenchReading.id))) == len(used)


def test_traces_take_at_most_three_fifths_of_a_byte_a_sample(reading: Session) -> None:
    traces = reading.execute(select(Trace.samples, Trace.rows, Trace.channels)).all()
    samples = sum(row.rows * len(row.channels) for row in traces)
    assert sum(len(row.samples) for row in traces) / samples <= 0.6


def test_published_recipes_carry_the_digests_of_their_texts(reading: Session) -> None:
    rows = reading.scalars(select(RecipeRevision).options(joinedload(RecipeRevision.recipe))).all()
    kept = {(row.recipe.code, row.number): row for row in rows}
    planned = {(one.recipe_code, one.number): one for one in list_revisions(END)}
    assert set(kept) == set(planned)
    for recipe in list_recipes():
        for revision in recipe.revisions:
            row = kept[recipe.code, revision.number]
            digest = digest_of(RecipeBody.model_validate(revision.body))
            plan = planned[recipe.code, revision.number]
            if plan.published_at is None:
                assert row.state is RevisionState.DRAFT
                assert digest == digest_of(RecipeBody.model_validate(json.loads(row.body)))
            else:
                assert row.digest == digest
                assert row.author_id != row.approved_by_id


def test_a_second_loading_gives_the_same_recipes_and_traces(
    databases: Databases, empty: str, reading: Session
) -> None:
    url = databases.create(empty)
    sessions, settings = open_house(url)
    load_demo(sessions, settings, end=END, jobs=JOBS[:2])
    digests = select(RecipeRevision.id, RecipeRevision.digest).order_by(RecipeRevision.id)
    samples = select(Trace.samples_sha256).order_by(Trace.id)
    with sessions.read() as session:
        again = session.scalars(samples).all()
        assert again
        assert session.execute(digests).all() == reading.execute(digests).all()
        assert list(again) == list(reading.scalars(samples).all())[: len(again)]
    sessions.engine.dispose()
    databases.drop(url)


def test_a_loading_that_is_interrupted_leaves_nothing_and_can_begin_anew(
    databases: Databases, empty: str
) -> None:
    url = databases.create(empty)
    sessions, settings = open_house(url)
    with sessions.read() as session:
        before = count_rows(session)
    heard: list[int] = []

    def interrupt(done: int, total: int) -> None:
        heard.append(total)
        if done > total / 2:
            raise Interrupted

    with pytest.raises(Interrupted):
        load_demo(sessions, settings, end=END, jobs=JOBS[:1], tell=interrupt)
    with sessions.read() as session:
        assert count_rows(session) == before
    load_demo(sessions, settings, end=END, jobs=JOBS[:1])
    with sessions.read() as session:
        assert verify_entries(iterate_entries(session)).is_whole
        assert session.scalar(select(func.count(Job.id))) == 1
    sessions.engine.dispose()
    databases.drop(url)


def test_a_database_with_accounts_keeps_its_data_and_takes_no_demo(
    sessions: Sessions, settings: Settings
) -> None:
    with sessions.read() as session:
        before = count_rows(session)
    with pytest.raises(InUse, match="holds 5 accounts already"):
        load_demo(sessions, settings, end=END, jobs=())
    with sessions.read() as session:
        assert count_rows(session) == before
