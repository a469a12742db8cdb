"""The migrations build what the tables say, on both databases, and can go back."""

import re
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import CheckConstraint, Connection, Engine, inspect, text

from app.core.db import Base, create_house_engine
from tests.conftest import PROJECT, Databases

VERSIONS = PROJECT / "migrations" / "versions"


@pytest.fixture
def empty(databases: Databases) -> Engine:
    return create_house_engine(databases.create())


def test_up_down_up_leaves_no_drift(empty: Engine, alembic_config: Config) -> None:
    with empty.begin() as connection:
        alembic_config.attributes["connection"] = connection
        command.upgrade(alembic_config, "head")
        before = list_shape(connection)
        command.downgrade(alembic_config, "base")
        assert list_shape(connection) == ["alembic_version"]
        command.upgrade(alembic_config, "head")
        assert list_shape(connection) == before
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
    empty.dispose()


def test_the_database_checks_what_the_tables_declare(empty: Engine, alembic_config: Config) -> None:
    with empty.begin() as connection:
        alembic_config.attributes["connection"] = connection
        command.upgrade(alembic_config, "head")
        declared, migrated = map_declared_checks(), map_migrated_checks(connection)
    empty.dispose()
    assert migrated.keys() == declared.keys()
    # PostgreSQL gives conditions back in a spelling of its own; SQLite as they were written.
    if empty.dialect.name == "sqlite":
        assert migrated == declared


@pytest.mark.parametrize("file", sorted(VERSIONS.glob("*.py")), ids=lambda file: file.stem)
def test_a_migration_is_named_by_its_minute_and_what_it_does(file: Path) -> None:
    assert re.fullmatch(r"\d{4}-\d{2}-\d{2}-\d{4}_[a-z]+(_[a-z]+)+", file.stem)


def list_shape(connection: Connection) -> list[str]:
    """List everything a migration can leave behind: tables, indexes, triggers, functions."""
    if connection.dialect.name == "sqlite":
        rows = connection.execute(
            text("SELECT name FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'")
        )
        return sorted(name for name in rows.scalars())
    rows = connection.execute(
        text(
            "SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace "
            "AND relkind IN ('r', 'S', 'v') "
            "UNION ALL SELECT tgname FROM pg_trigger WHERE NOT tgisinternal "
            "UNION ALL SELECT proname FROM pg_proc WHERE pronamespace = 'public'::regnamespace"
        )
    )
    return sorted(rows.scalars())


def map_declared_checks() -> dict[str, str]:
    """Return name → condition of every CHECK of the tables, beside a column or of the table."""
    return {
        str(check.name): even(str(check.sqltext))
        for table in Base.metadata.sorted_tables
        for holder in (table, *table.columns)
        for check in holder.constraints
        if isinstance(check, CheckConstraint)
    }


def map_migrated_checks(connection: Connection) -> dict[str, str]:
    """Return name → condition of every CHECK that the database knows."""
    inspector = inspect(connection)
    return {
        str(check["name"]): even(check["sqltext"])
        for table in Base.metadata.sorted_tables
        for check in inspector.get_check_constraints(table.name)
    }


def even(condition: str) -> str:
    """Return a condition with its blanks evened out: a line break says nothing."""
    return " ".join(condition.split())
