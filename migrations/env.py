"""Runs migrations on the plant's own database, or on the connection a test hands over."""

from typing import Literal

from alembic import context
from sqlalchemy import Connection, LargeBinary

import app.accounts.tables
import app.audit.tables
import app.boards.tables
import app.files.tables
import app.jobs.tables
import app.materials.tables
import app.plant.tables
import app.recipes.tables
import app.traces.tables
import app.web.once
import app.windows.tables  # noqa: F401  (loads every table into the metadata)
from app.accounts.tables import RoleSet
from app.core.db import Base, UtcDateTime, create_house_engine
from app.core.settings import read_settings


def render_item(_kind: str, item: object, _context: object) -> str | Literal[False]:
    """Spell our own column types in plain SQLAlchemy: a migration outlives its code."""
    if isinstance(item, UtcDateTime):
        return "sa.DateTime(timezone=True)"
    if isinstance(item, RoleSet):
        return "sa.String(80)"
    if isinstance(item, LargeBinary):
        return "sa.LargeBinary()"
    return False


def migrate(connection: Connection) -> None:
    """Run the chosen migrations in one transaction."""
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        # Autogenerate sees a CHECK only when asked, and still forgets those of a NEW table:
        # write them by hand; tests/test_migrations.py notices.
        autogenerate_plugins=["alembic.autogenerate.*", "alembic.ext.checkconstraint_byname"],
        render_as_batch=True,
        render_item=render_item,
    )
    with context.begin_transaction():
        context.run_migrations()


given: Connection | None = context.config.attributes.get("connection")
if given is not None:
    migrate(given)
else:
    with create_house_engine(read_settings().database_url).begin() as own:
        migrate(own)
