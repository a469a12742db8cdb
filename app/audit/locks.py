"""Holds the locks of a database against those that the migrations make, and names open ones."""

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Final

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, inspect, text

from migrations.guards import (
    POSTGRESQL_EVENTS,
    RowLock,
    list_noted_locks,
    spell_enabling,
    spell_function,
    spell_function_body,
    spell_postgresql_trigger,
)

PROJECT: Final = Path(__file__).parents[2]
MIGRATE: Final = "wickbook migrate"
_ALWAYS: Final = "A"
_guard = Lock()

_SQLITE_TRIGGERS: Final = text(
    "SELECT name, tbl_name AS held, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY rowid"
)
_POSTGRESQL_TRIGGERS: Final = text(
    "SELECT t.tgname AS name, t.tgenabled::text AS enabled, p.prosrc AS body,"
    " pg_get_triggerdef(t.oid) AS sql"
    " FROM pg_trigger AS t JOIN pg_class AS c ON c.oid = t.tgrelid"
    " JOIN pg_proc AS p ON p.oid = t.tgfoid"
    " WHERE NOT t.tgisinternal AND pg_table_is_visible(c.oid)"
)
_POSTGRESQL_FUNCTIONS: Final = text(
    "SELECT proname FROM pg_proc WHERE pg_function_is_visible(oid) AND proname LIKE 'refuse%'"
)
_MAY_MAKE_TWINS: Final = text("SELECT has_database_privilege(current_database(), 'TEMPORARY')")
_WHERE: Final = re.compile(r" ON \S+ FOR EACH ")


@dataclass(frozen=True)
class OpenLock:
    """A lock that does not hold: its trigger and table, how it fails, and what puts it right."""

    trigger: str
    table: str
    fault: str
    remedy: tuple[str, ...]

    def __str__(self) -> str:
        """Spell it whole, for people."""
        if self.remedy == (MIGRATE,):
            return (
                f"{self.trigger} on the table {self.table} {self.fault}: the database is of an "
                f"earlier form. Run `{MIGRATE}`"
            )
        return (
            f"{self.trigger} on the table {self.table} {self.fault}: its rows could be changed. "
            f"Find out who opened it and since when, and put it back: {'; '.join(self.remedy)};"
        )


@dataclass(frozen=True)
class LockCheck:
    """How many locks there should be, and those that do not hold."""

    count: int
    open: tuple[OpenLock, ...]


@dataclass(frozen=True)
class _Stand:
    """The locks that there are after a revision, and SQLite's triggers: name → table and text."""

    locks: Mapping[str, RowLock]
    triggers: Mapping[str, tuple[str, str]]


@dataclass(frozen=True)
class _Made:
    """What the migrations make: after all of them, and after each."""

    newest: _Stand
    after: Mapping[str, _Stand]

    def expect(self, version: str | None) -> tuple[_Stand, frozenset[str]]:
        """Return the locks that a database must have, and the tables that still wait for theirs.

        A database whose migrations are not all run must have the locks of its own revision, as
        they were spelt there; those that only come later are among what is returned too.
        """
        if version is not None and version not in self.after:
            return self.newest, frozenset()
        now = self.after[version] if version else _Stand({}, {})
        waiting = frozenset(self.newest.locks.keys() - now.locks.keys())
        return (
            _Stand(
                {**now.locks, **{t: one for t, one in self.newest.locks.items() if t in waiting}},
                {
                    **now.triggers,
                    **{n: one for n, one in self.newest.triggers.items() if one[0] in waiting},
                },
            ),
            waiting,
        )


def check_locks(engine: Engine) -> LockCheck:
    """Hold every lock of the database against what the migrations make; nothing is changed.

    An error of the database is raised as it comes.
    """
    made = _get_made()
    with engine.connect() as connection:
        expected, waiting = made.expect(_find_version(connection))
        if connection.dialect.name == "postgresql":
            count = len(expected.locks) * len(POSTGRESQL_EVENTS)
            found = tuple(_list_open_on_postgresql(connection, expected, waiting))
        else:
            count = len(expected.triggers)
            found = tuple(_list_open_on_sqlite(connection, expected, waiting))
        connection.rollback()
    return LockCheck(count, found)


