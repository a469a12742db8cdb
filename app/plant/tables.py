"""The tables of benches and of how their loggers' files are read."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.core.db import Base, Versioned


class Bench(Versioned, Base):
    """A place where boards are heated; a retired one stays named in history."""

    __tablename__ = "benches"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(
        String(64), CheckConstraint("code <> ''", name="code_said"), unique=True
    )
    title: Mapped[str] = mapped_column(String(200))
    has_nitrogen: Mapped[bool]
    # A MeasuringChain as JSON; NULL where nobody has described it.
    measuring_chain: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    created_at: Mapped[datetime]
    retired_at: Mapped[datetime | None]


class BenchReading(Versioned, Base):
    """How files with these headers are read at this bench: which column is which channel."""

    __tablename__ = "bench_readings"
    __table_args__ = (UniqueConstraint("bench_id", "headers_digest"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    bench_id: Mapped[int] = mapped_column(ForeignKey("benches.id"))
    headers_digest: Mapped[str] = mapped_column(String(64))
    choices: Mapped[dict[str, Any]] = mapped_column(JSON)
    channel_map: Mapped[dict[str, Any]] = mapped_column(JSON)
    by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    at: Mapped[datetime]
