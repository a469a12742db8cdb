"""The tables of jobs, their sites, steps and entries, runs and holds."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, Index, String, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.boards.tables import Board, Site
from app.core.db import Base, Versioned
from app.jobs.rules import EntryKind, JobState, Outcome, RunState, StepKind
from app.plant.tables import Bench
from app.recipes.tables import RecipeRevision
from app.traces.tables import Trace


class Job(Versioned, Base):
    """One request to rework one or more sites of one board."""

    __tablename__ = "jobs"
    __table_args__ = (
        CheckConstraint("(state = 'closed') = (outcome IS NOT NULL)", name="outcome_when_closed"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    board_id: Mapped[int] = mapped_column(ForeignKey("boards.id"), index=True)
    reason: Mapped[str] = mapped_column(String(4000))
    reference: Mapped[str] = mapped_column(String(200))
    state: Mapped[JobState] = mapped_column(
        CheckConstraint("state IN ('open', 'cleared', 'in work', 'closed')", name="state_known"),
        index=True,
    )
    outcome: Mapped[Outcome | None] = mapped_column(
        CheckConstraint(
            "outcome IN ('accepted', 'rejected', 'scrapped', 'cancelled')", name="outcome_known"
        )
    )
    opened_by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    opened_at: Mapped[datetime]
    bench_id: Mapped[int | None] = mapped_column(ForeignKey("benches.id"))
    # The findings that were true when the job was cleared, whole, with who asked and when.
    clearance: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    closed_by_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id"))
    closed_at: Mapped[datetime | None]
    closing_remark: Mapped[str | None] = mapped_column(String(4000))

    board: Mapped[Board] = relationship(lazy="raise_on_sql")
    bench: Mapped[Bench | None] = relationship(lazy="raise_on_sql")


class JobHold(Versioned, Base):
    """A stop on a job, placed with a reason and lifted with another; one at a time."""

    __tablename__ = "job_holds"
    __table_args__ = (
        Index(
            "uq_job_holds_open",
            "job_id",
            unique=True,
            sqlite_where=text("lifted_at IS NULL"),
            postgresql_where=text("lifted_at IS NULL"),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("jobs.id"), index=True)
    reason: Mapped[str] = mapped_column(String(4000))
    placed_by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    placed_at: Mapped[datetime]
    lifted_by_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id"))
    lifted_at: Mapped[datetime | None]
    lift_reason: Mapped[str | None] = mapped_column(String(4000))


class JobSite(Base):
    """A site that a job reworks, and the recipe revision it follows."""

    __tablename__ = "job_sites"
    __table_args__ = (UniqueConstraint("job_id", "site_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("jobs.id"))
    site_id: Mapped[int] = mapped_column(ForeignKey("sites.id"), index=True)
    recipe_revision_id: Mapped[int] = mapped_column(ForeignKey("recipe_revisions.id"), index=True)

    site: Mapped[Site] = relationship(lazy="raise_on_sql")
    revision: Mapped[RecipeRevision] = relationship(lazy="raise_on_sql")


class JobStep(Base):
    """One line of the work card."""

    __tablename__ = "job_steps"
    __table_args__ = (UniqueConstraint("job_site_id", "ordinal"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    job_site_id: Mapped[int] = mapped_column(ForeignKey("job_sites.id"))
    ordinal: Mapped[int]
    kind: Mapped[StepKind] = mapped_column(
        CheckConstraint(
            "kind IN ('remove', 'dress', 'deposit', 'place', 'reflow', 'clean', 'inspect')",
            name="kind_known",
        )
    )


class StepEntry(Base):
    """What was written on a line of the work card; never edited, corrected by a further entry."""

    __tablename__ = "step_entries"
    __table_args__ = (
        # A line is signed or skipped once; everything later corrects it.
        Index(
            "uq_step_entries_first",
            "step_id",
            unique=True,
            sqlite_where=text("corrects_id IS NULL"),
            postgresql_where=text("corrects_id IS NULL"),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    step_id: Mapped[int] = mapped_column(ForeignKey("job_steps.id"), index=True)
    kind: Mapped[EntryKind] = mapped_column(
        CheckConstraint("kind IN ('done', 'skipped', 'correction')", name="kind_known")
    )
    values: Mapped[dict[str, Any]] = mapped_column(JSON)
    lots: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    remark: Mapped[str] = mapped_column(String(4000))
    corrects_id: Mapped[int | None] = mapped_column(ForeignKey("step_entries.id"), unique=True)
    by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    at: Mapped[datetime]


class Run(Versioned, Base):
    """One heating of a site under a recipe revision, with one trace; locked once it is over."""

    __tablename__ = "runs"
    __table_args__ = (
        CheckConstraint("state <> 'complete' OR trace_id IS NOT NULL", name="complete_with_trace"),
        CheckConstraint("(state = 'recording') = (ended_at IS NULL)", name="ended_when_over"),
        CheckConstraint(
            "(set_aside_at IS NULL) = (set_aside_by_id IS NULL)"
            " AND (set_aside_at IS NULL) = (set_aside_reason IS NULL)"
            " AND (set_aside_at IS NULL OR (state = 'complete' AND set_aside_reason <> ''))",
            name="set_aside_wholly",
        ),
        # A site is heated by one run at a time.
        Index(
            "uq_runs_recording",
            "job_site_id",
            unique=True,
            sqlite_where=text("state = 'recording'"),
            postgresql_where=text("state = 'recording'"),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    job_site_id: Mapped[int] = mapped_column(ForeignKey("job_sites.id"), index=True)
    step_id: Mapped[int] = mapped_column(ForeignKey("job_steps.id"), index=True)
    recipe_revision_id: Mapped[int] = mapped_column(ForeignKey("recipe_revisions.id"), index=True)
    bench_id: Mapped[int] = mapped_column(ForeignKey("benches.id"), index=True)
    state: Mapped[RunState] = mapped_column(
        CheckConstraint("state IN ('recording', 'complete', 'aborted')", name="state_known")
    )
    trace_id: Mapped[int | None] = mapped_column(ForeignKey("traces.id"), unique=True)
    # The logger's file while its columns are still being told apart.
    file_sha256: Mapped[str | None] = mapped_column(ForeignKey("stored_files.sha256"))
    file_name: Mapped[str | None] = mapped_column(String(120))
    by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    started_at: Mapped[datetime] = mapped_column(index=True)
    ended_at: Mapped[datetime | None]
    # What was found before the heat, and what was computed when the trace came in.
    clearance: Mapped[dict[str, Any]] = mapped_column(JSON)
    figures: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    verdict: Mapped[str | None] = mapped_column(String(24))
    window_use_pct: Mapped[float | None]
    abort_reason: Mapped[str | None] = mapped_column(String(4000))
    remark: Mapped[str] = mapped_column(String(4000))
    # Why a complete run does not count after all; written once.
    set_aside_at: Mapped[datetime | None]
    set_aside_by_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id"))
    set_aside_reason: Mapped[str | None] = mapped_column(String(4000))

    job_site: Mapped[JobSite] = relationship(lazy="raise_on_sql")
    bench: Mapped[Bench] = relationship(lazy="raise_on_sql")
    trace: Mapped[Trace | None] = relationship(lazy="raise_on_sql")

    @property
    def is_set_aside(self) -> bool:
        """Whether somebody said that the run does not count."""
        return self.set_aside_at is not None

    @property
    def counts(self) -> bool:
        """Whether the run can be the run of its line: complete, and not set aside."""
        return self.state is RunState.COMPLETE and self.set_aside_at is None
