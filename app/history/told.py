"""An audit entry as the history reads it, and whether a board's own chain of them holds."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from pydantic_core import from_json

from app.audit.verifier import find_fault_in_columns
from app.core.canonical_json import spell_canonical_json
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
        said = from_json(row.body, allow_inf_nan=False)
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


def find_chain_fault(rows: Sequence[Any], *, board_id: int) -> ChainFault | None:
    """Return the first wrong entry of a board's own chain, or None.

    Checks the running numbers, each hash, the link to the entry before, and that the columns
    repeat the text. That the newest entries are all there is for the whole log to say.
    """
    previous: str | None = None
    for place, row in enumerate(rows, start=1):
        leaf: bytes = row.leaf_hash
        if row.board_number != place:
            return ChainFault(row.seq, f"the board's entry {place} is missing before it")
        if hash_leaf(row.body) != leaf:
            reason = "its text does not have the hash that was stored with it"
            return ChainFault(row.seq, reason)
        if not repeats_columns(row, previous=previous):
            return ChainFault(row.seq, _explain(row, board_id=board_id, previous=previous))
        previous = leaf.hex()
    return None


def repeats_columns(row: Any, *, previous: str | None) -> bool:
    """Say whether an entry's text stands as its columns would spell it, without reading it whole.

    The members of canonical JSON have one order and one spelling, so what stands before the
    person, between the roles and the details, and behind the details is known byte by byte.
    """
    # Taken apart at once: this runs for every entry of a board at each look at it.
    seq, body, _, at, actor_id, action, kind, subject_id, job_id, board_id, number = row
    actor = "null" if actor_id is None else actor_id
    link = "null" if previous is None else f'"{previous}"'
    job = "null" if job_id is None else job_id
    moment = at.isoformat(timespec="microseconds")[:26]
    head = f'{{"action":"{action}","actor":{{"account":{actor},"person":'
    middle = (
        f'}},"at":"{moment}Z","board":{{"id":{board_id},"number":{number},"previous":{link}}},'
        '"details":{'
    )
    tail = (
        f'}},"format":1,"job":{job},"seq":{seq},"subject":{{"id":{subject_id},"kind":"{kind}"}}}}'
    )
    # Within a text a quote is escaped, so the first such bytes are the end of the actor.
    place = body.find(_END_OF_ACTOR)
    return bool(
        body.startswith(head.encode())
        and body.startswith(middle.encode(), place)
        and body.endswith(tail.encode())
    )


_END_OF_ACTOR: Final = b'},"at":"'


def _explain(row: Any, *, board_id: int, previous: str | None) -> str:
    """Say what an entry's text says otherwise than its columns or the entry before it."""
    said = read_entry(row).said
    try:
        fault = find_fault_in_columns(row, said)
        link = said["board"]
        if fault is None and (link["id"] != board_id or link["previous"] != previous):
            fault = "it does not follow from the board's entry before it"
        if fault is None and spell_canonical_json(said) != row.body:
            fault = "its text is not in canonical form"
    except (KeyError, TypeError, ValueError):
        return "its text cannot be read"
    return fault or "its text is not as an entry is written"
