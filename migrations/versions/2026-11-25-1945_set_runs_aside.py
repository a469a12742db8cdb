"""Complete runs that are set aside: since when, by whom and why, written once and for good."""

from alembic import op

from migrations.guards import lock_rows, spell_same, unlock_rows

revision = "b7e4d19c52fa"
down_revision = "d2c96e07a4b1"

_OVER = "OLD.state <> 'recording'"
_PLAIN = (
    "id",
    "job_site_id",
    "step_id",
    "recipe_revision_id",
    "bench_id",
    "state",
    "trace_id",
    "file_sha256",
    "file_name",
    "by_id",
    "started_at",
    "ended_at",
    "verdict",
    "window_use_pct",
    "abort_reason",
    "remark",
)
# PostgreSQL compares no JSON; its text is what was written.
_JSON = ("clearance", "figures")
_WHOLLY = (
    "(set_aside_at IS NULL) = (set_aside_by_id IS NULL)"
    " AND (set_aside_at IS NULL) = (set_aside_reason IS NULL)"
    " AND (set_aside_at IS NULL OR (state = 'complete' AND set_aside_reason <> ''))"
)
# A complete run is set aside once; nothing else about it moves, nor does this move back.
_SET_ASIDE = (
    f"{spell_same(*_PLAIN)} AND "
    + " AND ".join(
        f"COALESCE(CAST(NEW.{column} AS TEXT) = CAST(OLD.{column} AS TEXT),"
        f" NEW.{column} IS NULL AND OLD.{column} IS NULL)"
        for column in _JSON
    )
    + " AND OLD.state = 'complete' AND OLD.set_aside_at IS NULL AND NEW.set_aside_at IS NOT NULL"
)


def upgrade() -> None:
    unlock_rows("runs")
    # Added and dropped in place: a table made anew would let go of what points at its rows.
    moment = "DATETIME" if op.get_bind().dialect.name == "sqlite" else "TIMESTAMP WITH TIME ZONE"
    op.execute(f"ALTER TABLE runs ADD COLUMN set_aside_at {moment}")
    op.execute(
        "ALTER TABLE runs ADD COLUMN set_aside_by_id INTEGER"
        " CONSTRAINT fk_runs_set_aside_by_id REFERENCES accounts (id)"
    )
    op.execute(
        "ALTER TABLE runs ADD COLUMN set_aside_reason VARCHAR(4000)\n"
        f"CONSTRAINT ck_runs_set_aside_wholly CHECK ({_WHOLLY})"
    )
    lock_rows("runs", when=_OVER, unlocked_update=_SET_ASIDE)


def downgrade() -> None:
    unlock_rows("runs")
    if op.get_bind().dialect.name == "postgresql":
        op.execute("ALTER TABLE runs DROP CONSTRAINT ck_runs_set_aside_wholly")
    for column in ("set_aside_reason", "set_aside_by_id", "set_aside_at"):
        op.drop_column("runs", column)
    lock_rows("runs", when=_OVER)
