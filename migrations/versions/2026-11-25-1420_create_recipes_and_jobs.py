"""Create recipes and jobs."""

import sqlalchemy as sa
from alembic import op

from migrations.guards import lock_rows, unlock_rows

revision = "c47d5e8813f0"
down_revision = "8be20c4f6a11"

# A proposed or published revision may move to its next state; its text may not move at all.
REVISION_MAY_MOVE = (
    "OLD.id = NEW.id AND OLD.body = NEW.body AND OLD.title = NEW.title AND OLD.number = NEW.number"
    " AND OLD.recipe_id = NEW.recipe_id AND OLD.author_id = NEW.author_id"
    " AND OLD.created_at = NEW.created_at AND OLD.reason = NEW.reason"
    " AND ((OLD.state = 'proposed' AND NEW.state IN ('draft', 'published'))"
    " OR (OLD.state = 'published' AND NEW.state = 'retired'"
    " AND OLD.digest = NEW.digest AND OLD.proposed_by_id = NEW.proposed_by_id"
    " AND NEW.proposed_at IS NOT NULL AND OLD.proposed_at = NEW.proposed_at"
    " AND OLD.approved_by_id = NEW.approved_by_id"
    " AND NEW.approved_at IS NOT NULL AND OLD.approved_at = NEW.approved_at))"
)


