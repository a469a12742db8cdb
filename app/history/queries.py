"""Reads a board's records and entries in a fixed number of questions, however many jobs."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from sqlalchemy import Row, Select, func, select
from sqlalchemy.orm import Session

from app.accounts.tables import Account
from app.audit.tables import AuditEntry, NameCard
from app.boards.rules import BoardUnknown
from app.history import selects
from app.history.rules import EntryUnknown, Period
from app.history.selects import Question
from app.history.told import ToldEntry, read_entries
from app.jobs.tables import Run

ROWS_AT_ONCE: Final = 500

AnyRow = Row[*tuple[Any, ...]]
Rows = Sequence[AnyRow]


@dataclass(frozen=True)
class BoardIndex:
    """A board and all its entries; `jobs` are all its jobs, in short."""

    board: AnyRow
    entries: tuple[ToldEntry, ...]
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
    boards = _ask(session, selects.BOARD, board=board_id)
    if not boards:
        raise BoardUnknown(f"There is no board number {board_id}.", field="board_id")
    return BoardIndex(
        board=boards[0],
        entries=list_entries(session, selects.ENTRIES, board=board_id),
        jobs=_ask(session, selects.JOBS_IN_SHORT, board=board_id),
        open_holds=_ask(session, selects.OPEN_HOLDS, board=board_id),
        designators=tuple(
            row.designator for row in _ask(session, selects.DESIGNATORS, board=board_id)
        ),
    )


def load_records(
    session: Session, index: BoardIndex, job_ids: Collection[int] | None = None
) -> BoardRecords:
    """Return the records of a board, or of some of its jobs, in nine questions.

    The entries are those about the jobs asked for, and those about no job.
    """
    asked, entries = selects.OF_BOARD, index.entries
    values: dict[str, Any] = {"board": index.board.id}
    if job_ids is not None:
        asked, values["jobs"] = selects.OF_JOBS, list(job_ids)
        entries = tuple(e for e in entries if e.job_id is None or e.job_id in job_ids)
    revisions = _ask(session, asked.revisions, **values)
    cards = _ask(session, selects.NAMES)
    accounts = _ask(session, selects.ACCOUNT_NAMES)
    return BoardRecords(
        board=index.board,
        jobs=_ask(session, asked.jobs, **values),
        holds=_ask(session, asked.holds, **values),
        sites=_ask(session, asked.sites, **values),
        steps=_ask(session, asked.steps, **values),
        runs=_ask(session, asked.runs, **values),
        revisions=revisions,
        entries=entries,
        closings=tuple(e for e in index.entries if e.action == "jobs.close"),
        published=list_entries(session, selects.PUBLISHED, revisions=[row.id for row in revisions]),
        names={row.commitment: row.name for row in cards},
        account_names={row.id: row.name for row in accounts},
        figures={},
    )


def list_entries(session: Session, question: Question, **values: Any) -> tuple[ToldEntry, ...]:
    """Return the entries that a select of ENTRY_COLUMNS asks for, with their texts read."""
    found = session.connection().execute(question, values)
    # In pieces, so that the rows go while the entries come.
    return read_entries(row for piece in found.partitions(ROWS_AT_ONCE) for row in piece)


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


def _ask(session: Session, question: Question, **values: Any) -> Rows:
    """Return the rows of a question, asked below the object mapper: a board has thousands."""
    return session.connection().execute(question, values).all()
