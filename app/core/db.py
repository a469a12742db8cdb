"""The base of every table, the UTC column type, the engine and the sessions."""

from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any, ClassVar, Final

from sqlalchemy import (
    BigInteger,
    Connection,
    DateTime,
    Dialect,
    Engine,
    Enum,
    Integer,
    MetaData,
    create_engine,
    event,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column, sessionmaker
from sqlalchemy.types import TypeDecorator

WRITES: Final = "wickbook_writes"

# A key that SQLite takes for its rowid and PostgreSQL for a 64-bit number.
BigKey = BigInteger().with_variant(Integer(), "sqlite")


class UtcDateTime(TypeDecorator[datetime]):
    """Stores moments in UTC, refuses naive ones, and hands aware ones back."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        """Turn an aware moment into UTC; a naive one is a programming error."""
        if value is not None and value.tzinfo is None:
            raise ValueError(f"naive datetime {value!r} for a UTC column")
        return value and value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        """Put back the offset that SQLite does not keep."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """The parent of every table; constraint names are ruled so migrations can drop them."""

    # A change of an audited table cannot be committed without an audit entry.
    audited: ClassVar[bool] = True

    metadata = MetaData(
        naming_convention={
            "pk": "pk_%(table_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
        }
    )
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        datetime: UtcDateTime,
        StrEnum: Enum(
            StrEnum,
            native_enum=False,
            length=24,
            values_callable=lambda kind: [member.value for member in kind],
        ),
    }


class Versioned:
    """Adds the version that makes a second, stale edit of a row fail instead of win."""

    version: Mapped[int] = mapped_column()
    __mapper_args__: ClassVar[dict[str, Any]] = {"version_id_col": version}


@dataclass(frozen=True)
class Sessions:
    """Where sessions come from: one maker for requests that read, one for those that write."""

    engine: Engine
    read: sessionmaker[Session]
    write: sessionmaker[Session]


def create_house_engine(database_url: str) -> Engine:
    """Create the engine of either database, with the guarantees the house relies on."""
    if database_url.startswith("sqlite"):
        Path(database_url.removeprefix("sqlite:///")).parent.mkdir(parents=True, exist_ok=True)
        engine = create_engine(database_url, pool_size=48, max_overflow=16)
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    return create_engine(database_url, pool_size=16, max_overflow=32, pool_pre_ping=True)


def open_sessions(engine: Engine) -> Sessions:
    """Return the makers of sessions; a writer on SQLite takes the write lock when it begins."""
    return Sessions(
        engine,
        read=sessionmaker(engine, autoflush=False),
        write=sessionmaker(engine.execution_options(**{WRITES: True})),
    )


def _prepare_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None
    for pragma in (
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "busy_timeout = 15000",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    # A reader that turned writer half-way could be refused; a writer says so from the start.
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
