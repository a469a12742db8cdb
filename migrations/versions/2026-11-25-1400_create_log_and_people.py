"""Create the log and the people who write in it."""

import sqlalchemy as sa
from alembic import op

from migrations.guards import lock_rows, unlock_rows

revision = "3f1c7a90d2b4"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "audit_entries",
        sa.Column(
            "seq",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=False,
            autoincrement=False,
        ),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("leaf_hash", sa.LargeBinary(), nullable=False),
        sa.Column("root", sa.LargeBinary(), nullable=False),
        sa.Column("frontier", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor_id", sa.Integer(), nullable=True),
        sa.Column("action", sa.String(60), nullable=False),
        sa.Column("subject_kind", sa.String(40), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("board_id", sa.Integer(), nullable=True),
        sa.Column("board_number", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "length(frontier) % 32 = 0",
            name=op.f("ck_audit_entries_frontier_whole"),
        ),
        sa.CheckConstraint(
            "length(leaf_hash) = 32",
            name=op.f("ck_audit_entries_leaf_hash_whole"),
        ),
        sa.CheckConstraint(
            "length(root) = 32",
            name=op.f("ck_audit_entries_root_whole"),
        ),
        sa.CheckConstraint(
            "(board_id IS NULL) = (board_number IS NULL)",
            name=op.f("ck_audit_entries_board_and_number_together"),
        ),
        sa.CheckConstraint(
            "seq >= 1",
            name=op.f("ck_audit_entries_seq_from_one"),
        ),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_audit_entries")),
        sa.UniqueConstraint(
            "board_id", "board_number", name=op.f("uq_audit_entries_board_id_board_number")
        ),
    )
    op.create_index(op.f("ix_audit_entries_action"), "audit_entries", ["action"])
    op.create_index(op.f("ix_audit_entries_actor_id_seq"), "audit_entries", ["actor_id", "seq"])
    op.create_index(op.f("ix_audit_entries_at"), "audit_entries", ["at"])
    op.create_index(op.f("ix_audit_entries_job_id"), "audit_entries", ["job_id"])
    op.create_index(
        op.f("ix_audit_entries_subject"), "audit_entries", ["subject_kind", "subject_id"]
    )
    op.create_table(
        "kept_answers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(100), nullable=False),
        sa.Column("fingerprint", sa.String(64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("etag", sa.String(40), nullable=True),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_answers")),
        sa.UniqueConstraint("account_id", "key", name=op.f("uq_kept_answers_account_id_key")),
    )
    op.create_index(op.f("ix_kept_answers_at"), "kept_answers", ["at"])
    op.create_table(
        "name_cards",
        sa.Column("commitment", sa.String(64), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("username", sa.String(64), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("salt", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("commitment", name=op.f("pk_name_cards")),
    )
    op.create_index(op.f("ix_name_cards_account_id"), "name_cards", ["account_id"])
    op.create_table(
        "sign_in_failures",
        sa.Column("key", sa.String(64), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_sign_in_failures")),
    )
    op.create_index(op.f("ix_sign_in_failures_last_at"), "sign_in_failures", ["last_at"])
    op.create_table(
        "accounts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("username", sa.String(64), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("commitment", sa.String(64), nullable=False),
        sa.Column("roles", sa.String(80), nullable=False),
        sa.Column("password_hash", sa.String(200), nullable=False),
        sa.Column("must_change_password", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("disabled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "name <> ''",
            name=op.f("ck_accounts_name_said"),
        ),
        sa.CheckConstraint(
            "username <> ''",
            name=op.f("ck_accounts_username_said"),
        ),
        sa.ForeignKeyConstraint(
            ["commitment"], ["name_cards.commitment"], name=op.f("fk_accounts_commitment")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_accounts")),
        sa.UniqueConstraint("username", name=op.f("uq_accounts_username")),
    )
    op.create_table(
        "api_tokens",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("secret_digest", sa.String(64), nullable=False),
        sa.Column("roles", sa.String(80), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "expires_at > created_at",
            name=op.f("ck_api_tokens_expires_after_created"),
        ),
        sa.CheckConstraint(
            "name <> ''",
            name=op.f("ck_api_tokens_name_said"),
        ),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f("fk_api_tokens_account_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_tokens")),
        sa.UniqueConstraint("secret_digest", name=op.f("uq_api_tokens_secret_digest")),
    )
    op.create_index(op.f("ix_api_tokens_account_id"), "api_tokens", ["account_id"])
    op.create_table(
        "signed_in_sessions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("secret_digest", sa.String(64), nullable=False),
        sa.Column("csrf", sa.String(64), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("address", sa.String(64), nullable=False),
        sa.Column("agent", sa.String(200), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f("fk_signed_in_sessions_account_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signed_in_sessions")),
        sa.UniqueConstraint("secret_digest", name=op.f("uq_signed_in_sessions_secret_digest")),
    )
    op.create_index(op.f("ix_signed_in_sessions_account_id"), "signed_in_sessions", ["account_id"])
    op.create_table(
        "stored_files",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("content_zstd", sa.LargeBinary(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "length(sha256) = 64",
            name=op.f("ck_stored_files_sha256_whole"),
        ),
        sa.CheckConstraint(
            "size >= 0",
            name=op.f("ck_stored_files_size_not_negative"),
        ),
        sa.ForeignKeyConstraint(["by_id"], ["accounts.id"], name=op.f("fk_stored_files_by_id")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_stored_files")),
    )
    lock_rows("audit_entries")
    lock_rows("name_cards")
    lock_rows("stored_files")


def downgrade() -> None:
    unlock_rows("stored_files")
    unlock_rows("name_cards")
    unlock_rows("audit_entries")
    op.drop_table("stored_files")
    op.drop_table("signed_in_sessions")
    op.drop_table("api_tokens")
    op.drop_table("accounts")
    op.drop_table("sign_in_failures")
    op.drop_table("name_cards")
    op.drop_table("kept_answers")
    op.drop_table("audit_entries")
