"""Reads a board's records and entries in a fixed number of questions, however many jobs."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from sqlalchemy import ColumnElement, Row, Select, func, select
from sqlalchemy.orm import Session

from app.accounts.tables import Account
from app.audit.tables import AuditEntry, NameCard
from app.boards.rules import BoardUnknown
from app.boards.tables import Assembly, Board, Placement, Site
from app.history.rules import EntryUnknown, Period
from app.history.told import ToldEntry, read_entries
from app.jobs.tables import Job, JobHold, JobSite, JobStep, Run, StepEntry
from app.plant.tables import Bench
from app.recipes.tables import Recipe, RecipeRevision
from app.traces.tables import Trace

AnyRow = Row[*tuple[Any, ...]]
Rows = Sequence[AnyRow]

ENTRY_COLUMNS: Final = (
    AuditEntry.seq,
    AuditEntry.body,
    AuditEntry.leaf_hash,
    AuditEntry.at,
    AuditEntry.actor_id,
    AuditEntry.action,
    AuditEntry.subject_kind,
    AuditEntry.subject_id,
    AuditEntry.job_id,
    AuditEntry.board_id,
    AuditEntry.board_number,
)


@dataclass(frozen=True)
class BoardIndex:
    """A board and all its entries, not read yet; `jobs` are all its jobs, in short."""

    board: AnyRow
    rows: Rows
    jobs: Rows
    open_holds: Rows
    designators: tuple[str, ...]


@dataclass(frozen=True)
class BoardRecords:
    """Everything stored about a board, or about some of its jobs.

    `closings` are the entries that closed any of its jobs, `published` those that published the
    recipes. A run's figures are read only where they are asked for: they are large.
    """

    board: AnyRow
    jobs: Rows
    holds: Rows
    sites: Rows
    steps: Rows
    runs: Rows
    revisions: Rows
    entries: tuple[ToldEntry, ...]
    closings: tuple[ToldEntry, ...]
    published: tuple[ToldEntry, ...]
    names: dict[str, str]
    account_names: dict[int, str]
    figures: dict[int, Any]


def load_index(session: Session, board_id: int) -> BoardIndex:
    """Return a board with its entries, in five questions; BoardUnknown for none."""
    return BoardIndex(
        board=_get_board(session, board_id),
        rows=session.execute(
            select(*ENTRY_COLUMNS)
            .where(AuditEntry.board_id == board_id)
            .order_by(AuditEntry.board_number)
        ).all(),
        jobs=session.execute(
            select(Job.id, Job.state).where(Job.board_id == board_id).order_by(Job.id)
        ).all(),
        open_holds=session.execute(
            select(JobHold.id, JobHold.job_id)
            .join(Job, Job.id == JobHold.job_id)
            .where(Job.board_id == board_id, JobHold.lifted_at.is_(None))
            .order_by(JobHold.id)
        ).all(),
        designators=tuple(
            session.scalars(
                select(Placement.designator)
                .join(Site, Site.placement_id == Placement.id)
                .where(Site.board_id == board_id)
                .order_by(Placement.designator)
            ).all()
        ),
    )


def load_records(
    session: Session, index: BoardIndex, job_ids: Collection[int] | None = None
) -> BoardRecords:
    """Return the records of a board, or of some of its jobs, in nine questions.

    The entries are those about the jobs asked for, and those about no job.
    """
    is_asked = Job.board_id == index.board.id
    rows = index.rows
    if job_ids is not None:
        is_asked &= Job.id.in_(job_ids)
        rows = [row for row in rows if row.job_id is None or row.job_id in job_ids]
    revisions = _list_revisions(session, is_asked)
    publishing = session.execute(
        select(*ENTRY_COLUMNS)
        .where(
            AuditEntry.subject_kind == "recipe_revision",
            AuditEntry.action == "recipes.publish",
            AuditEntry.subject_id.in_([row.id for row in revisions]),
        )
        .order_by(AuditEntry.seq)
    ).all()
    entries = read_entries(rows)
    closings = tuple(entry for entry in entries if entry.action == "jobs.close")
    if job_ids is not None:
        closings = read_entries(row for row in index.rows if row.action == "jobs.close")
    cards = session.execute(select(NameCard.commitment, NameCard.name)).all()
    accounts = session.execute(select(Account.id, Account.name)).all()
    return BoardRecords(
        board=index.board,
        jobs=session.execute(select(Job.__table__).where(is_asked).order_by(Job.id)).all(),
        holds=session.execute(
            select(JobHold.__table__)
            .join(Job, Job.id == JobHold.job_id)
            .where(is_asked)
            .order_by(JobHold.id)
        ).all(),
        sites=_list_sites(session, is_asked),
        steps=_list_steps(session, is_asked),
        runs=_list_runs(session, is_asked),
        revisions=revisions,
        entries=entries,
        closings=closings,
        published=read_entries(publishing),
        names={row.commitment: row.name for row in cards},
        account_names={row.id: row.name for row in accounts},
        figures={},
    )


def with_figures(
    session: Session, records: BoardRecords, run_ids: Collection[int] | None = None
) -> BoardRecords:
    """Return the records with the figures of some runs, or of all of them."""
    wanted = [row.id for row in records.runs] if run_ids is None else list(run_ids)
    found: dict[int, Any] = {}
    for begin in range(0, len(wanted), 500):
        rows = session.execute(
            select(Run.id, Run.figures, Run.clearance).where(
                Run.id.in_(wanted[begin : begin + 500])
            )
        ).all()
        found.update({row.id: row for row in rows})
    return replace(records, figures=found)


def select_entries(
    *,
    action: str | None = None,
    actor_id: int | None = None,
    subject_kind: str | None = None,
    subject_id: int | None = None,
    board_id: int | None = None,
    job_id: int | None = None,
    period: Period | None = None,
) -> Select[AuditEntry]:
    """Return the select of entries that fit all that is asked, for reading in pieces."""
    rows = select(AuditEntry)
    for column, value in (
        (AuditEntry.action, action),
        (AuditEntry.actor_id, actor_id),
        (AuditEntry.subject_kind, subject_kind),
        (AuditEntry.subject_id, subject_id),
        (AuditEntry.board_id, board_id),
        (AuditEntry.job_id, job_id),
    ):
        if value is not None:
            rows = rows.where(column == value)
    if period is not None and period.since is not None:
        rows = rows.where(AuditEntry.at >= period.since)
    if period is not None and period.until is not None:
        rows = rows.where(AuditEntry.at < period.until)
    return rows


def get_entry(session: Session, seq: int) -> AuditEntry:
    """Return an entry; EntryUnknown if there is none."""
    entry = session.get(AuditEntry, seq)
    if entry is None:
        raise EntryUnknown(f"The log has no entry number {seq}.", field="seq")
    return entry


def find_neighbour(session: Session, entry: AuditEntry, *, step: int) -> int | None:
    """Return the number of the entry before (-1) or after (+1) in the board's own chain."""
    if entry.board_id is None or entry.board_number is None:
        return None
    return session.scalar(
        select(AuditEntry.seq).where(
            AuditEntry.board_id == entry.board_id,
            AuditEntry.board_number == entry.board_number + step,
        )
    )


