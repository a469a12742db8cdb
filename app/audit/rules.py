"""The form of an audit entry: the exact bytes that are hashed, and what they say."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from typing import Final

from app.core.canonical_json import JsonValue, spell_canonical_json
from app.core.clock import spell_utc

FORMAT: Final = 1
EXACT_BELOW: Final = 2**53


@dataclass(frozen=True)
class Actor:
    """Who acts: the account's number, a commitment to the name, the roles, and through what.

    The name itself is not in the entry, so that it can be left out of a copy which still proves
    itself; `person` is the SHA-256 of salt and name, kept beside the log.
    """

    account_id: int | None
    person: str | None
    roles: tuple[str, ...]
    via: str


@dataclass(frozen=True)
class Subject:
    """What was acted on: `recipe_revision`, 12."""

    kind: str
    id: int


@dataclass(frozen=True)
class Tale:
    """What an entry tells, before its place in the log is known."""

    at: datetime
    actor: Actor
    action: str
    subject: Subject
    job_id: int | None = None
    board_id: int | None = None
    details: Mapping[str, JsonValue] = field(default_factory=dict)


@dataclass(frozen=True)
class BoardLink:
    """An entry's place in its board's own chain: running number from 1, hash of the one before."""

    board_id: int
    number: int
    previous: bytes | None


def spell_body(tale: Tale, *, seq: int, link: BoardLink | None) -> bytes:
    """Return the canonical JSON bytes of an entry (RFC 8785); these are what is hashed.

    `seq` counts from 1 without gaps.
    """
    board: JsonValue = None
    if link is not None:
        previous = link.previous.hex() if link.previous is not None else None
        board = {"id": link.board_id, "number": link.number, "previous": previous}
    return spell_canonical_json(
        {
            "format": FORMAT,
            "seq": seq,
            "at": spell_utc(tale.at),
            "actor": {
                "account": tale.actor.account_id,
                "person": tale.actor.person,
                "roles": list(tale.actor.roles),
                "via": tale.actor.via,
            },
            "action": tale.action,
            "subject": {"kind": tale.subject.kind, "id": tale.subject.id},
            "job": tale.job_id,
            "board": board,
            "details": tale.details,
        }
    )


def read_body(body: bytes) -> dict[str, JsonValue]:
    """Return what an entry's bytes say; ValueError or TypeError when they are no JSON object."""
    said = json.loads(body, parse_int=_read_integer)
    if not isinstance(said, dict):
        raise TypeError("an entry's body is a JSON object")
    return said


def _read_integer(digits: str) -> int | float:
    # RFC 8785 spells a float as large as this without a point; an integer would never be written.
    number = float(digits)
    return int(digits) if abs(number) < EXACT_BELOW else number


def compute_commitment(*, salt: bytes, username: str, name: str) -> str:
    """Return the commitment to a person's names: SHA-256 of the salt and their canonical JSON."""
    return sha256(salt + spell_canonical_json({"name": name, "username": username})).hexdigest()
