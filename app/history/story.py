"""A board's whole story: one line for each thing that happened, with the entries beneath it."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime

from sqlalchemy.orm import Session

from app.core.refusals import Conflict
from app.history.lines import LineWriter, RecipeUsed, Sign
from app.history.links import RUN_ENDS, Links, RecordKey, link
from app.history.queries import (
    AnyRow,
    BoardIndex,
    BoardRecords,
    Rows,
    load_index,
    load_records,
    with_figures,
)
from app.history.records import Difference, check_board, check_figures
from app.history.rules import ALWAYS, EventKind, Period
from app.history.told import ChainFault, ToldEntry, find_chain_fault


class RecordsUnreadable(Conflict):
    """Something stored about the board is not in a form that Wickbook writes."""

    code = "history.records_unreadable"


@dataclass(frozen=True)
class StoryLine:
    """One thing that happened; `faults` say where its record differs from the log.

    `at` is in UTC. `record` is None where only the log tells of it; `number` is 0 where only a
    record does.
    """

    number: int
    at: datetime
    account_id: int | None
    who: str
    kind: EventKind
    what: str
    details: tuple[tuple[str, str], ...]
    job_id: int | None
    designators: tuple[str, ...]
    recipes: tuple[RecipeUsed, ...]
    lots: tuple[str, ...]
    sign: Sign | None
    window_use_pct: float | None
    run_id: int | None
    has_picture: bool
    record: RecordKey | None
    corrected_by: int | None
    entries: tuple[ToldEntry, ...]
    faults: tuple[str, ...]


@dataclass(frozen=True)
class Story:
    """A board with its lines, oldest first, and what of them does not fit the log.

    `lines` may be a piece of the `total`; the board's own chain is always checked whole.
    """

    index: BoardIndex
    lines: tuple[StoryLine, ...]
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
    return _tell(index, records, list_told(index.rows), begin=0)


def load_piece(session: Session, board_id: int, *, begin: int, limit: int) -> Story:
    """Read some lines of a board's story: `limit` of them after the first `begin`.

    As load_story, but only the jobs that these lines are about are read and held against the log,
    the figures of their shown runs too.
    """
    with _say_what_is_unreadable():
        index = load_index(session, board_id)
        told = list_told(index.rows)
        piece = told[begin : begin + limit]
        job_ids = {row.job_id for row in piece if row.job_id is not None}
        if begin + limit >= len(told):
            # The last piece also shows the jobs that no entry tells of.
            job_ids |= {row.id for row in index.jobs} - {row.job_id for row in index.rows}
        records = load_records(session, index, job_ids)
        story = _tell(index, records, piece, begin=begin, total=len(told))
    return replace(story, lines=check_shown(session, story, story.lines))


def list_told(rows: Rows) -> Sequence[AnyRow]:
    """Return the entries that make a line each: a run's start is told by the line of its end."""
    ended = {row.subject_id for row in rows if row.action in RUN_ENDS}
    return [row for row in rows if row.action != "jobs.start_run" or row.subject_id not in ended]


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
    piece: Sequence[AnyRow],
    *,
    begin: int,
    total: int | None = None,
) -> Story:
    links = link(records)
    differences = check_board(records, links)
    numbers = {row.seq: place for place, row in enumerate(piece, start=begin + 1)}
    lines = _Composer(records, links, differences).compose(numbers)
    return Story(
        index=index,
        lines=lines,
        total=len(lines) if total is None else total,
        chain_fault=find_chain_fault(index.rows, board_id=index.board.id),
        differences=differences,
        records=records,
        links=links,
    )


