"""The tables of the log; rows are only ever added, and triggers see to it."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Index, LargeBinary, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.core.db import Base, BigKey


class AuditEntry(Base):
    """One entry: its hashed bytes, its place in the tree, and columns to find it by.

    The columns after `frontier` repeat what `body` says; the verifier compares them.
    """

    __tablename__ = "audit_entries"
    audited = False
    __table_args__ = (
        UniqueConstraint("board_id", "board_number"),
        Index("ix_audit_entries_subject", "subject_kind", "subject_id"),
        Index("ix_audit_entries_actor_id_seq", "actor_id", "seq"),
        CheckConstraint("seq >= 1", name="seq_from_one"),
        CheckConstraint(
            "(board_id IS NULL) = (board_number IS NULL)", name="board_and_number_together"
        ),
    )

    seq: Mapped[int] = mapped_column(BigKey, primary_key=True, autoincrement=False)
    body: Mapped[bytes] = mapped_column(LargeBinary)
    leaf_hash: Mapped[bytes] = mapped_column(
        LargeBinary, CheckConstraint("length(leaf_hash) = 32", name="leaf_hash_whole")
    )
    root: Mapped[bytes] = mapped_column(
        LargeBinary, CheckConstraint("length(root) = 32", name="root_whole")
    )
    frontier: Mapped[bytes] = mapped_column(
        LargeBinary, CheckConstraint("length(frontier) % 32 = 0", name="frontier_whole")
    )
    at: Mapped[datetime] = mapped_column(index=True)
    actor_id: Mapped[int | None]
    action: Mapped[str] = mapped_column(String(60), index=True)
    subject_kind: Mapped[str] = mapped_column(String(40))
    subject_id: Mapped[int]
    job_id: Mapped[int | None] = mapped_column(index=True)
    board_id: Mapped[int | None]
    board_number: Mapped[int | None]


class NameCard(Base):
    """A person's names as they were at a time, with the salt that opens the log's commitment."""

    __tablename__ = "name_cards"
    audited = False

    commitment: Mapped[str] = mapped_column(String(64), primary_key=True)
    account_id: Mapped[int] = mapped_column(index=True)
    username: Mapped[str] = mapped_column(String(64))
    name: Mapped[str] = mapped_column(String(120))
    salt: Mapped[bytes] = mapped_column(LargeBinary)
    at: Mapped[datetime]
