"""What is locked stays as it is: every way that SQL has to change a row, on every locked table."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

import pytest
from sqlalchemy import Connection, Engine, inspect, text
from sqlalchemy.exc import DBAPIError

from app.core.db import Base, create_house_engine
from tests.conftest import Databases

REFUSED: Final = "locked for good"


@dataclass(frozen=True)
class Lock:
    """Which rows of a table are locked, and what would make a copy of one an unlocked row."""

    rows: str = "1 = 1"
    unlocked: Mapping[str, str] = field(default_factory=dict)


LOCKS: Final[Mapping[str, Lock]] = {
    "audit_entries": Lock(),
    "name_cards": Lock(),
    "stored_files": Lock(),
    "traces": Lock(),
    "step_entries": Lock(),
    "job_holds": Lock(),
    "job_sites": Lock(),
    "job_steps": Lock(),
    "placements": Lock(),
    "recipe_revisions": Lock(
        "state <> 'draft'", {"state": "'draft'", "number": "number + 1000", "recipe_id": "-1"}
    ),
    "window_versions": Lock(
        "state <> 'draft'", {"state": "'draft'", "number": "number + 1000", "window_id": "-1"}
    ),
    "jobs": Lock("state = 'closed'", {"state": "'open'", "outcome": "NULL"}),
    "runs": Lock(
        "state <> 'recording'", {"state": "'recording'", "ended_at": "NULL", "trace_id": "NULL"}
    ),
}
# No row that this index knows is locked: it is about runs that still go on.
OF_UNLOCKED_ROWS: Final = {"uq_runs_recording"}
EVERY_LOCK: Final = pytest.mark.parametrize("table", LOCKS)


@pytest.fixture(scope="module")
def engine(databases: Databases, with_demo: str) -> Iterator[Engine]:
    """Return a database with the demo's first jobs and what is proposed."""
    url = databases.create(with_demo)
    engine = create_house_engine(url)
    with engine.begin() as connection:
        for table in ("recipe_revisions", "window_versions"):
            connection.execute(
                text(
                    f"UPDATE {table} SET state = 'proposed', proposed_by_id = author_id,"
                    " proposed_at = created_at WHERE state = 'draft'"
                )
            )
        connection.execute(
            text(
                "INSERT INTO job_holds (id, version, job_id, reason, placed_by_id, placed_at,"
                " lifted_by_id, lifted_at, lift_reason)"
                " SELECT 1, 2, id, 'Nozzle', 1, opened_at, 2, opened_at, 'Came' FROM jobs"
                " WHERE id = 1 UNION ALL"
                " SELECT 2, 1, id, 'Vacuum', 1, opened_at, NULL, NULL, NULL FROM jobs WHERE id = 1"
            )
        )
    yield engine
    engine.dispose()
    databases.drop(url)


@pytest.fixture
def connection(engine: Engine) -> Iterator[Connection]:
    """Return a connection whose changes are never kept."""
    with engine.connect() as connection:
        yield connection
        connection.rollback()


def key_of(table: str) -> str:
    return next(iter(Base.metadata.tables[table].primary_key)).name


def columns_of(table: str) -> list[str]:
    return [f'"{column.name}"' for column in Base.metadata.tables[table].columns]


def read_all(connection: Connection, table: str) -> list[tuple[object, ...]]:
    # As text: PostgreSQL does not compare the JSON that SQLAlchemy has not read.
    rows = connection.execute(text(f'SELECT * FROM "{table}" ORDER BY 1'))
    return [tuple(map(str, row)) for row in rows]


def expect_refusal(connection: Connection, table: str, statement: str) -> None:
    """Try a statement; it must be refused by the lock itself, and leave every row as it was."""
    before = read_all(connection, table)
    held = connection.begin_nested()
    with pytest.raises(DBAPIError, match=REFUSED):
        connection.execute(text(statement))
    held.rollback()
    assert read_all(connection, table) == before


def get_locked_key(connection: Connection, table: str, more: str = "1 = 1") -> str:
    """Return the key of a locked row, spelt for SQL."""
    key = connection.execute(
        text(f"SELECT {key_of(table)} FROM {table} WHERE ({LOCKS[table].rows}) AND ({more})")
    ).scalars()
    found = key.first()
    assert found is not None, f"{table} has no locked row where {more}"
    return f"'{found}'" if isinstance(found, str) else str(found)


