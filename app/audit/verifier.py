"""Recomputes the whole log and says which entry is wrong, and how."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from app.audit.rules import read_body
from app.core.canonical_json import spell_canonical_json
from app.core.clock import spell_utc
from app.numerics.merkle import EMPTY_ROOT, append_to_frontier, compute_root, hash_leaf


@dataclass(frozen=True)
class Verdict:
    """What a verification found: the size and root it proved, or the first wrong entry."""

    size: int
    root: bytes
    first_at: datetime | None
    last_at: datetime | None
    wrong_seq: int | None = None
    reason: str | None = None

    @property
    def is_whole(self) -> bool:
        """Whether every entry was as it was written."""
        return self.wrong_seq is None


class LogVerifier:
    """Takes entries in order and keeps what it has proven; the first wrong one ends it."""

    def __init__(self) -> None:
        self.size = 0
        self.frontier: tuple[bytes, ...] = ()
        self.boards: dict[int, tuple[int, str]] = {}
        self.first_at: datetime | None = None
        self.last_at: datetime | None = None

    def find_fault(self, entry: Any) -> str | None:
        """Return what is wrong with the next entry, or None and count it as proven."""
        if entry.seq != self.size + 1:
            return f"entry {self.size + 1} is missing: the next one is {entry.seq}"
        leaf = hash_leaf(entry.body)
        if leaf != entry.leaf_hash:
            return "its text does not have the hash that was stored with it"
        frontier = append_to_frontier(self.frontier, self.size, leaf)
        if b"".join(frontier) != entry.frontier or compute_root(frontier) != entry.root:
            return "its tree does not follow from the entries before it"
        fault = self._find_fault_in_text(entry)
        if fault is not None:
            return fault
        self.frontier = frontier
        self.size += 1
        self.first_at = self.first_at or entry.at
        self.last_at = entry.at
        return None

    def _find_fault_in_text(self, entry: Any) -> str | None:
        try:
            said = read_body(entry.body)
            if spell_canonical_json(said) != entry.body:
                return "its text is not in canonical form"
            fault = find_fault_in_columns(entry, said)
            return fault or self._find_fault_in_chain(said["board"], entry.leaf_hash)
        except (ValueError, KeyError, TypeError, RecursionError):
            return "its text cannot be read"

    def _find_fault_in_chain(self, board: Any, leaf: bytes) -> str | None:
        if board is None:
            return None
        number, previous = self.boards.get(board["id"], (0, None))
        if board["number"] != number + 1 or board["previous"] != previous:
            return f"the chain of board {board['id']} breaks here"
        self.boards[board["id"]] = (board["number"], leaf.hex())
        return None


def verify_entries(
    entries: Iterable[Any], *, tell: Callable[[int], None] = lambda _: None
) -> Verdict:
    """Recompute every hash, tree and chain; `tell` hears the count now and then.

    Stops at the first entry that is wrong and names it with the reason.
    """
    log = LogVerifier()
    for entry in entries:
        fault = log.find_fault(entry)
        if fault is not None:
            wrong = max(log.size + 1, 1)
            return Verdict(
                log.size, compute_root(log.frontier), log.first_at, log.last_at, wrong, fault
            )
        if log.size % 1_000 == 0:
            tell(log.size)
    tell(log.size)
    root = compute_root(log.frontier) if log.size else EMPTY_ROOT
    return Verdict(log.size, root, log.first_at, log.last_at)


def find_fault_in_columns(entry: Any, said: Any) -> str | None:
    """Return which column of an entry does not repeat what its text says, or None.

    KeyError or TypeError for a text that is no entry's.
    """
    columns = _list_columns(said)
    stored = {
        "seq": entry.seq,
        "at": spell_utc(entry.at),
        "actor_id": entry.actor_id,
        "action": entry.action,
        "subject_kind": entry.subject_kind,
        "subject_id": entry.subject_id,
        "job_id": entry.job_id,
        "board_id": entry.board_id,
        "board_number": entry.board_number,
    }
    for name, value in stored.items():
        if columns[name] != value:
            return f"its column {name} says {value!r}, its text {columns[name]!r}"
    return None


def _list_columns(said: Any) -> dict[str, object]:
    board = said["board"] or {"id": None, "number": None}
    return {
        "seq": said["seq"],
        "at": said["at"],
        "actor_id": said["actor"]["account"],
        "action": said["action"],
        "subject_kind": said["subject"]["kind"],
        "subject_id": said["subject"]["id"],
        "job_id": said["job"],
        "board_id": board["id"],
        "board_number": board["number"],
    }
