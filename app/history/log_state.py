"""What this process knows of the log: how far it is proven, and what a whole check found."""

import logging
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from threading import Event, Lock, Thread
from time import monotonic
from typing import Any, Final

from sqlalchemy import select

from app.audit.locks import OpenLock, check_locks
from app.audit.queries import count_entries
from app.audit.tables import AuditEntry
from app.audit.verifier import LogVerifier
from app.core.clock import Clock
from app.core.db import Sessions
from app.history.differences import Difference
from app.history.rules import NoVerificationRunning, VerificationRunning
from app.history.snapshot import open_snapshot
from app.history.sweep import count_records, sweep
from app.numerics.merkle import compute_root

PIECE: Final = 2_000
# As many entries as a look may prove while somebody waits for a page; more are for the background.
AT_ONCE: Final = 5_000
DIFFERENCES_KEPT: Final = 100

log = logging.getLogger("wickbook")


class Phase(StrEnum):
    """What a whole check is doing."""

    LOG = "log"
    RECORDS = "records"

    @property
    def words(self) -> str:
        """What is being counted."""
        if self is Phase.LOG:
            return "entries of the log recomputed"
        return "records held against the log"


@dataclass(frozen=True)
class WrongEntry:
    """The first entry that is not as it was written, and how it differs."""

    seq: int
    reason: str


@dataclass(frozen=True)
class Proven:
    """How far the log is proven; `checked_at` is the last look at its newest entries.

    `waiting` entries are newer than what could be proven in one look.
    """

    size: int
    root: bytes
    first_at: datetime | None
    checked_at: datetime
    wrong: WrongEntry | None
    waiting: int = 0


@dataclass(frozen=True)
class WholeCheck:
    """A finished check of every entry and every record, from the first one on, and of all locks."""

    size: int
    root: bytes
    began_at: datetime
    duration_s: float
    wrong: WrongEntry | None
    records: int
    differences: tuple[Difference, ...]
    difference_count: int
    locks: int
    open_locks: tuple[OpenLock, ...]

    @property
    def is_whole(self) -> bool:
        """Whether the log is as it was written, every record as it tells, and every lock shut."""
        return self.wrong is None and not self.difference_count and not self.open_locks


@dataclass(frozen=True)
class Progress:
    """How far a running check has come."""

    phase: Phase
    done: int
    total: int
    began_at: datetime


@dataclass(frozen=True)
class Standing:
    """All that is known now; `failure` says why the last whole check could not be finished."""

    proven: Proven
    last_check: WholeCheck | None
    running: Progress | None
    failure: str | None


class Stopped(Exception):
    """Somebody asked the running check to stop."""


