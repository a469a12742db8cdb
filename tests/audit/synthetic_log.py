"""A log made without a database: entries with real hashes, trees and chains, and ways to forge."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from app.audit.rules import Actor, BoardLink, Subject, Tale, spell_body
from app.core.canonical_json import JsonValue
from app.numerics.merkle import append_to_frontier, compute_root, hash_leaf
from tests.conftest import NOW

ODILE = Actor(3, "ab" * 32, ("operator",), "session")


@dataclass(frozen=True)
class Entry:
    """An entry as the table keeps it."""

    seq: int
    body: bytes
    leaf_hash: bytes
    root: bytes
    frontier: bytes
    at: datetime
    actor_id: int | None
    action: str
    subject_kind: str
    subject_id: int
    job_id: int | None
    board_id: int | None
    board_number: int | None


def tell(number: int, *, board_id: int | None = None, **details: JsonValue) -> Tale:
    """Return what happened at a number of seconds after the beginning."""
    return Tale(
        NOW + timedelta(seconds=number),
        ODILE,
        "jobs.sign_step",
        Subject("step", number),
        job_id=number % 5 or None,
        board_id=board_id,
        details=details,
    )


def write(tales: Iterable[Tale]) -> list[Entry]:
    """Return the log of these tales, as the house would write it."""
    entries: list[Entry] = []
    frontier: tuple[bytes, ...] = ()
    chains: dict[int, BoardLink] = {}
    for size, tale in enumerate(tales):
        link = None
        if tale.board_id is not None:
            before = chains.get(tale.board_id, BoardLink(tale.board_id, 0, None))
            link = replace(before, number=before.number + 1)
        body = spell_body(tale, seq=size + 1, link=link)
        leaf = hash_leaf(body)
        if link is not None:
            chains[link.board_id] = replace(link, previous=leaf)
        frontier = append_to_frontier(frontier, size, leaf)
        entries.append(
            Entry(
                seq=size + 1,
                body=body,
                leaf_hash=leaf,
                root=compute_root(frontier),
                frontier=b"".join(frontier),
                at=tale.at,
                actor_id=tale.actor.account_id,
                action=tale.action,
                subject_kind=tale.subject.kind,
                subject_id=tale.subject.id,
                job_id=tale.job_id,
                board_id=tale.board_id,
                board_number=link.number if link else None,
            )
        )
    return entries


def write_some(count: int) -> list[Entry]:
    """Return a log of so many entries about three boards and things that are no board's."""
    boards = (None, 1, 2, 1, 7)
    return write(
        tell(number, board_id=boards[number % 5], peak_c=240.5, lots=["F-2231"])
        for number in range(1, count + 1)
    )


def write_again(
    entries: Sequence[Entry], bodies: Mapping[int, bytes], *, since: int = 0
) -> list[Entry]:
    """Return a log whose bodies were replaced and whose hashes and trees were made anew.

    Entries before the index `since` keep the hashes and trees that they had.
    """
    frontier: tuple[bytes, ...] = ()
    forged = []
    for size, entry in enumerate(entries):
        body = bodies.get(size, entry.body)
        leaf = hash_leaf(body)
        frontier = append_to_frontier(frontier, size, leaf)
        new = replace(
            entry,
            body=body,
            leaf_hash=leaf,
            root=compute_root(frontier),
            frontier=b"".join(frontier),
        )
        forged.append(new if size >= since else entry)
    return forged
