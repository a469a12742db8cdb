"""A board's whole story: one line for each thing that happened, with the entries beneath it."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

import msgspec
from sqlalchemy.orm import Session

from app.core.refusals import Conflict
from app.history.composer import StoryLine, StoryLines, map_sentences
from app.history.differences import Difference
from app.history.links import RUN_ENDS, Links, link
from app.history.queries import (
    AnyRow,
    BoardIndex,
    BoardRecords,
    load_index,
    load_records,
    with_figures,
)
from app.history.records import check_board, check_figures
from app.history.rules import ALWAYS, EventKind, Period
from app.history.told import ChainFault, ToldEntry, find_chain_fault


class RecordsUnreadable(Conflict):
    """Something stored about the board is not in a form that Wickbook writes."""

    code = "history.records_unreadable"


@dataclass(frozen=True)
class Story:
    """A board with its lines, oldest first, and what of them does not fit the log.

    `lines` may be a piece of the `total`, and each is written when it is taken. The board's own
    chain is always checked whole.
    """

    index: BoardIndex
    lines: Sequence[StoryLine]
    total: int
    chain_fault: ChainFault | None
    differences: tuple[Difference, ...]
    records: BoardRecords
    links: Links

    @property
    def board(self) -> AnyRow:
        """The board itself with its assembly."""
        return self.index.board


@dataclass(frozen=True)
class StoryFilter:
    """Which lines are asked for; None asks for all."""

    kind: EventKind | None = None
    job_id: int | None = None
    designator: str | None = None
    account_id: int | None = None
    period: Period = ALWAYS

    @property
    def is_open(self) -> bool:
        """Whether nothing is left out."""
        return self == StoryFilter()


def load_story(session: Session, board_id: int, *, with_all_figures: bool = False) -> Story:
    """Read a board's whole story and hold it against the log; BoardUnknown for none.

    The number of questions does not grow with the board. RecordsUnreadable where a stored value
    has a form that Wickbook does not write.
    """
    with _say_what_is_unreadable():
        index = load_index(session, board_id)
        records = load_records(session, index)
        if with_all_figures:
            records = with_figures(session, records)
    return _tell(index, records, list_told(index.entries), begin=0)


def load_piece(session: Session, board_id: int, *, begin: int, limit: int) -> Story:
    """Read some lines of a board's story: `limit` of them after the first `begin`.

    As load_story, but only the jobs that these lines are about are read and held against the log,
    the figures of their shown runs too.
    """
    with _say_what_is_unreadable():
        index = load_index(session, board_id)
        told = list_told(index.entries)
        piece = told[begin : begin + limit]
        job_ids = {entry.job_id for entry in piece if entry.job_id is not None}
        if begin + limit >= len(told):
            # The last piece also shows the jobs that no entry tells of.
            job_ids |= {row.id for row in index.jobs} - {entry.job_id for entry in index.entries}
        records = load_records(session, index, job_ids)
        story = _tell(index, records, piece, begin=begin, total=len(told))
    return replace(story, lines=check_shown(session, story, story.lines))


def list_told(entries: Sequence[ToldEntry]) -> Sequence[ToldEntry]:
    """Return the entries that make a line each: a run's start is told by the line of its end."""
    ended = {entry.subject_id for entry in entries if entry.action in RUN_ENDS}
    return [
        entry
        for entry in entries
        if entry.action != "jobs.start_run" or entry.subject_id not in ended
    ]


@contextmanager
def _say_what_is_unreadable() -> Iterator[None]:
    try:
        yield
    except (ValueError, LookupError) as error:
        raise RecordsUnreadable(
            f"Something stored about this board cannot be read: {error}"
        ) from None


def _tell(
    index: BoardIndex,
    records: BoardRecords,
    piece: Sequence[ToldEntry],
    *,
    begin: int,
    total: int | None = None,
) -> Story:
    links = link(records)
    differences = check_board(records, links)
    numbers = {entry.seq: place for place, entry in enumerate(piece, start=begin + 1)}
    lines = StoryLines(records, links, differences, numbers=numbers)
    return Story(
        index=index,
        lines=lines,
        total=len(lines) if total is None else total,
        chain_fault=find_chain_fault(index.entries, board_id=index.board.id),
        differences=differences,
        records=records,
        links=links,
    )


def filter_lines(lines: Iterable[StoryLine], wanted: StoryFilter) -> tuple[StoryLine, ...]:
    """Return the lines that fit all that is asked."""
    return tuple(iterate_fitting(lines, wanted))


def iterate_fitting(lines: Iterable[StoryLine], wanted: StoryFilter) -> Iterator[StoryLine]:
    """Yield the lines that fit all that is asked, each written when its turn comes."""
    designator = wanted.designator.casefold() if wanted.designator else None
    return (
        line
        for line in lines
        if (wanted.kind is None or line.kind is wanted.kind)
        and (wanted.job_id is None or line.job_id == wanted.job_id)
        and (wanted.account_id is None or line.account_id == wanted.account_id)
        and (designator is None or designator in {name.casefold() for name in line.designators})
        and wanted.period.holds(line.at)
    )


def check_shown(
    session: Session, story: Story, lines: Sequence[StoryLine]
) -> tuple[StoryLine, ...]:
    """Return the lines with the figures of their runs held against the log too: one question."""
    run_ids = {line.run_id for line in lines if line.run_id is not None}
    if not run_ids:
        return tuple(lines)
    with _say_what_is_unreadable():
        records = with_figures(session, story.records, run_ids)
    faults = map_sentences(check_figures(records, story.links))
    return tuple(
        msgspec.structs.replace(line, faults=(*line.faults, *faults.get(line.record, ())))
        if line.record is not None
        else line
        for line in lines
    )
