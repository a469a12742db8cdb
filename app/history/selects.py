"""The questions that a board's history asks, made once; `board` and `jobs` are their values."""

from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, bindparam, select

from app.accounts.tables import Account
from app.audit.tables import AuditEntry, NameCard
from app.boards.tables import Assembly, Board, Placement, Site
from app.history.quick import take_json, take_moment, take_plain_moment, take_word
from app.jobs.tables import Job, JobHold, JobSite, JobStep, Run, StepEntry
from app.plant.tables import Bench
from app.recipes.tables import Recipe, RecipeRevision
from app.traces.tables import Trace

Question = Select[*tuple[Any, ...]]

ENTRY_COLUMNS: Final = (
    AuditEntry.seq,
    AuditEntry.body,
    AuditEntry.leaf_hash,
    take_plain_moment(AuditEntry.at).label("moment"),
    AuditEntry.actor_id,
    AuditEntry.action,
    AuditEntry.subject_kind,
    AuditEntry.subject_id,
    AuditEntry.job_id,
    AuditEntry.board_id,
    AuditEntry.board_number,
)

BOARD: Final = (
    select(
        Board.id,
        Board.serial,
        Board.note,
        take_moment(Board.registered_at).label("registered_at"),
        Board.registered_by_id,
        take_moment(Board.scrapped_at).label("scrapped_at"),
        Board.assembly_id,
        Assembly.part_number,
        Assembly.revision,
        Assembly.title,
    )
    .join(Assembly, Assembly.id == Board.assembly_id)
    .where(Board.id == bindparam("board"))
)
ENTRIES: Final = (
    select(*ENTRY_COLUMNS)
    .where(AuditEntry.board_id == bindparam("board"))
    .order_by(AuditEntry.board_number)
)
JOBS_IN_SHORT: Final = (
    select(Job.id, Job.state).where(Job.board_id == bindparam("board")).order_by(Job.id)
)
OPEN_HOLDS: Final = (
    select(JobHold.id, JobHold.job_id)
    .join(Job, Job.id == JobHold.job_id)
    .where(Job.board_id == bindparam("board"), JobHold.lifted_at.is_(None))
    .order_by(JobHold.id)
)
DESIGNATORS: Final = (
    select(Placement.designator)
    .join(Site, Site.placement_id == Placement.id)
    .where(Site.board_id == bindparam("board"))
    .order_by(Placement.designator)
)
PUBLISHED: Final = (
    select(*ENTRY_COLUMNS)
    .where(
        AuditEntry.subject_kind == "recipe_revision",
        AuditEntry.action == "recipes.publish",
        AuditEntry.subject_id.in_(bindparam("revisions", expanding=True)),
    )
    .order_by(AuditEntry.seq)
)
NAMES: Final = select(NameCard.commitment, NameCard.name)
ACCOUNT_NAMES: Final = select(Account.id, Account.name)


@dataclass(frozen=True)
class RecordSelects:
    """What is asked of the records of some jobs."""

    jobs: Question
    holds: Question
    sites: Question
    steps: Question
    runs: Question
    revisions: Question


def _make_selects(is_asked: ColumnElement[bool]) -> RecordSelects:
    return RecordSelects(
        jobs=_select_jobs(is_asked),
        holds=_select_holds(is_asked),
        sites=_select_sites(is_asked),
        steps=_select_steps(is_asked),
        runs=_select_runs(is_asked),
        revisions=_select_revisions(is_asked),
    )


def _select_jobs(is_asked: ColumnElement[bool]) -> Question:
    return (
        select(
            Job.id,
            Job.reason,
            Job.reference,
            take_word(Job.state).label("state"),
            take_word(Job.outcome).label("outcome"),
            Job.opened_by_id,
            take_moment(Job.opened_at).label("opened_at"),
            take_json(Job.clearance).label("clearance"),
            Job.closed_by_id,
            take_moment(Job.closed_at).label("closed_at"),
            Job.closing_remark,
        )
        .where(is_asked)
        .order_by(Job.id)
    )


