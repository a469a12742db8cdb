"""While a logger's file is read nobody waits: reading comes before a request's transaction."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from threading import Event
from typing import Any, Final

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import event, func, select
from sqlalchemy.orm import Session, SessionTransaction, sessionmaker

from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.files.tables import StoredFile
from app.jobs import logger_file
from app.jobs.queries import get_run
from app.jobs.rules import RunState, StepKind
from app.jobs.tables import Run
from app.traces.files import LoggerReading, read_logger_file
from app.traces.tables import Trace
from tests.conftest import Look, SignedIn
from tests.jobs.conftest import CHANNELS, Shop, write_log

API: Final = "/api/v1"
CHOSEN: Final = {"channel_map": CHANNELS.model_dump(mode="json")}
CSV: Final = {"Content-Type": "text/csv"}
# Nobody waits so long unless the request under test is held up for good.
PATIENCE_S: Final = 20


@dataclass
class Reader:
    """The reader of files, which notes what transactions that write were open when it read."""

    write: sessionmaker[Session]
    open_writes: int = 0
    readings: list[int] = field(default_factory=list)
    begun: Event = field(default_factory=Event)
    may_end: Event = field(default_factory=Event)
    was_let_go: bool = True

    def read(self, content: bytes, **said: Any) -> LoggerReading:
        """Read a file, once it may."""
        self.readings.append(self.open_writes)
        self.begun.set()
        self.was_let_go = self.may_end.wait(PATIENCE_S) and self.was_let_go
        return read_logger_file(content, **said)


@pytest.fixture
def reader(house: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Iterator[Reader]:
    """Put a reader in the house that is as quick as ever until it is told to wait."""
    write: sessionmaker[Session] = house.state.sessions.write
    reader = Reader(write)
    reader.may_end.set()
    monkeypatch.setattr(logger_file, "read_logger_file", reader.read)

    def begin(*_: object) -> None:
        reader.open_writes += 1

    def end(_session: Session, transaction: SessionTransaction) -> None:
        if transaction.parent is None:
            reader.open_writes = 0

    event.listen(write, "after_begin", begin)
    event.listen(write, "after_transaction_end", end)
    yield reader
    reader.may_end.set()


@dataclass
class Bench:
    """A cleared job in front of somebody, and the addresses of what can be done with it."""

    client: TestClient
    shop: Shop
    job_id: int
    step_id: int

    @property
    def runs(self) -> str:
        """Where a run of the job's first line begins, for programs."""
        return f"{API}/jobs/{self.job_id}/steps/{self.step_id}/runs?bench_id={self.shop.bench_id}"

    @property
    def page(self) -> str:
        """Where a run of the job's first line begins, for people."""
        return f"/jobs/{self.job_id}/steps/{self.step_id}/runs"

    def start(self, content: bytes | None = None, *, more: str = "") -> httpx2.Response:
        """Send a file as a program does."""
        body = write_log() if content is None else content
        return self.client.post(self.runs + more, content=body, headers=CSV)

    def hold(self) -> httpx2.Response:
        """Place a hold on the job."""
        return self.client.post(f"{API}/jobs/{self.job_id}/hold", json={"reason": "Stop"})


@pytest.fixture
def bench(shop: Shop, signed_in: SignedIn, odile: Person) -> Bench:
    with shop.sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        step_id = shop.step_id(session, job, StepKind.REMOVE)
        job_id = job.id
        session.commit()
    return Bench(signed_in(odile), shop, job_id, step_id)


def while_reading(
    reader: Reader, slow: Callable[[], httpx2.Response], other: Callable[[], httpx2.Response]
) -> tuple[httpx2.Response, httpx2.Response]:
    """Return what both answer when the other asks while the slow one's file is being read."""
    reader.begun.clear()
    reader.may_end.clear()
    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(slow)
        try:
            assert reader.begun.wait(PATIENCE_S)
            answer = other()
            was_done_meanwhile = not waiting.done()
        finally:
            reader.may_end.set()
        late = waiting.result()
    assert was_done_meanwhile
    assert reader.was_let_go, "the other one waited until the reader lost its patience"
    return late, answer


def test_a_hold_gets_through_while_a_file_is_read_and_then_stops_the_run(
    bench: Bench, reader: Reader, look: Look
) -> None:
    late, held = while_reading(reader, bench.start, bench.hold)
    assert held.status_code == 200, held.text
    assert (late.status_code, late.json()["code"]) == (409, "jobs.held")
    assert look(select(func.count(Run.id))) == [0]
    assert look(select(func.count()).select_from(StoredFile)) == [0]