def _get_made() -> _Made:
    with _guard:
        return _read_made()


@cache
def _read_made() -> _Made:
    """Run the migrations on a database in memory, and see what locks they leave there."""
    engine = create_engine("sqlite://")
    config = Config(toml_file=PROJECT / "pyproject.toml")
    scripts = ScriptDirectory.from_config(config).walk_revisions()
    revisions = tuple(script.revision for script in scripts)[::-1]
    after: dict[str, _Stand] = {}
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        for revision in revisions:
            command.upgrade(config, revision)
            after[revision] = _Stand(
                {lock.table: lock for lock in list_noted_locks(connection)},
                {row.name: (row.held, row.sql) for row in connection.execute(_SQLITE_TRIGGERS)},
            )
    engine.dispose()
    return _Made(after[revisions[-1]], after)


def _find_version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    version: str | None = connection.scalar(text("SELECT version_num FROM alembic_version"))
    return version


def _list_open_on_sqlite(
    connection: Connection, expected: _Stand, waiting: Collection[str]
) -> Iterator[OpenLock]:
    held = {row.name: (row.held, row.sql) for row in connection.execute(_SQLITE_TRIGGERS)}
    for name, (table, sql) in expected.triggers.items():
        if name not in held:
            yield OpenLock(name, table, "is missing", (MIGRATE,) if table in waiting else (sql,))
        elif held[name] != (table, sql):
            yield OpenLock(name, table, "is not as it was made", (f"DROP TRIGGER {name}", sql))


def _list_open_on_postgresql(
    connection: Connection, expected: _Stand, waiting: Collection[str]
) -> Iterator[OpenLock]:
    held = {row.name: row for row in connection.execute(_POSTGRESQL_TRIGGERS)}
    functions = set(connection.execute(_POSTGRESQL_FUNCTIONS).scalars())
    may_make_twins = connection.execute(_MAY_MAKE_TWINS).scalar_one()
    for lock in expected.locks.values():
        table, function = lock.table, f"refuse_change_of_{lock.table}"
        replace = spell_function(table).replace("CREATE", "CREATE OR REPLACE", 1)
        as_made: Mapping[str, str] = {}
        if may_make_twins and function in functions and inspect(connection).has_table(table):
            as_made = _map_twin(connection, lock)
        for event in POSTGRESQL_EVENTS:
            name = f"{table}_no_{event}"
            again = (replace, *spell_postgresql_trigger(lock, event))
            row = held.get(name)
            if row is None:
                yield OpenLock(name, table, "is missing", (MIGRATE,) if table in waiting else again)
            elif function not in functions or _even(row.sql) != as_made.get(name, _even(row.sql)):
                anew = (f"DROP TRIGGER {name} ON {table}", *again)
                yield OpenLock(name, table, "is not as it was made", anew)
            elif row.body.strip() != spell_function_body(table):
                yield OpenLock(name, table, "refuses no longer", (replace,))
            elif row.enabled != _ALWAYS:
                yield OpenLock(name, table, "is switched off", (spell_enabling(table, event),))


def _map_twin(connection: Connection, lock: RowLock) -> dict[str, str]:
    """Return trigger → definition as PostgreSQL spells it, from a passing table of the same form.

    It gives conditions back in a spelling of its own, which nothing else can foretell.
    """
    twin = f"twin_of_{lock.table}"
    passing = connection.begin_nested()
    connection.execute(text(f"CREATE TEMPORARY TABLE {twin} (LIKE {lock.table})"))
    for event in POSTGRESQL_EVENTS:
        for statement in spell_postgresql_trigger(lock, event, on=twin):
            connection.execute(text(statement))
    rows = connection.execute(
        text(
            "SELECT tgname AS name, pg_get_triggerdef(oid) AS sql FROM pg_trigger"
            " WHERE tgrelid = CAST(:twin AS regclass)"
        ),
        {"twin": twin},
    ).all()
    passing.rollback()
    return {row.name: _even(row.sql) for row in rows}


def _even(definition: str) -> str:
    """Return a trigger's definition without the table it stands on."""
    return _WHERE.sub(" FOR EACH ", definition)