def spell_copy(table: str, changed: Mapping[str, str], *, key: str, verb: str) -> str:
    """Spell an INSERT of a copy of one row with some columns changed."""
    plain = {column.strip('"'): column for column in columns_of(table)}
    values = ", ".join(changed.get(name, column) for name, column in plain.items())
    return (
        f"{verb} INTO {table} ({', '.join(plain.values())}) "
        f"SELECT {values} FROM {table} WHERE {key_of(table)} = {key}"
    )


def list_unique_keys(connection: Connection, table: str) -> dict[str, tuple[list[str], str]]:
    """List the unique indexes of a table: name → columns and condition."""
    found: dict[str, tuple[list[str], str]] = {}
    inspector = inspect(connection)
    for one in inspector.get_unique_constraints(table):
        found[str(one["name"])] = (list(one["column_names"]), "1 = 1")
    for index in inspector.get_indexes(table):
        if index["unique"] and not index.get("duplicates_constraint"):
            only = index.get("dialect_options", {}).get("sqlite_where", "1 = 1")
            found[str(index["name"])] = ([str(c) for c in index["column_names"]], str(only))
    return found


def test_these_are_all_the_locked_tables(connection: Connection) -> None:
    if connection.dialect.name == "sqlite":
        ask = "SELECT DISTINCT tbl_name FROM sqlite_master WHERE type = 'trigger'"
    else:
        ask = "SELECT DISTINCT tgrelid::regclass::text FROM pg_trigger WHERE NOT tgisinternal"
    assert set(connection.execute(text(ask)).scalars()) == set(LOCKS)


@EVERY_LOCK
def test_no_column_of_a_locked_row_can_be_updated(connection: Connection, table: str) -> None:
    key = get_locked_key(connection, table)
    for column in columns_of(table):
        statement = f"UPDATE {table} SET {column} = {column} WHERE {key_of(table)} = {key}"
        expect_refusal(connection, table, statement)


LIFTED: Final = "lifted_by_id = 2, lifted_at = placed_at, lift_reason = 'Found', version = 2"
HOLD: Final = "UPDATE job_holds SET {changes} WHERE id = {hold}"
PLACEMENT: Final = "UPDATE placements SET {changes} WHERE id = 1"


def test_a_hold_is_lifted_once_and_whole(connection: Connection) -> None:
    for part in LIFTED.split(", "):
        expect_refusal(connection, "job_holds", HOLD.format(changes=part, hold=2))
        expect_refusal(connection, "job_holds", HOLD.format(changes=part, hold=1))
    for other in ("reason = 'x'", "placed_by_id = 2", "job_id = 2", "placed_at = NULL"):
        changes = f"{LIFTED}, {other}"
        expect_refusal(connection, "job_holds", HOLD.format(changes=changes, hold=2))
    lifting = text(HOLD.format(changes=LIFTED, hold=2))
    assert connection.execute(lifting).rowcount == 1
    expect_refusal(connection, "job_holds", HOLD.format(changes=LIFTED, hold=2))
    back = "lifted_by_id = NULL, lifted_at = NULL, lift_reason = NULL"
    expect_refusal(connection, "job_holds", HOLD.format(changes=back, hold=2))


def test_of_a_placement_only_the_known_part_may_be_said_anew(connection: Connection) -> None:
    for part in ("NULL", "1", "2"):
        said = PLACEMENT.format(changes=f"part_id = {part}")
        assert connection.execute(text(said)).rowcount == 1
    for other in (
        "designator = 'X9'", "part_number = 'x'", "value = 'x'", "package = 'x'",
        "x_mm = NULL", "y_mm = 1", "rotation_deg = NULL", "rotation_deg = 1", "side = NULL",
        "assembly_id = 2", "id = 1000",
    ):  # fmt: skip
        changes = f"part_id = 1, {other}"
        expect_refusal(connection, "placements", PLACEMENT.format(changes=changes))


@EVERY_LOCK
def test_a_locked_row_cannot_be_deleted(connection: Connection, table: str) -> None:
    key = get_locked_key(connection, table)
    expect_refusal(connection, table, f"DELETE FROM {table} WHERE {key_of(table)} = {key}")
    expect_refusal(connection, table, f"DELETE FROM {table}")


@EVERY_LOCK
def test_an_insert_that_turns_into_an_update_is_refused(connection: Connection, table: str) -> None:
    key = get_locked_key(connection, table)
    copy = spell_copy(table, {}, key=key, verb="INSERT")
    name = key_of(table)
    last = columns_of(table)[-1]
    update = f"{copy} ON CONFLICT ({name}) DO UPDATE SET {last} = excluded.{last}"
    expect_refusal(connection, table, update)