def find_newest(session: Session) -> int:
    """Return the number of the newest entry, 0 in an empty log."""
    return session.scalar(select(func.max(AuditEntry.seq))) or 0


def list_actions(session: Session) -> Sequence[str]:
    """Return the actions that the log tells of, by name."""
    return session.scalars(
        select(AuditEntry.action).distinct().order_by(AuditEntry.action).limit(200)
    ).all()


def list_people(session: Session) -> list[tuple[int, str]]:
    """Return everybody with an account as number and name, by name."""
    rows = session.execute(select(Account.id, Account.name).order_by(Account.name)).all()
    return [(row.id, row.name) for row in rows]


def map_card_names(session: Session, commitments: Collection[str]) -> dict[str, str]:
    """Return commitment → name for the commitments asked for."""
    rows = session.execute(
        select(NameCard.commitment, NameCard.name).where(NameCard.commitment.in_(commitments))
    ).all()
    return {row.commitment: row.name for row in rows}


def list_cards(session: Session, commitments: Collection[str]) -> Sequence[NameCard]:
    """Return the name cards that open the commitments asked for."""
    return session.scalars(
        select(NameCard).where(NameCard.commitment.in_(commitments)).order_by(NameCard.commitment)
    ).all()


def _get_board(session: Session, board_id: int) -> AnyRow:
    row = session.execute(
        select(
            Board.id,
            Board.serial,
            Board.note,
            Board.registered_at,
            Board.registered_by_id,
            Board.scrapped_at,
            Board.assembly_id,
            Assembly.part_number,
            Assembly.revision,
            Assembly.title,
        )
        .join(Assembly, Assembly.id == Board.assembly_id)
        .where(Board.id == board_id)
    ).one_or_none()
    if row is None:
        raise BoardUnknown(f"There is no board number {board_id}.", field="board_id")
    return row


def _list_sites(session: Session, is_asked: ColumnElement[bool]) -> Rows:
    return session.execute(
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
    ).all()


def _list_steps(session: Session, is_asked: ColumnElement[bool]) -> Rows:
    return session.execute(
        select(
            StepEntry.id,
            StepEntry.step_id,
            StepEntry.kind,
            StepEntry.values.label("used"),
            StepEntry.lots,
            StepEntry.remark,
            StepEntry.corrects_id,
            StepEntry.by_id,
            StepEntry.at,
            JobStep.job_site_id,
            JobStep.kind.label("step"),
        )
        .join(JobStep, JobStep.id == StepEntry.step_id)
        .join(JobSite, JobSite.id == JobStep.job_site_id)
        .join(Job, Job.id == JobSite.job_id)
        .where(is_asked)
        .order_by(StepEntry.id)
    ).all()


def _list_runs(session: Session, is_asked: ColumnElement[bool]) -> Rows:
    return session.execute(
        select(
            Run.id,
            Run.job_site_id,
            Run.step_id,
            Run.recipe_revision_id,
            Run.state,
            Run.trace_id,
            Run.file_sha256,
            Run.file_name,
            Run.by_id,
            Run.started_at,
            Run.ended_at,
            Run.verdict,
            Run.window_use_pct,
            Run.abort_reason,
            Run.remark,
            JobStep.kind.label("step"),
            Bench.code.label("bench"),
            Trace.file_sha256.label("trace_file_sha256"),
            Trace.samples_sha256,
            Trace.channels,
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
    ).all()


def _list_revisions(session: Session, is_asked: ColumnElement[bool]) -> Rows:
    of_board = (
        select(JobSite.recipe_revision_id).join(Job, Job.id == JobSite.job_id).where(is_asked)
    )
    return session.execute(
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
    ).all()
