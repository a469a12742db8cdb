"""An audit entry as the history reads it, and whether a board's own chain of them holds."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import msgspec
from pydantic_core import from_json, to_json

from app.audit.verifier import find_fault_in_columns
from app.core.canonical_json import spell_canonical_json
from app.history.quick import PLAIN_MOMENT_LENGTH, spell_plain_moment
from app.numerics.merkle import hash_leaf


class ToldEntry(msgspec.Struct, frozen=True, gc=False):
    """One entry with its exact bytes, and what they say about who acted and what was done.

    `moment` is `at` as the text spells it: `2026-03-04T14:20:07.000000Z`. `person` is the
    commitment to the name of who acted. An unreadable text says nothing.
    """

    seq: int
    at: datetime
    moment: str
    actor_id: int | None
    action: str
    subject_kind: str
    subject_id: int
    job_id: int | None
    board_id: int | None
    board_number: int | None
    leaf_hash: bytes
    body: bytes
    person: str | None
    details_text: msgspec.Raw

    @property
    def details(self) -> dict[str, Any]:
        """What the service told beside who, when and what; read at each asking.

        A board's thousands of them would otherwise be kept, and be walked by the collector.
        """
        try:
            return _read_details(self.details_text)
        except (ValueError, RecursionError):
            return {}


@dataclass(frozen=True)
class ChainFault:
    """The first entry of a board that is not as it was written, and how it differs."""

    seq: int
    reason: str


class _Actor(msgspec.Struct, gc=False):
    person: str | None


class _Said(msgspec.Struct, gc=False):
    actor: _Actor
    details: msgspec.Raw


_read_details: Final = msgspec.json.Decoder(dict[str, Any]).decode
_NO_DETAILS: Final = msgspec.Raw(b"{}")
# A board has thousands of entries: only what is needed is taken from their texts.
_read_said: Final = msgspec.json.Decoder(_Said).decode


def read_entry(row: Any) -> ToldEntry:
    """Return an entry with its text read; an unreadable text says nothing."""
    return _read(
        row.seq,
        row.body,
        row.leaf_hash,
        spell_plain_moment(row.at),
        row.actor_id,
        row.action,
        row.subject_kind,
        row.subject_id,
        row.job_id,
        row.board_id,
        row.board_number,
    )


def read_entries(rows: Iterable[Any]) -> tuple[ToldEntry, ...]:
    """Return rows of ENTRY_COLUMNS, in their order, with their texts read."""
    return tuple([_read(*row) for row in rows])


def read_text(body: bytes) -> dict[str, Any]:
    """Return everything that an entry's text says, nothing for one that is no JSON object."""
    try:
        said = from_json(body, allow_inf_nan=False)
    except ValueError:
        return {}
    return said if isinstance(said, dict) else {}


def _read(
    seq: int,
    body: bytes,
    leaf_hash: bytes,
    plain_moment: str,
    actor_id: int | None,
    action: str,
    subject_kind: str,
    subject_id: int,
    job_id: int | None,
    board_id: int | None,
    board_number: int | None,
) -> ToldEntry:
    at = datetime.fromisoformat(plain_moment + "+00:00")
    if len(plain_moment) != PLAIN_MOMENT_LENGTH:
        plain_moment = spell_plain_moment(at)
    try:
        said = _read_said(body)
        person, details_text = said.actor.person, said.details
    except (ValueError, RecursionError):
        person, details_text = _read_tolerantly(body)
    return ToldEntry(
        seq,
        at,
        f"{plain_moment[:10]}T{plain_moment[11:]}Z",
        actor_id,
        action,
        subject_kind,
        subject_id,
        job_id,
        board_id,
        board_number,
        leaf_hash,
        body,
        person,
        details_text,
    )


def _read_tolerantly(body: bytes) -> tuple[str | None, msgspec.Raw]:
    said = read_text(body)
    actor, details = said.get("actor"), said.get("details")
    person = actor.get("person") if isinstance(actor, dict) else None
    return (
        person if isinstance(person, str) else None,
        msgspec.Raw(to_json(details)) if isinstance(details, dict) else _NO_DETAILS,
    )


def find_chain_fault(entries: Sequence[ToldEntry], *, board_id: int) -> ChainFault | None:
    """Return the first wrong entry of a board's own chain, or None.

    Checks the running numbers, each hash, the link to the entry before, and that the columns
    repeat the text. That the newest entries are all there is for the whole log to say.
    """
    previous: str | None = None
    for place, entry in enumerate(entries, start=1):
        leaf = entry.leaf_hash
        if entry.board_number != place:
            return ChainFault(entry.seq, f"the board's entry {place} is missing before it")
        if hash_leaf(entry.body) != leaf:
            reason = "its text does not have the hash that was stored with it"
            return ChainFault(entry.seq, reason)
        if not repeats_columns(entry, previous=previous):
            return ChainFault(entry.seq, _explain(entry, board_id=board_id, previous=previous))
        previous = leaf.hex()
    return None


def repeats_columns(entry: ToldEntry, *, previous: str | None) -> bool:
    """Say whether an entry's text stands as its columns would spell it, without reading it whole.

    The members of canonical JSON have one order and one spelling, so what stands before the
    person, between the roles and the details, and behind the details is known byte by byte.
    """
    try:
        text = entry.body.decode()
    except UnicodeDecodeError:
        return False
    actor = "null" if entry.actor_id is None else entry.actor_id
    link = "null" if previous is None else f'"{previous}"'
    job = "null" if entry.job_id is None else entry.job_id
    # Within a text a quote is escaped, so the first such characters are the end of the actor.
    place = text.find(_END_OF_ACTOR)
    return (
        text.startswith(f'{{"action":"{entry.action}","actor":{{"account":{actor},"person":')
        and text.startswith(
            f'}},"at":"{entry.moment}","board":{{"id":{entry.board_id},'
            f'"number":{entry.board_number},"previous":{link}}},"details":{{',
            place,
        )
        and text.endswith(
            f'}},"format":1,"job":{job},"seq":{entry.seq},'
            f'"subject":{{"id":{entry.subject_id},"kind":"{entry.subject_kind}"}}}}'
        )
    )


_END_OF_ACTOR: Final = '},"at":"'


def _explain(entry: ToldEntry, *, board_id: int, previous: str | None) -> str:
    """Say what an entry's text says otherwise than its columns or the entry before it."""
    said = read_text(entry.body)
    try:
        fault = find_fault_in_columns(entry, said)
        link = said["board"]
        if fault is None and (link["id"] != board_id or link["previous"] != previous):
            fault = "it does not follow from the board's entry before it"
        if fault is None and spell_canonical_json(said) != entry.body:
            fault = "its text is not in canonical form"
    except (KeyError, TypeError, ValueError):
        return "its text cannot be read"
    return fault or "its text is not as an entry is written"