def upgrade() -> None:
    op.create_table(
        "recipes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "code <> ''",
            name=op.f("ck_recipes_code_said"),
        ),
        sa.ForeignKeyConstraint(
            ["created_by_id"], ["accounts.id"], name=op.f("fk_recipes_created_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recipes")),
        sa.UniqueConstraint("code", name=op.f("uq_recipes_code")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "recipe_revisions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recipe_id", sa.Integer(), nullable=False),
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
            name=op.f("ck_recipe_revisions_number_from_one"),
        ),
        sa.CheckConstraint(
            "state IN ('draft', 'proposed', 'published', 'retired')",
            name=op.f("ck_recipe_revisions_state_known"),
        ),
        sa.CheckConstraint(
            "approved_by_id IS NULL OR"
            " (approved_by_id <> author_id AND approved_by_id <> proposed_by_id)",
            name=op.f("ck_recipe_revisions_four_eyes"),
        ),
        sa.CheckConstraint(
            "state IN ('draft', 'proposed') OR"
            " (digest IS NOT NULL AND proposed_by_id IS NOT NULL AND approved_by_id IS NOT NULL)",
            name=op.f("ck_recipe_revisions_published_wholly"),
        ),
        sa.ForeignKeyConstraint(
            ["approved_by_id"], ["accounts.id"], name=op.f("fk_recipe_revisions_approved_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["author_id"], ["accounts.id"], name=op.f("fk_recipe_revisions_author_id")
        ),
        sa.ForeignKeyConstraint(
            ["proposed_by_id"], ["accounts.id"], name=op.f("fk_recipe_revisions_proposed_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["recipe_id"], ["recipes.id"], name=op.f("fk_recipe_revisions_recipe_id")
        ),
        sa.ForeignKeyConstraint(
            ["retired_by_id"], ["accounts.id"], name=op.f("fk_recipe_revisions_retired_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recipe_revisions")),
        sa.UniqueConstraint(
            "recipe_id", "number", name=op.f("uq_recipe_revisions_recipe_id_number")
        ),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_recipe_revisions_state"), "recipe_revisions", ["state"])
    op.create_index(
        op.f("uq_recipe_revisions_open"),
        "recipe_revisions",
        ["recipe_id"],
        unique=True,
        sqlite_where=sa.text("state IN ('draft', 'proposed')"),
        postgresql_where=sa.text("state IN ('draft', 'proposed')"),
    )
    op.create_index(
        op.f("uq_recipe_revisions_published"),
        "recipe_revisions",
        ["recipe_id"],
        unique=True,
        sqlite_where=sa.text("state = 'published'"),
        postgresql_where=sa.text("state = 'published'"),
    )
    op.create_table(
        "jobs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("board_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(4000), nullable=False),
        sa.Column("reference", sa.String(200), nullable=False),
        sa.Column("state", sa.String(24), nullable=False),
        sa.Column("outcome", sa.String(24), nullable=True),
        sa.Column("opened_by_id", sa.Integer(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("bench_id", sa.Integer(), nullable=True),
        sa.Column("clearance", sa.JSON(), nullable=True),
        sa.Column("closed_by_id", sa.Integer(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_remark", sa.String(4000), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "outcome IN ('accepted', 'rejected', 'scrapped', 'cancelled')",
            name=op.f("ck_jobs_outcome_known"),
        ),
        sa.CheckConstraint(
            "state IN ('open', 'cleared', 'in work', 'closed')",
            name=op.f("ck_jobs_state_known"),
        ),
        sa.CheckConstraint(
            "(state = 'closed') = (outcome IS NOT NULL)",
            name=op.f("ck_jobs_outcome_when_closed"),
        ),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_jobs_bench_id")),
        sa.ForeignKeyConstraint(["board_id"], ["boards.id"], name=op.f("fk_jobs_board_id")),
        sa.ForeignKeyConstraint(
            ["closed_by_id"], ["accounts.id"], name=op.f("fk_jobs_closed_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["opened_by_id"], ["accounts.id"], name=op.f("fk_jobs_opened_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_jobs")),
    )
    op.create_index(op.f("ix_jobs_board_id"), "jobs", ["board_id"])
    op.create_index(op.f("ix_jobs_state"), "jobs", ["state"])
    op.create_table(
        "job_holds",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(4000), nullable=False),
        sa.Column("placed_by_id", sa.Integer(), nullable=False),
        sa.Column("placed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("lifted_by_id", sa.Integer(), nullable=True),
        sa.Column("lifted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("lift_reason", sa.String(4000), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_job_holds_job_id")),
        sa.ForeignKeyConstraint(
            ["lifted_by_id"], ["accounts.id"], name=op.f("fk_job_holds_lifted_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["placed_by_id"], ["accounts.id"], name=op.f("fk_job_holds_placed_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_holds")),
    )
    op.create_index(op.f("ix_job_holds_job_id"), "job_holds", ["job_id"])
    op.create_index(
        op.f("uq_job_holds_open"),
        "job_holds",
        ["job_id"],
        unique=True,
        sqlite_where=sa.text("lifted_at IS NULL"),
        postgresql_where=sa.text("lifted_at IS NULL"),
    )
    op.create_table(
        "job_sites",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("recipe_revision_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_job_sites_job_id")),
        sa.ForeignKeyConstraint(
            ["recipe_revision_id"],
            ["recipe_revisions.id"],
            name=op.f("fk_job_sites_recipe_revision_id"),
        ),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_job_sites_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_sites")),
        sa.UniqueConstraint("job_id", "site_id", name=op.f("uq_job_sites_job_id_site_id")),
    )
    op.create_index(op.f("ix_job_sites_recipe_revision_id"), "job_sites", ["recipe_revision_id"])
    op.create_index(op.f("ix_job_sites_site_id"), "job_sites", ["site_id"])
    op.create_table(
        "job_steps",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_site_id", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(24), nullable=False),
        sa.CheckConstraint(
            "kind IN ('remove', 'dress', 'deposit', 'place', 'reflow', 'clean', 'inspect')",
            name=op.f("ck_job_steps_kind_known"),
        ),
        sa.ForeignKeyConstraint(
            ["job_site_id"], ["job_sites.id"], name=op.f("fk_job_steps_job_site_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_steps")),
        sa.UniqueConstraint(
            "job_site_id", "ordinal", name=op.f("uq_job_steps_job_site_id_ordinal")
        ),
    )
    op.create_table(
        "runs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_site_id", sa.Integer(), nullable=False),
        sa.Column("step_id", sa.Integer(), nullable=False),
        sa.Column("recipe_revision_id", sa.Integer(), nullable=False),
        sa.Column("bench_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(24), nullable=False),
        sa.Column("trace_id", sa.Integer(), nullable=True),
        sa.Column("file_sha256", sa.String(64), nullable=True),
        sa.Column("file_name", sa.String(120), nullable=True),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("clearance", sa.JSON(), nullable=False),
        sa.Column("figures", sa.JSON(), nullable=True),
        sa.Column("verdict", sa.String(24), nullable=True),
        sa.Column("window_use_pct", sa.Double(), nullable=True),
        sa.Column("abort_reason", sa.String(4000), nullable=True),
        sa.Column("remark", sa.String(4000), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "state IN ('recording', 'complete', 'aborted')",
            name=op.f("ck_runs_state_known"),
        ),
        sa.CheckConstraint(
            "state <> 'complete' OR trace_id IS NOT NULL",
            name=op.f("ck_runs_complete_with_trace"),
        ),
        sa.CheckConstraint(
            "(state = 'recording') = (ended_at IS NULL)",
            name=op.f("ck_runs_ended_when_over"),
        ),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_runs_bench_id")),
        sa.ForeignKeyConstraint(["by_id"], ["accounts.id"], name=op.f("fk_runs_by_id")),
        sa.ForeignKeyConstraint(
            ["file_sha256"], ["stored_files.sha256"], name=op.f("fk_runs_file_sha256")
        ),
        sa.ForeignKeyConstraint(
            ["job_site_id"], ["job_sites.id"], name=op.f("fk_runs_job_site_id")
        ),
        sa.ForeignKeyConstraint(
            ["recipe_revision_id"], ["recipe_revisions.id"], name=op.f("fk_runs_recipe_revision_id")
        ),
        sa.ForeignKeyConstraint(["step_id"], ["job_steps.id"], name=op.f("fk_runs_step_id")),
        sa.ForeignKeyConstraint(["trace_id"], ["traces.id"], name=op.f("fk_runs_trace_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_runs")),
        sa.UniqueConstraint("trace_id", name=op.f("uq_runs_trace_id")),
    )
    op.create_index(op.f("ix_runs_bench_id"), "runs", ["bench_id"])
    op.create_index(op.f("ix_runs_job_site_id"), "runs", ["job_site_id"])
    op.create_index(op.f("ix_runs_recipe_revision_id"), "runs", ["recipe_revision_id"])
    op.create_index(op.f("ix_runs_started_at"), "runs", ["started_at"])
    op.create_index(op.f("ix_runs_step_id"), "runs", ["step_id"])
    op.create_index(
        op.f("uq_runs_recording"),
        "runs",
        ["job_site_id"],
        unique=True,
        sqlite_where=sa.text("state = 'recording'"),
        postgresql_where=sa.text("state = 'recording'"),
    )
    op.create_table(
        "step_entries",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("step_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(24), nullable=False),
        sa.Column("values", sa.JSON(), nullable=False),
        sa.Column("lots", sa.JSON(), nullable=False),
        sa.Column("remark", sa.String(4000), nullable=False),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "kind IN ('done', 'skipped', 'correction')",
            name=op.f("ck_step_entries_kind_known"),
        ),
        sa.ForeignKeyConstraint(["by_id"], ["accounts.id"], name=op.f("fk_step_entries_by_id")),
        sa.ForeignKeyConstraint(
            ["corrects_id"], ["step_entries.id"], name=op.f("fk_step_entries_corrects_id")
        ),
        sa.ForeignKeyConstraint(
            ["step_id"], ["job_steps.id"], name=op.f("fk_step_entries_step_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_step_entries")),
        sa.UniqueConstraint("corrects_id", name=op.f("uq_step_entries_corrects_id")),
    )
    op.create_index(op.f("ix_step_entries_step_id"), "step_entries", ["step_id"])
    op.create_index(
        op.f("uq_step_entries_first"),
        "step_entries",
        ["step_id"],
        unique=True,
        sqlite_where=sa.text("corrects_id IS NULL"),
        postgresql_where=sa.text("corrects_id IS NULL"),
    )
    lock_rows("recipe_revisions", when="OLD.state <> 'draft'", unlocked_update=REVISION_MAY_MOVE)
    lock_rows("jobs", when="OLD.state = 'closed'")
    lock_rows("runs", when="OLD.state <> 'recording'")
    lock_rows("step_entries")


def downgrade() -> None:
    unlock_rows("step_entries")
    unlock_rows("runs")
    unlock_rows("jobs")
    unlock_rows("recipe_revisions")
    op.drop_table("step_entries")
    op.drop_table("runs")
    op.drop_table("job_steps")
    op.drop_table("job_sites")
    op.drop_table("job_holds")
    op.drop_table("jobs")
    op.drop_table("recipe_revisions")
    op.drop_table("recipes")
