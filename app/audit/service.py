"""Writes the log: services tell, and the commit's last act puts the tales into the tree."""

import secrets
from collections.abc import Mapping
from datetime import datetime
from typing import Final
from weakref import WeakKeyDictionary

from sqlalchemy import event, insert
from sqlalchemy.orm import Session, SessionTransaction, UOWTransaction

from app.audit import rules
from app.audit.queries import find_last, find_last_of_board, wait_and_find_last
from app.audit.rules import Actor, BoardLink, Subject, Tale
from app.audit.tables import AuditEntry, NameCard
from app.core.canonical_json import JsonValue
from app.core.db import Base, Sessions
from app.numerics.merkle import append_to_frontier, compute_root, hash_leaf

_TALES: Final = "audit_tales"
_CHANGED: Final = "audit_changed"
_AT_SAVEPOINT: Final = "audit_at_savepoint"
_ADD_ENTRIES: Final = insert(AuditEntry.__table__)  # type: ignore[arg-type]


class ChangeWithoutTale(RuntimeError):
    """A service changed an audited table and told nothing: never committed."""


def append(
    session: Session,
    *,
    action: str,
    subject: Subject,
    actor: Actor,
    now: datetime,
    board_id: int | None = None,
    job_id: int | None = None,
    details: Mapping[str, JsonValue] | None = None,
) -> None:
    """Tell what was done; the entry is written in the same transaction, just before its commit.

    `details` holds what a reader needs to repeat the decision: before and after, digests, numbers.
    No personal name belongs there.
    """
    # Joins the transaction, so that a rollback forgets the tale even where nothing else was done.
    session.connection()
    tale = Tale(now, actor, action, subject, job_id, board_id, details or {})
    session.info.setdefault(_TALES, []).append(tale)


def add_name_card(
    session: Session, *, account_id: int, username: str, name: str, now: datetime
) -> str:
    """Keep a person's names beside the log and return the commitment that entries carry."""
    salt = secrets.token_bytes(16)
    commitment = rules.compute_commitment(salt=salt, username=username, name=name)
    session.add(
        NameCard(
            commitment=commitment,
            account_id=account_id,
            username=username,
            name=name,
            salt=salt,
            at=now,
        )
    )
    session.flush()
    return commitment


def install_log(sessions: Sessions) -> None:
    """Make every commit of these sessions write its tales, and refuse changes that tell nothing."""
    for maker in (sessions.read, sessions.write):
        event.listen(maker, "after_flush", _note_changes)
        event.listen(maker, "before_commit", _write_tales)
        event.listen(maker, "after_transaction_create", _note_savepoint)
        event.listen(maker, "after_soft_rollback", _forget)


def _note_changes(session: Session, _context: UOWTransaction) -> None:
    for row in (*session.new, *session.dirty, *session.deleted):
        if (
            isinstance(row, Base)
            and row.audited
            and (row not in session.dirty or session.is_modified(row))
        ):
            session.info[_CHANGED] = type(row).__name__
            return


def _write_tales(session: Session) -> None:
    if session.in_nested_transaction():
        # The end of a savepoint; the log is written at the end of the transaction.
        return
    session.flush()
    tales: list[Tale] = session.info.pop(_TALES, [])
    changed = session.info.pop(_CHANGED, None)
    if changed is not None and not tales:
        raise ChangeWithoutTale(f"{changed} was changed and no audit entry tells of it")
    if tales:
        _write(session, tales)


def _write(session: Session, tales: list[Tale]) -> None:
    # The lock, the read of the newest entry and the insert are the transaction's last statements:
    # locks taken before it are held by transactions that need only wait for this one.
    if session.get_bind().dialect.name == "postgresql":
        last = wait_and_find_last(session)
    else:
        last = find_last(session)
    seq, stored = last or (0, b"")
    frontier = split_frontier(stored)
    links: dict[int, tuple[int, bytes | None]] = {}
    rows = []
    for tale in tales:
        link = _link(session, tale.board_id, links)
        body = rules.spell_body(tale, seq=seq + 1, link=link)
        leaf = hash_leaf(body)
        frontier = append_to_frontier(frontier, seq, leaf)
        seq += 1
        if link is not None:
            links[link.board_id] = (link.number, leaf)
        rows.append(
            {
                "seq": seq,
                "body": body,
                "leaf_hash": leaf,
                "root": compute_root(frontier),
                "frontier": b"".join(frontier),
                "at": tale.at,
                "actor_id": tale.actor.account_id,
                "action": tale.action,
                "subject_kind": tale.subject.kind,
                "subject_id": tale.subject.id,
                "job_id": tale.job_id,
                "board_id": tale.board_id,
                "board_number": link.number if link is not None else None,
            }
        )
    # A list of one would go the way of many, which takes PostgreSQL longer.
    session.connection().execute(_ADD_ENTRIES, rows[0] if len(rows) == 1 else rows)


def _link(
    session: Session, board_id: int | None, links: dict[int, tuple[int, bytes | None]]
) -> BoardLink | None:
    if board_id is None:
        return None
    if board_id not in links:
        links[board_id] = find_last_of_board(session, board_id) or (0, None)
    number, previous = links[board_id]
    return BoardLink(board_id, number + 1, previous)


def split_frontier(stored: bytes) -> tuple[bytes, ...]:
    """Return the 32-byte hashes of a stored frontier, the largest subtree first."""
    return tuple(stored[place : place + 32] for place in range(0, len(stored), 32))


def _forget(session: Session, ended: SessionTransaction) -> None:
    savepoint = _find_savepoint(ended)
    if savepoint is None:
        session.info.pop(_TALES, None)
        session.info.pop(_CHANGED, None)
        return
    # A savepoint takes back what was done since it was set, and nothing that was done before.
    told, changed = session.info[_AT_SAVEPOINT][savepoint]
    del session.info.get(_TALES, [])[told:]
    if changed is None:
        session.info.pop(_CHANGED, None)


def _note_savepoint(session: Session, begun: SessionTransaction) -> None:
    if begun.nested:
        noted = session.info.setdefault(_AT_SAVEPOINT, WeakKeyDictionary())
        noted[begun] = (len(session.info.get(_TALES, [])), session.info.get(_CHANGED))


def _find_savepoint(transaction: SessionTransaction | None) -> SessionTransaction | None:
    # A flush that fails ends a part of its own, which takes the savepoint around it along.
    while transaction is not None and not transaction.nested:
        transaction = transaction.parent
    return transaction
