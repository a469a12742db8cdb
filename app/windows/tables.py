"""The tables of windows and their versions; a published version is locked by a trigger."""

from datetime import datetime

from sqlalchemy import (
    CheckConstraint,
    ForeignKey,
    Index,
    LargeBinary,
    String,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.core.db import Base, Versioned
from app.recipes.rules import RevisionState


class PlantWindow(Base):
    """A window's code; all it says stands in its versions."""

    __tablename__ = "windows"
    # The number of a discarded one is never given again: the audit log still tells of it.
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(
        String(64), CheckConstraint("code <> ''", name="code_said"), unique=True
    )
    created_at: Mapped[datetime]
    created_by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))


class WindowVersion(Versioned, Base):
    """One version: the canonical JSON of its text, and who wrote, proposed and approved it."""

    __tablename__ = "window_versions"
    __table_args__ = (
        UniqueConstraint("window_id", "number"),
        Index(
            "uq_window_versions_open",
            "window_id",
            unique=True,
            sqlite_where=text("state IN ('draft', 'proposed')"),
            postgresql_where=text("state IN ('draft', 'proposed')"),
        ),
        Index(
            "uq_window_versions_published",
            "window_id",
            unique=True,
            sqlite_where=text("state = 'published'"),
            postgresql_where=text("state = 'published'"),
        ),
        CheckConstraint(
            "approved_by_id IS NULL OR"
            " (approved_by_id <> author_id AND approved_by_id <> proposed_by_id)",
            name="four_eyes",
        ),
        CheckConstraint(
            "state IN ('draft', 'proposed') OR"
            " (digest IS NOT NULL AND proposed_by_id IS NOT NULL AND approved_by_id IS NOT NULL)",
            name="published_wholly",
        ),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    window_id: Mapped[int] = mapped_column(ForeignKey("windows.id"))
    number: Mapped[int] = mapped_column(CheckConstraint("number >= 1", name="number_from_one"))
    state: Mapped[RevisionState] = mapped_column(
        CheckConstraint(
            "state IN ('draft', 'proposed', 'published', 'retired')", name="state_known"
        ),
        index=True,
    )
    title: Mapped[str] = mapped_column(String(200))
    reason: Mapped[str] = mapped_column(String(4000))
    body: Mapped[bytes] = mapped_column(LargeBinary)
    digest: Mapped[str | None] = mapped_column(String(64))
    author_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    created_at: Mapped[datetime]
    proposed_by_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id"))
    proposed_at: Mapped[datetime | None]
    approved_by_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id"))
    approved_at: Mapped[datetime | None]
    retired_by_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id"))
    retired_at: Mapped[datetime | None]
    retire_reason: Mapped[str | None] = mapped_column(String(4000))

    window: Mapped[PlantWindow] = relationship(lazy="raise_on_sql")
