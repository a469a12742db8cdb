"""Which entries tell of which record of a board, and which have lost theirs."""

from collections import defaultdict
from dataclasses import dataclass
from typing import Final

import msgspec

from app.history.queries import BoardRecords
from app.history.told import ToldEntry

STEP_ACTIONS: Final = frozenset({"jobs.sign_step", "jobs.skip_step", "jobs.correct_entry"})
RUN_ENDS: Final = frozenset({"jobs.complete_run", "jobs.abort_run"})


class RecordKey(msgspec.Struct, frozen=True, gc=False):
    """A record by its kind and number: `step entry`, 12."""

    kind: str
    id: int


@dataclass(frozen=True)
class Links:
    """Record → its entries in order, entry → its record, and entries whose record is gone."""

    told: dict[RecordKey, tuple[ToldEntry, ...]]
    record_of: dict[int, RecordKey]
    gone: tuple[ToldEntry, ...]

    def find(self, key: RecordKey, *actions: str) -> ToldEntry | None:
        """Return the newest entry about a record, among these actions where some are named."""
        for entry in reversed(self.told.get(key, ())):
            if not actions or entry.action in actions:
                return entry
        return None


def link(records: BoardRecords) -> Links:
    """Bring entries and records together.

    The entries of a line and the holds of a job follow each other, so that the first entry tells
    of the first record; what an entry says is compared elsewhere.
    """
    linker = _Linker(records)
    told: dict[RecordKey, list[ToldEntry]] = defaultdict(list)
    record_of: dict[int, RecordKey] = {}
    gone: list[ToldEntry] = []
    for entry in records.entries:
        key = linker.find_record(entry)
        if key is not None:
            told[key].append(entry)
            record_of[entry.seq] = key
        elif entry.subject_kind in linker.kinds:
            gone.append(entry)
    return Links({key: tuple(entries) for key, entries in told.items()}, record_of, tuple(gone))


class _Linker:
    def __init__(self, records: BoardRecords) -> None:
        self.board_id: int = records.board.id
        self.jobs = {row.id for row in records.jobs}
        self.runs = {row.id for row in records.runs}
        self.steps: dict[int, list[int]] = defaultdict(list)
        for row in records.steps:
            self.steps[row.step_id].append(row.id)
        self.holds: dict[int, list[int]] = defaultdict(list)
        for row in records.holds:
            self.holds[row.job_id].append(row.id)
        self.seen: dict[tuple[str, int], int] = defaultdict(int)
        self.kinds = frozenset({"board", "job", "step", "run"})

    def find_record(self, entry: ToldEntry) -> RecordKey | None:
        """Return the record that the next entry tells of."""
        subject = entry.subject_id
        match entry.subject_kind:
            case "board" if subject == self.board_id:
                return RecordKey("board", subject)
            case "run" if subject in self.runs:
                return RecordKey("run", subject)
            case "step" if entry.action in STEP_ACTIONS:
                return self._take("step entry", subject, self.steps[subject])
            case "job":
                return self._find_job_record(entry.action, subject)
        return None

    def _find_job_record(self, action: str, job_id: int) -> RecordKey | None:
        if action == "jobs.hold":
            return self._take("hold", job_id, self.holds[job_id])
        if action == "jobs.lift_hold":
            return self._find_open_hold(job_id)
        return RecordKey("job", job_id) if job_id in self.jobs else None

    def _take(self, kind: str, subject: int, ids: list[int]) -> RecordKey | None:
        place = self.seen[kind, subject]
        self.seen[kind, subject] += 1
        return RecordKey(kind, ids[place]) if place < len(ids) else None

    def _find_open_hold(self, job_id: int) -> RecordKey | None:
        place = self.seen["hold", job_id] - 1
        ids = self.holds[job_id]
        return RecordKey("hold", ids[place]) if 0 <= place < len(ids) else None
