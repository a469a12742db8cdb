"""Windows and their versions, locked once they are proposed."""

import sqlalchemy as sa
from alembic import op

from migrations.guards import lock_rows, spell_same, unlock_rows

revision = "d2c96e07a4b1"
down_revision = "8a3f60d1b7e2"

# A proposed or published version may move to its next state; its text may not move at all.
_TEXT = ("id", "window_id", "number", "title", "reason", "body", "author_id", "created_at")
_SIGNED = ("digest", "proposed_by_id", "proposed_at", "approved_by_id", "approved_at")
VERSION_MAY_MOVE = (
    f"{spell_same(*_TEXT)}"
    " AND ((OLD.state = 'proposed' AND NEW.state IN ('draft', 'published'))"
    f" OR (OLD.state = 'published' AND NEW.state = 'retired' AND {spell_same(*_SIGNED)}))"
)


def upgrade() -> None:
    op.create_table(
        "windows",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "code <> ''",
            name=op.f("ck_windows_code_said"),
        ),
        sa.ForeignKeyConstraint(
            ["created_by_id"], ["accounts.id"], name=op.f("fk_windows_created_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_windows")),
        sa.UniqueConstraint("code", name=op.f("uq_windows_code")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "window_versions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("window_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(24), nullable=False),
        sa.Column("title", sa.String(200), nullable=False),
        sa.Column("reason", sa.String(4000), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("digest", sa.String(64), nullable=True),
        sa.Column("author_id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("proposed_by_id", sa.Integer(), nullable=True),
        sa.Column("proposed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("approved_by_id", sa.Integer(), nullable=True),
        sa.Column("approved_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("retired_by_id", sa.Integer(), nullable=True),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("retire_reason", sa.String(4000), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "number >= 1",
            name=op.f("ck_window_versions_number_from_one"),
        ),
        sa.CheckConstraint(
            "state IN ('draft', 'proposed', 'published', 'retired')",
            name=op.f("ck_window_versions_state_known"),
        ),
        sa.CheckConstraint(
            "approved_by_id IS NULL OR"
            " (approved_by_id <> author_id AND approved_by_id <> proposed_by_id)",
            name=op.f("ck_window_versions_four_eyes"),
        ),
        sa.CheckConstraint(
            "state IN ('draft', 'proposed') OR"
            " (digest IS NOT NULL AND proposed_by_id IS NOT NULL AND approved_by_id IS NOT NULL)",
            name=op.f("ck_window_versions_published_wholly"),
        ),
        sa.ForeignKeyConstraint(
            ["approved_by_id"], ["accounts.id"], name=op.f("fk_window_versions_approved_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["author_id"], ["accounts.id"], name=op.f("fk_window_versions_author_id")
        ),
        sa.ForeignKeyConstraint(
            ["proposed_by_id"], ["accounts.id"], name=op.f("fk_window_versions_proposed_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["window_id"], ["windows.id"], name=op.f("fk_window_versions_window_id")
        ),
        sa.ForeignKeyConstraint(
            ["retired_by_id"], ["accounts.id"], name=op.f("fk_window_versions_retired_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_window_versions")),
        sa.UniqueConstraint(
            "window_id", "number", name=op.f("uq_window_versions_window_id_number")
        ),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_window_versions_state"), "window_versions", ["state"])
    op.create_index(
        op.f("uq_window_versions_open"),
        "window_versions",
        ["window_id"],
        unique=True,
        sqlite_where=sa.text("state IN ('draft', 'proposed')"),
        postgresql_where=sa.text("state IN ('draft', 'proposed')"),
    )
    op.create_index(
        op.f("uq_window_versions_published"),
        "window_versions",
        ["window_id"],
        unique=True,
        sqlite_where=sa.text("state = 'published'"),
        postgresql_where=sa.text("state = 'published'"),
    )
    lock_rows("window_versions", when="OLD.state <> 'draft'", unlocked_update=VERSION_MAY_MOVE)


def downgrade() -> None:
    unlock_rows("window_versions")
    op.drop_table("window_versions")
    op.drop_table("windows")