def filter_lines(lines: Iterable[StoryLine], wanted: StoryFilter) -> tuple[StoryLine, ...]:
    """Return the lines that fit all that is asked."""
    designator = wanted.designator.casefold() if wanted.designator else None
    return tuple(
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
    faults = _map_sentences(check_figures(records, story.links))
    return tuple(
        replace(line, faults=(*line.faults, *faults.get(line.record, ())))
        if line.record is not None
        else line
        for line in lines
    )


class _Composer:
    def __init__(
        self, records: BoardRecords, links: Links, differences: Collection[Difference]
    ) -> None:
        self.records = records
        self.links = links
        self.writer = LineWriter(records)
        self.by_record = _map_sentences(differences)
        self.by_revision = _map_sentences(
            d for d in differences if d.record.kind == "recipe revision"
        )
        self.gone = {d.seq: d.sentence for d in differences if d.record not in links.told}
        self.corrected_by = {
            row.corrects_id: row.id for row in records.steps if row.corrects_id is not None
        }
        self.of_run: dict[int, tuple[ToldEntry, ...]] = {}
        for entry in records.entries:
            if entry.subject_kind == "run":
                self.of_run[entry.subject_id] = (*self.of_run.get(entry.subject_id, ()), entry)
        self.newest_of_record: dict[RecordKey, int] = {
            key: entries[-1].seq for key, entries in links.told.items()
        }

    def compose(self, numbers: Mapping[int, int]) -> tuple[StoryLine, ...]:
        """Return the numbered entries' lines, then the records that the log does not tell of."""
        return (
            *(
                self._compose(entry, numbers[entry.seq])
                for entry in self.records.entries
                if entry.seq in numbers
            ),
            *(
                self._compose_untold(key, at, account_id)
                for key, at, account_id in self._list_records()
                if key not in self.links.told
            ),
        )

    def _compose(self, entry: ToldEntry, number: int) -> StoryLine:
        key = self.links.record_of.get(entry.seq)
        written = self.writer.write(entry, key)
        entries: tuple[ToldEntry, ...] = (entry,)
        if entry.action in RUN_ENDS:
            entries = self.of_run[entry.subject_id]
        faults: list[str] = []
        if key is not None and self.newest_of_record[key] == entry.seq:
            faults += self.by_record.get(key, ())
        elif entry.seq in self.gone:
            faults.append(self.gone[entry.seq])
        for used in written.recipes:
            faults += [
                f"recipe {used.code} revision {used.number}: {sentence}"
                for sentence in self.by_revision.get(RecordKey("recipe revision", used.id), ())
            ]
        return StoryLine(
            number=number,
            at=entry.at,
            account_id=entry.actor_id,
            who=self._spell_person(entry),
            kind=written.kind,
            what=written.what,
            details=written.details,
            job_id=entry.job_id,
            designators=written.designators,
            recipes=written.recipes,
            lots=written.lots,
            sign=written.sign,
            window_use_pct=written.window_use_pct,
            run_id=written.run_id,
            has_picture=written.has_picture,
            record=key,
            corrected_by=self.corrected_by.get(key.id)
            if key is not None and key.kind == "step entry"
            else None,
            entries=entries,
            faults=tuple(faults),
        )

    def _compose_untold(self, key: RecordKey, at: datetime, account_id: int | None) -> StoryLine:
        return StoryLine(
            number=0,
            at=at,
            account_id=account_id,
            who=self.records.account_names.get(account_id or 0, "unknown"),
            kind=EventKind.OTHER,
            what=f"A record without an entry: {key.kind} {key.id}",
            details=(),
            job_id=None,
            designators=(),
            recipes=(),
            lots=(),
            sign=None,
            window_use_pct=None,
            run_id=None,
            has_picture=False,
            record=key,
            corrected_by=None,
            entries=(),
            faults=self.by_record.get(key, ("no entry of the log tells of it",)),
        )

    def _list_records(self) -> list[tuple[RecordKey, datetime, int | None]]:
        records = self.records
        board = records.board
        return [
            (RecordKey("board", board.id), board.registered_at, board.registered_by_id),
            *((RecordKey("job", row.id), row.opened_at, row.opened_by_id) for row in records.jobs),
            *(
                (RecordKey("hold", row.id), row.placed_at, row.placed_by_id)
                for row in records.holds
            ),
            *((RecordKey("step entry", row.id), row.at, row.by_id) for row in records.steps),
            *((RecordKey("run", row.id), row.started_at, row.by_id) for row in records.runs),
        ]

    def _spell_person(self, entry: ToldEntry) -> str:
        if entry.person is not None and entry.person in self.records.names:
            return self.records.names[entry.person]
        if entry.actor_id is None:
            return "the terminal"
        return self.records.account_names.get(entry.actor_id, f"account {entry.actor_id}")


def _map_sentences(differences: Iterable[Difference]) -> dict[RecordKey, tuple[str, ...]]:
    found: dict[RecordKey, tuple[str, ...]] = {}
    for difference in differences:
        before = found.get(difference.record, ())
        found[difference.record] = (*before, difference.sentence)
    return found
