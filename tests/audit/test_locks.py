"""The locks of a database: all in place, or each open one named with what puts it back."""

from collections.abc import Iterator

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import Engine, text

from app.audit.locks import OpenLock, check_locks
from app.core.db import create_house_engine
from tests.conftest import Databases
from tests.test_locks import LOCKS

BEFORE_WORK_CARDS = "c47d5e8813f0"
BEFORE_SETTING_ASIDE = "d2c96e07a4b1"


@pytest.fixture
def engine(database_url: str) -> Iterator[Engine]:
    engine = create_house_engine(database_url)
    yield engine
    engine.dispose()


def do(engine: Engine, *statements: str) -> None:
    with engine.begin() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)


def get_only(engine: Engine) -> OpenLock:
    (found,) = check_locks(engine).open
    return found


def repair(engine: Engine, found: OpenLock) -> None:
    do(engine, *found.remedy)


def is_sqlite(engine: Engine) -> bool:
    return engine.dialect.name == "sqlite"


def drop(engine: Engine, trigger: str, table: str) -> None:
    do(engine, f"DROP TRIGGER {trigger}" + ("" if is_sqlite(engine) else f" ON {table}"))


def test_a_migrated_database_has_every_lock(engine: Engine) -> None:
    found = check_locks(engine)
    assert found.open == ()
    each = 4 if is_sqlite(engine) else 3
    assert found.count == each * len(LOCKS)


def test_a_database_that_was_migrated_in_steps_has_every_lock(
    databases: Databases, alembic_config: Config
) -> None:
    url = databases.create()
    for revision in ("8be20c4f6a11", BEFORE_WORK_CARDS, "head"):
        # Opened anew each time: SQLite then reads the order of its indexes from the file.
        engine = create_house_engine(url)
        with engine.begin() as connection:
            alembic_config.attributes["connection"] = connection
            command.upgrade(alembic_config, revision)
        engine.dispose()
    assert check_locks(engine).open == ()
    engine.dispose()
    databases.drop(url)


def test_a_database_of_an_earlier_form_is_to_be_migrated(
    databases: Databases, alembic_config: Config
) -> None:
    url = databases.create()
    engine = create_house_engine(url)
    with engine.begin() as connection:
        alembic_config.attributes["connection"] = connection
        command.upgrade(alembic_config, BEFORE_WORK_CARDS)
    drop(engine, "jobs_no_delete", "jobs")
    first, *found = check_locks(engine).open
    assert (first.trigger, "put it back" in str(first)) == ("jobs_no_delete", True)
    assert {lock.table for lock in found} >= {"job_holds", "job_sites", "job_steps", "placements"}
    assert all("Run `wickbook migrate`" in str(lock) for lock in found)
    engine.dispose()
    databases.drop(url)


def test_a_lock_that_a_later_migration_spells_anew_is_held_as_it_was_before(
    databases: Databases, alembic_config: Config
) -> None:
    url = databases.create()
    engine = create_house_engine(url)
    with engine.begin() as connection:
        alembic_config.attributes["connection"] = connection
        command.upgrade(alembic_config, BEFORE_SETTING_ASIDE)
    assert check_locks(engine).open == ()
    drop(engine, "runs_no_update", "runs")
    found = get_only(engine)
    assert (found.trigger, found.fault, "set_aside" in str(found)) == (
        "runs_no_update",
        "is missing",
        False,
    )
    engine.dispose()
    databases.drop(url)


@pytest.mark.parametrize("event", ["update", "delete", "replace", "replace_by_update", "truncate"])
@pytest.mark.parametrize("table", LOCKS)
def test_a_missing_lock_is_named_and_what_is_said_puts_it_back(
    engine: Engine, table: str, event: str
) -> None:
    is_here = ("replace" in event) if is_sqlite(engine) else event == "truncate"
    if event not in {"update", "delete"} and not is_here:
        pytest.skip("the other database has this lock")
    trigger = f"{table}_no_{event}"
    drop(engine, trigger, table)
    found = get_only(engine)
    assert (found.trigger, found.table, found.fault) == (trigger, table, "is missing")
    assert f"{trigger} on the table {table} is missing" in str(found)
    assert "put it back: CREATE" in str(found)
    repair(engine, found)
    assert check_locks(engine).open == ()


def test_a_lock_of_another_condition_is_named(engine: Engine) -> None:
    drop(engine, "jobs_no_update", "jobs")
    what = (
        "BEGIN SELECT RAISE(ABORT, 'jobs is locked for good: add a new row instead'); END"
        if is_sqlite(engine)
        else "EXECUTE FUNCTION refuse_change_of_jobs()"
    )
    do(
        engine,
        "CREATE TRIGGER jobs_no_update BEFORE UPDATE ON jobs FOR EACH ROW "
        f"WHEN (OLD.state = 'closed' AND NEW.outcome <> 'accepted') {what}",
    )
    if not is_sqlite(engine):
        do(engine, "ALTER TABLE jobs ENABLE ALWAYS TRIGGER jobs_no_update")
    found = get_only(engine)
    assert (found.trigger, found.fault) == ("jobs_no_update", "is not as it was made")
    repair(engine, found)
    assert check_locks(engine).open == ()


@pytest.mark.parametrize("how", ["DISABLE", "ENABLE", "ENABLE REPLICA"])
def test_a_lock_that_is_switched_off_is_named(engine: Engine, how: str) -> None:
    if is_sqlite(engine):
        pytest.skip("SQLite has no switch for triggers")
    do(engine, f"ALTER TABLE runs {how} TRIGGER runs_no_delete")
    found = get_only(engine)
    assert (found.trigger, found.fault) == ("runs_no_delete", "is switched off")
    assert "ENABLE ALWAYS TRIGGER runs_no_delete" in str(found)
    repair(engine, found)
    assert check_locks(engine).open == ()


def test_a_lock_whose_function_lets_everything_through_is_named(engine: Engine) -> None:
    if is_sqlite(engine):
        pytest.skip("SQLite's triggers call no function")
    do(
        engine,
        "CREATE OR REPLACE FUNCTION refuse_change_of_traces() RETURNS trigger LANGUAGE plpgsql"
        " AS $$ BEGIN RETURN NEW; END $$",
    )
    found = check_locks(engine).open
    assert [lock.trigger for lock in found] == [
        "traces_no_update",
        "traces_no_delete",
        "traces_no_truncate",
    ]
    assert {lock.fault for lock in found} == {"refuses no longer"}
    repair(engine, found[0])
    assert check_locks(engine).open == ()


def test_a_lock_that_calls_another_function_is_named(engine: Engine) -> None:
    if is_sqlite(engine):
        pytest.skip("SQLite's triggers call no function")
    drop(engine, "traces_no_update", "traces")
    do(
        engine,
        "CREATE TRIGGER traces_no_update BEFORE UPDATE ON traces FOR EACH ROW"
        " EXECUTE FUNCTION refuse_change_of_runs()",
    )
    assert get_only(engine).fault == "is not as it was made"


def test_looking_leaves_nothing_behind(engine: Engine) -> None:
    check_locks(engine)
    with engine.connect() as connection:
        ask = "SELECT name FROM sqlite_master WHERE name LIKE 'twin%'"
        if not is_sqlite(engine):
            ask = "SELECT relname FROM pg_class WHERE relname LIKE 'twin%'"
        assert connection.execute(text(ask)).all() == []