def _select_holds(is_asked: ColumnElement[bool]) -> Question:
    return (
        select(
            JobHold.id,
            JobHold.job_id,
            JobHold.reason,
            JobHold.placed_by_id,
            take_moment(JobHold.placed_at).label("placed_at"),
            JobHold.lifted_by_id,
            take_moment(JobHold.lifted_at).label("lifted_at"),
            JobHold.lift_reason,
        )
        .join(Job, Job.id == JobHold.job_id)
        .where(is_asked)
        .order_by(JobHold.id)
    )


def _select_sites(is_asked: ColumnElement[bool]) -> Question:
    return (
        select(
            JobSite.id,
            JobSite.job_id,
            JobSite.site_id,
            JobSite.recipe_revision_id,
            Placement.designator,
        )
        .join(Job, Job.id == JobSite.job_id)
        .join(Site, Site.id == JobSite.site_id)
        .join(Placement, Placement.id == Site.placement_id)
        .where(is_asked)
        .order_by(JobSite.id)
    )


def _select_steps(is_asked: ColumnElement[bool]) -> Question:
    return (
        select(
            StepEntry.id,
            StepEntry.step_id,
            take_word(StepEntry.kind).label("kind"),
            take_json(StepEntry.values).label("used"),
            take_json(StepEntry.lots).label("lots"),
            StepEntry.remark,
            StepEntry.corrects_id,
            StepEntry.by_id,
            take_moment(StepEntry.at).label("at"),
            JobStep.job_site_id,
            take_word(JobStep.kind).label("step"),
        )
        .join(JobStep, JobStep.id == StepEntry.step_id)
        .join(JobSite, JobSite.id == JobStep.job_site_id)
        .join(Job, Job.id == JobSite.job_id)
        .where(is_asked)
        .order_by(StepEntry.id)
    )


def _select_runs(is_asked: ColumnElement[bool]) -> Question:
    return (
        select(
            Run.id,
            Run.job_site_id,
            Run.step_id,
            Run.recipe_revision_id,
            take_word(Run.state).label("state"),
            Run.trace_id,
            Run.file_sha256,
            Run.file_name,
            Run.by_id,
            take_moment(Run.started_at).label("started_at"),
            take_moment(Run.ended_at).label("ended_at"),
            Run.verdict,
            Run.window_use_pct,
            Run.abort_reason,
            take_moment(Run.set_aside_at).label("set_aside_at"),
            Run.set_aside_by_id,
            Run.set_aside_reason,
            Run.remark,
            take_word(JobStep.kind).label("step"),
            Bench.code.label("bench"),
            Trace.file_sha256.label("trace_file_sha256"),
            Trace.samples_sha256,
            take_json(Trace.channels).label("channels"),
            Trace.rows,
            Trace.duration_s,
        )
        .join(JobStep, JobStep.id == Run.step_id)
        .join(JobSite, JobSite.id == Run.job_site_id)
        .join(Job, Job.id == JobSite.job_id)
        .join(Bench, Bench.id == Run.bench_id)
        .outerjoin(Trace, Trace.id == Run.trace_id)
        .where(is_asked)
        .order_by(Run.id)
    )


def _select_revisions(is_asked: ColumnElement[bool]) -> Question:
    of_board = (
        select(JobSite.recipe_revision_id).join(Job, Job.id == JobSite.job_id).where(is_asked)
    )
    return (
        select(
            RecipeRevision.id,
            RecipeRevision.recipe_id,
            RecipeRevision.number,
            RecipeRevision.state,
            RecipeRevision.title,
            RecipeRevision.body,
            RecipeRevision.digest,
            RecipeRevision.approved_by_id,
            Recipe.code,
        )
        .join(Recipe, Recipe.id == RecipeRevision.recipe_id)
        .where(RecipeRevision.id.in_(of_board))
        .order_by(RecipeRevision.id)
    )


_IS_OF_BOARD: Final = Job.board_id == bindparam("board")
OF_BOARD: Final = _make_selects(_IS_OF_BOARD)
OF_JOBS: Final = _make_selects(_IS_OF_BOARD & Job.id.in_(bindparam("jobs", expanding=True)))