class LogState:
    """Keeps one verifier and extends it with the new entries at each look; safe among threads.

    Beside the tree's frontier it remembers the newest entry of each board: about 250 bytes a
    board. A changed old entry is found by the whole check: at the start, nightly and on demand.
    """

    def __init__(self, sessions: Sessions, clock: Clock) -> None:
        self._sessions = sessions
        self._clock = clock
        self._turn = Lock()
        self._verifier = LogVerifier()
        self._wrong: WrongEntry | None = None
        self._last_check: WholeCheck | None = None
        self._failure: str | None = None
        self._running: Progress | None = None
        self._stop = Event()
        self._thread: Thread | None = None
        self._guard = Lock()

    def look(self) -> Standing:
        """Prove the entries that are new since the last look and say how the log stands.

        A long log that was never looked at is left to a whole check, which is then started.
        """
        with self._turn:
            proven = self._extend()
        if proven.waiting and self._running is None and self._last_check is None:
            with suppress(VerificationRunning):
                self.start_check()
        return Standing(proven, self._last_check, self._running, self._failure)

    def start_check(self) -> None:
        """Begin a whole check in the background; VerificationRunning while one is at work."""
        with self._guard:
            if self._running is not None:
                raise VerificationRunning("The log is being verified already; wait for the result.")
            began_at = self._clock()
            self._running = Progress(Phase.LOG, 0, 0, began_at)
            self._stop.clear()
            self._thread = Thread(
                target=self._work, args=(began_at,), name="wickbook-verify", daemon=True
            )
            self._thread.start()

    def stop_check(self) -> None:
        """Ask the running check to stop; NoVerificationRunning when there is none."""
        if self._running is None:
            raise NoVerificationRunning("No verification is running.")
        self._stop.set()

    def wait(self, timeout_s: float | None = None) -> None:
        """Wait for a running check to end."""
        with self._guard:
            thread = self._thread
        if thread is not None:
            thread.join(timeout_s)

    def _work(self, began_at: datetime) -> None:
        begun = monotonic()
        try:
            locks = check_locks(self._sessions.engine)
            verifier, wrong = self._check_log(began_at)
            records, differences = self._check_records(began_at)
        except Stopped:
            self._failure = "it was stopped"
        except Exception:
            # Whatever happens to the database meanwhile, the service goes on and says so.
            log.exception("the log could not be verified")
            self._failure = "the database did not answer; see the service's log"
        else:
            root = compute_root(verifier.frontier)
            check = WholeCheck(
                verifier.size,
                root,
                began_at,
                monotonic() - begun,
                wrong,
                records,
                tuple(differences[:DIFFERENCES_KEPT]),
                len(differences),
                locks.count,
                locks.open,
            )
            with self._turn:
                self._verifier, self._wrong = verifier, wrong
                self._last_check, self._failure = check, None
        finally:
            self._running = None

    def _check_log(self, began_at: datetime) -> tuple[LogVerifier, WrongEntry | None]:
        verifier = LogVerifier()
        with self._sessions.read() as session:
            total = count_entries(session)
        while True:
            self._report(Progress(Phase.LOG, verifier.size, total, began_at))
            rows = self._read_after(verifier.size, PIECE)
            wrong = _prove(verifier, rows)
            if wrong is not None or len(rows) < PIECE:
                return verifier, wrong

    def _check_records(self, began_at: datetime) -> tuple[int, list[Difference]]:
        with self._sessions.read() as session:
            total = count_records(session)
        done = 0
        differences: list[Difference] = []
        self._report(Progress(Phase.RECORDS, done, total, began_at))
        for swept in sweep(self._sessions):
            done += swept.count
            differences += swept.differences
            self._report(Progress(Phase.RECORDS, done, total, began_at))
        return done, differences

    def _report(self, progress: Progress) -> None:
        if self._stop.is_set():
            raise Stopped
        self._running = progress

    def _extend(self) -> Proven:
        """Prove what is new. The read begins under the lock, so it never sees less than before."""
        now = self._clock()
        verifier = self._verifier
        with open_snapshot(self._sessions) as session:
            table = AuditEntry.__table__
            rows = session.execute(
                select(table)
                .where(table.c.seq >= verifier.size)
                .order_by(table.c.seq)
                .limit(AT_ONCE + 1)
            ).all()
            total = count_entries(session) if len(rows) > AT_ONCE else 0
        if self._wrong is None:
            self._wrong = self._find_lost(rows) or _prove(
                verifier, rows[1:] if verifier.size else rows
            )
        waiting = max(total - verifier.size, 0) if self._wrong is None else 0
        return Proven(
            verifier.size,
            compute_root(verifier.frontier),
            verifier.first_at,
            now,
            self._wrong,
            waiting,
        )

    def _find_lost(self, rows: Sequence[Any]) -> WrongEntry | None:
        """Say whether the newest proven entry is still there, as it was."""
        size = self._verifier.size
        if not size:
            return None
        if not rows or rows[0].seq != size:
            return WrongEntry(size, f"entry {size} was there and is missing now")
        if rows[0].root != compute_root(self._verifier.frontier):
            return WrongEntry(size, "its tree is no longer the one that was proven")
        return None

    def _read_after(self, seq: int, limit: int) -> Sequence[Any]:
        table = AuditEntry.__table__
        with self._sessions.read() as session:
            return session.execute(
                select(table).where(table.c.seq > seq).order_by(table.c.seq).limit(limit)
            ).all()


def _prove(verifier: LogVerifier, rows: Sequence[Any]) -> WrongEntry | None:
    for row in rows:
        fault = verifier.find_fault(row)
        if fault is not None:
            return WrongEntry(verifier.size + 1, fault)
    return None
