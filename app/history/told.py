"""An audit entry as the history reads it, and whether a board's own chain of them holds."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from app.audit.verifier import find_fault_in_columns
from app.numerics.merkle import hash_leaf

_NOTHING: Final[Mapping[str, Any]] = {}


@dataclass(frozen=True, slots=True)
class ToldEntry:
    """One entry with its exact bytes and what they say; `said` is empty if they say nothing."""

    seq: int
    number: int | None
    at: datetime
    actor_id: int | None
    action: str
    subject_kind: str
    subject_id: int
    job_id: int | None
    leaf_hash: bytes
    body: bytes
    said: Mapping[str, Any]

    @property
    def details(self) -> Mapping[str, Any]:
        """What the service told beside who, when and what."""
        found = self.said.get("details")
        return found if isinstance(found, dict) else _NOTHING

    @property
    def person(self) -> str | None:
        """The commitment to the name of who acted."""
        actor = self.said.get("actor")
        found = actor.get("person") if isinstance(actor, dict) else None
        return found if isinstance(found, str) else None


@dataclass(frozen=True)
class ChainFault:
    """The first entry of a board that is not as it was written, and how it differs."""

    seq: int
    reason: str


def read_entry(row: Any) -> ToldEntry:
    """Return a row of the log with its text read; an unreadable text says nothing."""
    try:
        said = json.loads(row.body)
    except ValueError:
        said = _NOTHING
    return ToldEntry(
        row.seq,
        row.board_number,
        row.at,
        row.actor_id,
        row.action,
        row.subject_kind,
        row.subject_id,
        row.job_id,
        row.leaf_hash,
        row.body,
        said if isinstance(said, dict) else _NOTHING,
    )


def read_entries(rows: Iterable[Any]) -> tuple[ToldEntry, ...]:
    """Return the rows with their texts read."""
    return tuple(read_entry(row) for row in rows)


def find_chain_fault(
    rows: Sequence[Any], entries: Sequence[ToldEntry], *, board_id: int
) -> ChainFault | None:
    """Return the first wrong entry of a board's own chain, or None.

    Checks the running numbers, each hash, the link to the entry before, and that the columns
    repeat the text. That the newest entries are all there is for the whole log to say.
    """
    previous: str | None = None
    for place, (row, entry) in enumerate(zip(rows, entries, strict=True), start=1):
        fault = _find_fault(row, entry, place=place, previous=previous, board_id=board_id)
        if fault is not None:
            return ChainFault(entry.seq, fault)
        previous = entry.leaf_hash.hex()
    return None


def _find_fault(
    row: Any, entry: ToldEntry, *, place: int, previous: str | None, board_id: int
) -> str | None:
    if entry.number != place:
        return f"the board's entry {place} is missing before it"
    if hash_leaf(entry.body) != entry.leaf_hash:
        return "its text does not have the hash that was stored with it"
    try:
        fault = find_fault_in_columns(row, entry.said)
        link = entry.said["board"]
        if fault is None and (link["id"] != board_id or link["previous"] != previous):
            fault = "it does not follow from the board's entry before it"
    except (KeyError, TypeError):
        return "its text cannot be read"
    return fault