@EVERY_LOCK
def test_a_table_with_locked_rows_cannot_be_emptied(connection: Connection, table: str) -> None:
    if connection.dialect.name == "sqlite":
        pytest.skip("SQLite has no TRUNCATE")
    expect_refusal(connection, table, f"TRUNCATE {table} CASCADE")


@EVERY_LOCK
def test_a_session_that_calls_itself_a_replica_is_refused(
    connection: Connection, table: str
) -> None:
    if connection.dialect.name == "sqlite":
        pytest.skip("SQLite has no replicas")
    connection.execute(text("SET LOCAL session_replication_role = replica"))
    key = get_locked_key(connection, table)
    expect_refusal(connection, table, f"DELETE FROM {table} WHERE {key_of(table)} = {key}")
    expect_refusal(connection, table, f"TRUNCATE {table} CASCADE")


@EVERY_LOCK
@pytest.mark.parametrize("verb", ["INSERT OR REPLACE", "REPLACE", "INSERT OR IGNORE"])
def test_a_locked_row_cannot_be_replaced(connection: Connection, table: str, verb: str) -> None:
    skip_unless_sqlite(connection)
    copy = spell_copy(table, {}, key=get_locked_key(connection, table), verb=verb)
    expect_refusal(connection, table, copy)


@EVERY_LOCK
def test_no_unique_key_of_a_locked_row_is_a_way_to_replace_it(
    connection: Connection, table: str
) -> None:
    skip_unless_sqlite(connection)
    keys = list_unique_keys(connection, table)
    in_keys = {column for columns, _ in keys.values() for column in columns}
    for name, (columns, only) in keys.items():
        if name in OF_UNLOCKED_ROWS:
            continue
        known = " AND ".join([f"({only})", *(f"{column} IS NOT NULL" for column in columns)])
        key = get_locked_key(connection, table, known)
        others = (in_keys - set(columns)) | {key_of(table)}
        moved = {
            column: f"{column} + 1000000"
            for column in others
            if column not in only and column not in columns
        }
        expect_refusal(
            connection, table, spell_copy(table, moved, key=key, verb="INSERT OR REPLACE")
        )


@EVERY_LOCK
def test_the_hidden_row_number_is_no_way_to_replace_a_locked_row(
    connection: Connection, table: str
) -> None:
    skip_unless_sqlite(connection)
    key = get_locked_key(connection, table)
    names = [column for column in columns_of(table) if column not in {'"id"', '"seq"'}]
    free = {'"commitment"': "hex(randomblob(32))", '"sha256"': "hex(randomblob(32))"}
    values = ", ".join(free.get(name, name) for name in names)
    expect_refusal(
        connection,
        table,
        f"INSERT OR REPLACE INTO {table} (rowid, {', '.join(names)}) "
        f"SELECT rowid, {values} FROM {table} WHERE {key_of(table)} = {key}",
    )


@pytest.mark.parametrize("table", [name for name, lock in LOCKS.items() if lock.unlocked])
def test_an_unlocked_row_cannot_take_the_place_of_a_locked_one(
    connection: Connection, table: str
) -> None:
    skip_unless_sqlite(connection)
    connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
    key = get_locked_key(connection, table)
    moved = {**LOCKS[table].unlocked, "id": "id + 1000000"}
    connection.execute(text(spell_copy(table, moved, key=key, verb="INSERT")))
    expect_refusal(
        connection, table, f"UPDATE OR REPLACE {table} SET id = {key} WHERE id = {key} + 1000000"
    )


@EVERY_LOCK
def test_without_the_lock_the_same_replacement_goes_through(
    connection: Connection, table: str
) -> None:
    skip_unless_sqlite(connection)
    connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
    key = get_locked_key(connection, table)
    copy = spell_copy(table, {}, key=key, verb="INSERT OR REPLACE")
    connection.execute(text(f"DROP TRIGGER {table}_no_replace"))
    assert connection.execute(text(copy)).rowcount == 1


@EVERY_LOCK
def test_a_row_of_its_own_is_let_in(connection: Connection, table: str) -> None:
    skip_unless_sqlite(connection)
    connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
    key = get_locked_key(connection, table)
    moved = {
        column: f"{column} + 1000000"
        for columns, _ in list_unique_keys(connection, table).values()
        for column in columns
    }
    fresh = "hex(randomblob(32))" if key.startswith("'") else f"{key_of(table)} + 1000000"
    moved[key_of(table)] = fresh
    copy = spell_copy(table, moved, key=key, verb="INSERT OR REPLACE")
    assert connection.execute(text(copy)).rowcount == 1


def skip_unless_sqlite(connection: Connection) -> None:
    if connection.dialect.name != "sqlite":
        pytest.skip("only SQLite has REPLACE")
