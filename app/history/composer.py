"""The lines of a board's story, each written when it is asked for."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from functools import cached_property
from typing import overload

import msgspec

from app.history.differences import Difference
from app.history.lines import LineWriter, RecipeUsed, Sign
from app.history.links import RUN_ENDS, Links, RecordKey
from app.history.queries import BoardRecords
from app.history.rules import EventKind
from app.history.told import ToldEntry


class StoryLine(msgspec.Struct, frozen=True, gc=False):
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


class StoryLines(Sequence[StoryLine]):
    """The numbered entries' lines, then those of the records that the log does not tell of.

    A board has thousands of lines and a page shows a few: none is written before it is taken.
    """

    def __init__(
        self,
        records: BoardRecords,
        links: Links,
        differences: Collection[Difference],
        *,
        numbers: Mapping[int, int],
    ) -> None:
        self._records = records
        self._links = links
        self._differences = differences
        self._entries = [entry for entry in records.entries if entry.seq in numbers]
        self._numbers = numbers
        self._untold = _list_untold(records, links, differences)

    def __len__(self) -> int:
        return len(self._entries) + len(self._untold)

    @overload
    def __getitem__(self, place: int) -> StoryLine: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[StoryLine, ...]: ...
    def __getitem__(self, place: int | slice) -> StoryLine | tuple[StoryLine, ...]:
        if isinstance(place, slice):
            return tuple(self._write(one) for one in range(len(self))[place])
        return self._write(range(len(self))[place])

    @cached_property
    def _composer(self) -> "_Composer":
        return _Composer(self._records, self._links, self._differences)

    def _write(self, place: int) -> StoryLine:
        if place < len(self._entries):
            entry = self._entries[place]
            return self._composer.compose(entry, self._numbers[entry.seq])
        return self._composer.compose_untold(*self._untold[place - len(self._entries)])


Untold = tuple[RecordKey, datetime, int | None]


def _list_untold(
    records: BoardRecords, links: Links, differences: Collection[Difference]
) -> list[Untold]:
    """List the records without any entry: record, moment and account."""
    # Such a record was named when the records were held against the log.
    named = {difference.record for difference in differences if difference.seq is None}
    without = named - links.told.keys()
    return [one for one in _list_records(records) if one[0] in without] if without else []


def _list_records(records: BoardRecords) -> list[Untold]:
    board = records.board
    return [
        (RecordKey("board", board.id), board.registered_at, board.registered_by_id),
        *((RecordKey("job", row.id), row.opened_at, row.opened_by_id) for row in records.jobs),
        *((RecordKey("hold", row.id), row.placed_at, row.placed_by_id) for row in records.holds),
        *((RecordKey("step entry", row.id), row.at, row.by_id) for row in records.steps),
        *((RecordKey("run", row.id), row.started_at, row.by_id) for row in records.runs),
    ]


class _Composer:
    def __init__(
        self, records: BoardRecords, links: Links, differences: Collection[Difference]
    ) -> None:
        self.records = records
        self.links = links
        self.writer = LineWriter(records)
        self.by_record = map_sentences(differences)
        self.by_revision = map_sentences(
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

    def compose(self, entry: ToldEntry, number: int) -> StoryLine:
        """Return the line of an entry."""
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

    def compose_untold(self, key: RecordKey, at: datetime, account_id: int | None) -> StoryLine:
        """Return the line of a record that the log does not tell of."""
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

    def _spell_person(self, entry: ToldEntry) -> str:
        if entry.person is not None and entry.person in self.records.names:
            return self.records.names[entry.person]
        if entry.actor_id is None:
            return "the terminal"
        return self.records.account_names.get(entry.actor_id, f"account {entry.actor_id}")


def map_sentences(differences: Iterable[Difference]) -> dict[RecordKey, tuple[str, ...]]:
    """Return what is said of each record that differs."""
    found: dict[RecordKey, tuple[str, ...]] = {}
    for difference in differences:
        before = found.get(difference.record, ())
        found[difference.record] = (*before, difference.sentence)
    return found
