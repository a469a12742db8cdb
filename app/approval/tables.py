"""The columns and checks that every approved text has; triggers lock what is published."""

from datetime import datetime
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    ForeignKey,
    Index,
    LargeBinary,
    String,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from app.approval.rules import RevisionState
from app.core.db import Base, Versioned


class CodedText(Base):
    """What revisions are of: a code; all it says stands in its revisions."""

    __abstract__ = True

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(
        String(64), CheckConstraint("code <> ''", name="code_said"), unique=True
    )
    created_at: Mapped[datetime]
    created_by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))


class TextRevision(Versioned, Base):
    """One revision: its text as canonical JSON, and who wrote, proposed, approved and retired it.

    A subclass adds what it is of, as `whole_id` and `whole` too.
    """

    __abstract__ = True

    id: Mapped[int] = mapped_column(primary_key=True)
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

    whole_id: Any
    whole: Any


def guard_revisions(table: str, whole_id: str) -> tuple[Any, ...]:
    """Return the checks of a table of revisions: one open, one published, four eyes.

    Numbers of discarded rows are never given again: the audit log still tells of them.
    """
    return (
        UniqueConstraint(whole_id, "number"),
        *(
            Index(
                f"uq_{table}_{name}",
                whole_id,
                unique=True,
                sqlite_where=text(where),
                postgresql_where=text(where),
            )
            for name, where in (
                ("open", "state IN ('draft', 'proposed')"),
                ("published", "state = 'published'"),
            )
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
