"""A service that is killed in the middle of its work leaves nothing half-written."""

import json
import socket
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from multiprocessing import get_context
from multiprocessing.process import BaseProcess
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from threading import Event, Thread
from time import sleep
from typing import Any

import pytest
from sqlalchemy import select, text
from sqlalchemy.orm import Session

from app.accounts.access import COOKIE, CSRF_HEADER
from app.accounts.rules import Person
from app.audit.queries import iterate_entries
from app.audit.tables import AuditEntry
from app.audit.verifier import verify_entries
from app.core.db import Sessions
from app.plant.schemas import BenchFields
from app.plant.service import add_bench
from app.plant.tables import Bench
from tests.conftest import NOW
from tests.core import serve_house

ROUNDS = 15
WRITERS = 3
BENCHES = "/api/v1/benches"


@dataclass
class Told:
    """What the writers sent, and what they were told is done."""

    added: set[str] = field(default_factory=set)
    edited: set[str] = field(default_factory=set)
    unanswered: set[str] = field(default_factory=set)


@contextmanager
def serve(database_url: str, path: Path) -> Iterator[BaseProcess]:
    """Serve in another process; and kill it at the end in any case."""
    context = get_context("forkserver")
    context.set_forkserver_preload([serve_house.__name__])
    process = context.Process(target=serve_house.serve, args=(database_url, str(path)))
    process.start()
    try:
        with closing(Door(path)) as door:
            while not door.is_open():
                assert process.is_alive()
                sleep(0.01)
        yield process
    finally:
        process.kill()
        process.join()
        path.unlink(missing_ok=True)


class Door(HTTPConnection):
    """Ada's connection to the house, through a socket in the file system."""

    def __init__(self, path: Path) -> None:
        super().__init__("house", timeout=60)
        self.path = path

    def connect(self) -> None:
        """Connect to the socket instead of a host."""
        self.sock = socket.socket(socket.AF_UNIX)
        try:
            self.sock.settimeout(self.timeout)
            self.sock.connect(str(self.path))
        except OSError:
            self.close()
            raise

    def is_open(self) -> bool:
        """Whether somebody answers."""
        try:
            self.connect()
        except OSError:
            return False
        return True

    def ask(self, method: str, path: str, body: object, **headers: str) -> dict[str, Any]:
        """Send JSON as Ada and return the answer's; AssertionError for a refusal."""
        sent = {
            "Content-Type": "application/json",
            "Cookie": f"{COOKIE}=secret of ada",
            CSRF_HEADER: "mark of ada",
            **{name.replace("_", "-"): value for name, value in headers.items()},
        }
        self.request(method, path, json.dumps(body), sent)
        answer = self.getresponse()
        read = answer.read()
        assert answer.status in {200, 201}, read
        return dict(json.loads(read))


def add(door: Door, code: str, told: Told) -> int:
    told.unanswered.add(code)
    answer = door.ask("POST", BENCHES, {"code": code, "title": "first"}, Idempotency_Key=code)
    told.unanswered.discard(code)
    told.added.add(code)
    return int(answer["id"])


def write_until_killed(path: Path, name: str, told: Told, begun: Event) -> None:
    """Add benches and change each once, for as long as somebody answers."""
    number = 0
    with closing(Door(path)) as door:
        try:
            while True:
                code = f"{name}-{number}"
                bench_id = add(door, code, told)
                begun.set()
                body = {"code": code, "title": "second"}
                door.ask("PUT", f"{BENCHES}/{bench_id}", body, If_Match='"1"')
                told.edited.add(code)
                number += 1
        except (OSError, HTTPException):
            return


def find_untold(session: Session) -> set[int]:
    """Return the benches with versions that no entry tells of, or entries without a version."""
    versions = Counter(
        {row.id: row.version for row in session.execute(select(Bench.id, Bench.version))}
    )
    entries = Counter(
        session.scalars(select(AuditEntry.subject_id).where(AuditEntry.subject_kind == "bench"))
    )
    return {one for one in versions | entries if versions[one] != entries[one]}


def check_whole(sessions: Sessions, told: Told) -> None:
    with sessions.read() as session:
        assert verify_entries(iterate_entries(session)).is_whole
        assert find_untold(session) == set()
        stored = {row.code: row.title for row in session.execute(select(Bench.code, Bench.title))}
    assert told.added <= stored.keys()
    assert {code for code in told.edited if stored[code] != "second"} == set()
    assert stored.keys() <= told.added | told.unanswered


def test_every_version_of_every_row_has_its_entry_whenever_the_service_is_killed(
    database_url: str, sessions: Sessions
) -> None:
    told = Told()
    chance = Random(20260304)  # noqa: S311
    with TemporaryDirectory() as folder:
        path = Path(folder) / "house"
        for number in range(ROUNDS):
            with serve(database_url, path) as process:
                # What was not answered is sent again with its key: it is there once after that.
                with closing(Door(path)) as door:
                    for code in sorted(told.unanswered):
                        add(door, code, told)
                begun = Event()
                writers = [
                    Thread(
                        target=write_until_killed,
                        args=(path, f"R{number}-{writer}", told, begun),
                    )
                    for writer in range(WRITERS)
                ]
                for writer in writers:
                    writer.start()
                begun.wait()
                sleep(chance.uniform(0, 0.15))
                process.kill()
                for writer in writers:
                    writer.join()
            check_whole(sessions, told)
    assert len(told.added) > ROUNDS
    assert told.edited


@pytest.mark.parametrize(
    "half",
    [
        "UPDATE benches SET version = version + 1",
        "DELETE FROM benches",
        (
            "INSERT INTO benches (code, title, has_nitrogen, created_at, version)"
            " VALUES ('B2', 'x', false, CURRENT_TIMESTAMP, 1)"
        ),
    ],
)
def test_a_row_without_its_entry_and_an_entry_without_its_row_would_be_seen(
    db: Session, ada: Person, half: str
) -> None:
    add_bench(db, BenchFields(code="B1", title="x"), person=ada, now=NOW)
    db.commit()
    assert find_untold(db) == set()
    db.execute(text(half))
    assert len(find_untold(db)) == 1