def test_an_abortion_gets_through_while_figures_are_worked_out(
    bench: Bench, reader: Reader, look: Look
) -> None:
    run = f"{API}/runs/{bench.start().json()['id']}"
    late, aborted = while_reading(
        reader,
        lambda: bench.client.post(f"{run}/completion", json=CHOSEN),
        lambda: bench.client.post(f"{run}/abortion", json={"reason": "Probe fell off"}),
    )
    assert aborted.status_code == 200, aborted.text
    assert (late.status_code, late.json()["code"]) == (409, "jobs.run_over")
    assert look(select(Run.state)) == [RunState.ABORTED]
    assert look(select(func.count(Trace.id))) == [0]


def test_somebody_else_s_bench_is_added_while_a_page_reads_a_file(
    bench: Bench, reader: Reader, signed_in: SignedIn, ada: Person
) -> None:
    late, added = while_reading(
        reader,
        lambda: bench.client.post(
            bench.page,
            data={"bench_id": str(bench.shop.bench_id)},
            files={"file": ("log.csv", write_log())},
        ),
        lambda: signed_in(ada).post(
            f"{API}/benches", json={"code": "B7", "title": "By the door", "has_nitrogen": False}
        ),
    )
    assert (added.status_code, late.status_code) == (201, 303)


def test_no_file_is_read_within_a_transaction_that_writes(bench: Bench, reader: Reader) -> None:
    client = bench.client
    run_id = bench.start().json()["id"]
    run = f"{API}/runs/{run_id}"
    answers = [
        client.post(f"{run}/reading", json={"delimiter": ","}),
        client.post(f"/runs/{run_id}/reading", data={"do": "look", "delimiter": ","}),
        client.post(f"/runs/{run_id}/reading", data={"do": "keep"}),
        client.post(f"/runs/{run_id}/abortion", data={"reason": ""}),
        client.post(f"{run}/completion", json=CHOSEN),
        bench.start(write_log(peak_shift_k=1.0), more="&at_once=true"),
        client.post(
            bench.page,
            data={"bench_id": str(bench.shop.bench_id)},
            files={"file": ("log.csv", write_log(peak_shift_k=2.0))},
        ),
        bench.start(b"no table at all"),
    ]
    assert [answer.status_code for answer in answers] == [200, 200, 422, 422, 200, 201, 303, 422]
    assert answers[5].json()["state"] == "complete"
    assert "/reading" not in answers[6].headers["location"]
    assert len(reader.readings) >= len(answers)
    assert set(reader.readings) == {0}


def test_a_reading_within_a_transaction_would_be_noticed(bench: Bench, reader: Reader) -> None:
    run_id = bench.start().json()["id"]
    with reader.write() as session:
        bench.shop.complete(session, get_run(session, run_id))
    assert reader.readings[-1] > 0


@pytest.mark.parametrize("who", ["anselm", "nobody"])
def test_without_the_permission_no_file_is_read(
    bench: Bench,
    reader: Reader,
    signed_in: SignedIn,
    nobody: TestClient,
    anselm: Person,
    who: str,
) -> None:
    run_id = bench.start().json()["id"]
    reader.readings.clear()
    other = nobody if who == "nobody" else signed_in(anselm)
    form = {"bench_id": str(bench.shop.bench_id)}
    answers = [
        other.post(bench.runs, content=write_log(), headers=CSV),
        other.post(f"{API}/runs/{run_id}/reading", json={}),
        other.post(f"{API}/runs/{run_id}/completion", json=CHOSEN),
        other.post(bench.page, data=form, files={"file": ("log.csv", write_log())}),
        other.post(f"/runs/{run_id}/reading", data={"do": "keep"}),
        other.post(f"/runs/{run_id}/abortion", data={"reason": ""}),
    ]
    assert {answer.status_code for answer in answers} == {401 if who == "nobody" else 403}
    assert reader.readings == []


def test_a_change_without_the_sign_in_s_own_mark_reads_no_file(
    bench: Bench, reader: Reader
) -> None:
    del bench.client.headers["X-CSRF-Token"]
    assert bench.start().json()["code"] == "accounts.form_not_ours"
    assert reader.readings == []


def test_the_same_key_answers_the_same_once_the_line_has_a_run(
    bench: Bench, reader: Reader, look: Look
) -> None:
    bench.client.headers["Idempotency-Key"] = "once"
    first, again = bench.start(), bench.start()
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    assert again.headers["Idempotency-Replayed"] == "true"
    assert look(select(func.count(Run.id))) == [1]
    started = select(func.count(AuditEntry.seq)).where(AuditEntry.action == "jobs.start_run")
    assert look(started) == [1]
    assert set(reader.readings) == {0}
