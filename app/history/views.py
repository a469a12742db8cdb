"""The JSON of histories, of the trail and of its verification."""

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, JsonValue

from app.audit.tables import AuditEntry
from app.history.composer import StoryLine
from app.history.exports import describe_entry, describe_line
from app.history.log_state import Phase, Progress, Standing, WholeCheck
from app.history.told import read_entry, read_text

Digest = Annotated[str, Field(description="64 hexadecimal digits.")]


class DetailView(BaseModel):
    """One detail of a line: what it is, and the text."""

    label: str
    text: str


class RecipeUsedView(BaseModel):
    """The recipe revision that a line is about."""

    revision_id: int
    code: str
    number: int
    digest: str | None
    designator: str


class ToldEntryView(BaseModel):
    """An audit entry with its exact text; the leaf hash is over a zero byte and this text."""

    seq: int
    board_number: int | None
    leaf_hash: Digest
    body: str | None = Field(description="Null where the stored bytes are no text.")


class StoryLineView(BaseModel):
    """One thing that happened to a board; `differs_from_log` says where its record was changed."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "line": 4,
                    "at": "2026-03-04T14:20:07Z",
                    "account_id": 3,
                    "who": "Odile Maasland",
                    "kind": "step",
                    "what": "Dress of U3 signed",
                    "details": [{"label": "Tip", "text": "K2"}],
                    "job_id": 2,
                    "designators": ["U3"],
                    "recipes": [
                        {
                            "revision_id": 1,
                            "code": "LIM-U3",
                            "number": 1,
                            "digest": "5f" * 32,
                            "designator": "U3",
                        }
                    ],
                    "lots": ["wick: W-118"],
                    "verdict": None,
                    "window_use_pct": None,
                    "run_id": None,
                    "differs_from_log": [],
                    "entries": [
                        {"seq": 31, "board_number": 4, "leaf_hash": "a0" * 32, "body": "{}"}
                    ],
                }
            ]
        }
    )

    line: int = Field(description="From 1; 0 for a record that no entry tells of.")
    at: datetime
    account_id: int | None
    who: str
    kind: str
    what: str
    details: list[DetailView]
    job_id: int | None
    designators: list[str]
    recipes: list[RecipeUsedView]
    lots: list[str]
    verdict: str | None
    window_use_pct: float | None
    run_id: int | None
    differs_from_log: list[str]
    entries: list[ToldEntryView]

    @classmethod
    def of(cls, line: StoryLine) -> "StoryLineView":
        """Return a line with its entries whole."""
        entries = [describe_entry(entry) for entry in line.entries]
        return cls.model_validate({**describe_line(line), "entries": entries})


class AuditEntryView(BaseModel):
    """An entry of the log: its columns, its exact text and what that says, and its hashes."""

    seq: int
    at: datetime
    actor_id: int | None
    action: str
    subject_kind: str
    subject_id: int
    job_id: int | None
    board_id: int | None
    board_number: int | None
    body: str | None = Field(description="The exact text that is hashed; null if it is no text.")
    said: dict[str, JsonValue] = Field(description="What the text says, for convenience.")
    leaf_hash: Digest
    root: Digest
    frontier: list[Digest]

    @classmethod
    def of(cls, row: AuditEntry) -> "AuditEntryView":
        """Return an entry as it is stored."""
        told = read_entry(row)
        frontier = row.frontier
        return cls(
            seq=row.seq,
            at=row.at,
            actor_id=row.actor_id,
            action=row.action,
            subject_kind=row.subject_kind,
            subject_id=row.subject_id,
            job_id=row.job_id,
            board_id=row.board_id,
            board_number=row.board_number,
            body=describe_entry(told)["body"],
            said=read_text(row.body),
            leaf_hash=row.leaf_hash.hex(),
            root=row.root.hex(),
            frontier=[frontier[at : at + 32].hex() for at in range(0, len(frontier), 32)],
        )


class WrongEntryView(BaseModel):
    """The first wrong entry, and how it differs."""

    seq: int
    reason: str


class DifferenceView(BaseModel):
    """A record that differs from the log, and the entry that tells otherwise."""

    kind: str
    id: int
    name: str
    sentence: str
    seq: int | None


class OpenLockView(BaseModel):
    """A lock of the database that does not hold, and what its table's administrator can do."""

    trigger: str
    table: str
    sentence: str


class WholeCheckView(BaseModel):
    """What the last check of everything found."""

    is_whole: bool
    size: int
    root: Digest
    began_at: datetime
    duration_s: float
    wrong: WrongEntryView | None
    records: int
    difference_count: int
    differences: list[DifferenceView]
    locks: int = Field(description="Triggers of the database that keep rows from being changed.")
    open_locks: list[OpenLockView]

    @classmethod
    def of(cls, check: WholeCheck) -> "WholeCheckView":
        """Return a finished check."""
        return cls(
            is_whole=check.is_whole,
            size=check.size,
            root=check.root.hex(),
            began_at=check.began_at,
            duration_s=check.duration_s,
            wrong=WrongEntryView(seq=check.wrong.seq, reason=check.wrong.reason)
            if check.wrong
            else None,
            records=check.records,
            difference_count=check.difference_count,
            differences=[
                DifferenceView(
                    kind=one.record.kind,
                    id=one.record.id,
                    name=one.name,
                    sentence=one.sentence,
                    seq=one.seq,
                )
                for one in check.differences
            ],
            locks=check.locks,
            open_locks=[
                OpenLockView(trigger=one.trigger, table=one.table, sentence=str(one))
                for one in check.open_locks
            ],
        )


class ProgressView(BaseModel):
    """How far a running check has come."""

    phase: Phase
    done: int
    total: int
    words: str
    began_at: datetime

    @classmethod
    def of(cls, running: Progress) -> "ProgressView":
        """Return the progress with its words for people."""
        return cls(
            phase=running.phase,
            done=running.done,
            total=running.total,
            words=f"{running.done:,} of {running.total:,} {running.phase.words}",
            began_at=running.began_at,
        )


class VerificationView(BaseModel):
    """How the log stands for this service: proven so far, the last whole check, a running one."""

    verifies: bool = Field(description="Whether no wrong entry is known and none waits.")
    size: int
    root: Digest
    whole_since: datetime | None
    checked_at: datetime
    waiting: int = Field(description="Entries that are too many to prove at once.")
    wrong: WrongEntryView | None
    last_check: WholeCheckView | None
    running: ProgressView | None
    failure: str | None = Field(description="Why the last whole check was not finished.")

    @classmethod
    def of(cls, standing: Standing) -> "VerificationView":
        """Return how the log stands."""
        proven, check, running = standing.proven, standing.last_check, standing.running
        return cls(
            verifies=proven.wrong is None and not proven.waiting,
            size=proven.size,
            root=proven.root.hex(),
            whole_since=proven.first_at,
            checked_at=proven.checked_at,
            waiting=proven.waiting,
            wrong=WrongEntryView(seq=proven.wrong.seq, reason=proven.wrong.reason)
            if proven.wrong
            else None,
            last_check=WholeCheckView.of(check) if check else None,
            running=ProgressView.of(running) if running else None,
            failure=standing.failure,
        )
