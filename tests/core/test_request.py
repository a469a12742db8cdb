"""A request is one transaction: committed before the answer leaves, or not at all."""

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from typing import Annotated, Any

import httpx
import pytest
from fastapi import Depends, FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import event, select
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session
from sqlalchemy.orm.exc import StaleDataError
from starlette.datastructures import UploadFile
from starlette.requests import ClientDisconnect
from starlette.types import Message

from app.accounts.access import COOKIE, CSRF_HEADER
from app.accounts.rules import Person
from app.audit.queries import count_entries
from app.audit.service import ChangeWithoutTale
from app.core.db import Sessions
from app.core.refusals import Conflict
from app.core.request import RequestSession
from app.plant.schemas import BenchFields
from app.plant.service import add_bench
from app.plant.tables import Bench
from app.web.forms import PostedForm
from tests.conftest import NOW, Look, SignedIn, get_person

BENCH = {"code": "B1", "title": "By the window"}
PATH = "/api/v1/tests"


class NotToday(Conflict):
    """A refusal that comes after everything was done."""

    code = "tests.not_today"


def add_one(session: Session, sessions: Sessions, code: str = "B1") -> None:
    person = get_person(sessions, "ada")
    add_bench(session, BenchFields(code=code, title="x"), person=person, now=NOW)


@pytest.fixture
def client(house: FastAPI) -> TestClient:
    return TestClient(house, raise_server_exceptions=False, follow_redirects=False)


def count(sessions: Sessions) -> tuple[int, int]:
    """Return how many benches and how many entries are committed."""
    with sessions.read() as session:
        return len(session.scalars(select(Bench.id)).all()), count_entries(session)


def get_idle(house: FastAPI) -> bool:
    """Whether the house holds neither a connection nor a turn to write."""
    turn = house.state.write_turn
    return house.state.sessions.engine.pool.checkedout() == 0 and not (turn and turn.is_taken())


def test_every_part_of_a_request_shares_one_transaction(
    house: FastAPI, client: TestClient, sessions: Sessions
) -> None:
    seen: list[Session] = []
    begun: list[Session] = []

    def look_around(session: RequestSession) -> None:
        seen.append(session)

    def write(session: RequestSession, _: Annotated[None, Depends(look_around)]) -> None:
        seen.append(session)
        add_one(session, sessions)

    house.add_api_route(PATH, write, methods=["POST"])
    event.listen(
        house.state.sessions.write, "after_begin", lambda session, *_: begun.append(session)
    )
    assert client.post(PATH).status_code == 200
    assert seen[0] is seen[1]
    assert begun == [seen[0]]


async def ask(
    house: FastAPI,
    path: str,
    *,
    receive: Callable[[], Awaitable[Message]],
    send: Callable[[Message], Awaitable[None]],
    headers: dict[str, str],
) -> None:
    """Send one POST to the house as a server would, piece by piece."""
    scope: dict[str, Any] = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "headers": [(name.lower().encode(), value.encode()) for name, value in headers.items()],
        "client": ("127.0.0.1", 1),
        "server": ("testserver", 80),
    }
    await house(scope, receive, send)


@pytest.mark.parametrize("path", [PATH, "/api/v1/benches"])
def test_the_row_is_committed_before_the_first_byte_of_the_answer_leaves(
    house: FastAPI,
    signed_in: SignedIn,
    ada: Person,
    sessions: Sessions,
    look: Look,
    path: str,
) -> None:
    seen_at_start: list[list[str]] = []

    def write(session: RequestSession) -> None:
        add_one(session, sessions)

    house.add_api_route(PATH, write, methods=["POST"])

    async def watched(scope: Any, receive: Any, send: Any) -> None:
        async def send_and_look(message: Message) -> None:
            if message["type"] == "http.response.start":
                seen_at_start.append(look(select(Bench.code)))
            await send(message)

        await house(scope, receive, send_and_look)

    known = signed_in(ada)
    client = TestClient(watched, headers=dict(known.headers), cookies=dict(known.cookies))
    assert client.post(path, json=BENCH).is_success
    assert seen_at_start == [["B1"]]


FAILURES = [
    (StaleDataError("UPDATE matched 0 rows"), 412, "core.edited_meanwhile"),
    (IntegrityError("INSERT", {}, Exception("unique")), 409, "core.contradiction"),
    (OperationalError("COMMIT", {}, Exception("gone")), 503, "core.busy"),
    (DBAPIError("COMMIT", {}, Exception("locked for good")), 409, "core.contradiction"),
    (PoolTimeout("QueuePool limit"), 503, "core.busy"),
    (ChangeWithoutTale("Bench was changed"), 500, "core.failed"),
    (RuntimeError("a fault of our own"), 500, "core.failed"),
]


@pytest.mark.parametrize(
    ("failure", "status", "code"), FAILURES, ids=[type(one).__name__ for one, _, _ in FAILURES]
)
def test_a_commit_that_fails_is_answered_as_a_refusal_and_nothing_stays(
    house: FastAPI,
    signed_in: SignedIn,
    ada: Person,
    sessions: Sessions,
    failure: Exception,
    status: int,
    code: str,
) -> None:
    before = count(sessions)

    def fail(_: Session) -> None:
        raise failure

    known = signed_in(ada)
    event.listen(house.state.sessions.write, "before_commit", fail)
    client = TestClient(
        house,
        raise_server_exceptions=False,
        headers=dict(known.headers),
        cookies=dict(known.cookies),
    )
    answer = client.post("/api/v1/benches", json=BENCH)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert count(sessions) == before
    assert get_idle(house)
    event.remove(house.state.sessions.write, "before_commit", fail)
    assert client.post("/api/v1/benches", json=BENCH).status_code == 201
    assert count(sessions) == (1, before[1] + 1)


@pytest.mark.parametrize(
    ("failure", "status"), [(NotToday("Not today."), 409), (RuntimeError("a fault"), 500)]
)
def test_a_refusal_after_the_work_leaves_neither_row_nor_entry(
    house: FastAPI, client: TestClient, sessions: Sessions, failure: Exception, status: int
) -> None:
    before = count(sessions)

    def write_and_refuse(session: RequestSession) -> None:
        add_one(session, sessions)
        raise failure

    house.add_api_route(PATH, write_and_refuse, methods=["POST"])
    assert client.post(PATH).status_code == status
    assert count(sessions) == before
    assert get_idle(house)


def test_a_request_that_reads_changes_nothing_even_if_it_tries(
    house: FastAPI, client: TestClient, sessions: Sessions
) -> None:
    before = count(sessions)

    def write(session: RequestSession) -> None:
        add_one(session, sessions)
        session.flush()

    house.add_api_route(PATH, write, methods=["GET"])
    assert client.get(PATH).status_code == 200
    assert count(sessions) == before
    assert get_idle(house)


SLOW_BODIES = {
    "application/json": b'{"code": "B1", "title": "x"}',
    "application/x-www-form-urlencoded": b"code=B1&title=x",
    "multipart/form-data; boundary=x": (
        b'--x\r\nContent-Disposition: form-data; name="code"\r\n\r\nB1\r\n--x--\r\n'
    ),
    "text/csv": b"a,b\n1,2\n",
}


@pytest.mark.parametrize("content_type", SLOW_BODIES)
@pytest.mark.parametrize("path", ["/api/v1/benches", "/setup/benches", "/sign-in"])
def test_while_a_slow_body_arrives_no_lock_and_no_connection_is_held(
    house: FastAPI, ada: Person, path: str, content_type: str
) -> None:
    whole = SLOW_BODIES[content_type]
    pieces = [whole[:9], whole[9:]]
    idle: list[bool] = []
    statuses: list[int] = []

    async def receive() -> Message:
        idle.append(get_idle(house))
        await asyncio.sleep(0)
        body = pieces.pop(0)
        return {"type": "http.request", "body": body, "more_body": bool(pieces)}

    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            statuses.append(message["status"])

    headers = {
        "Content-Type": content_type,
        "Cookie": f"{COOKIE}=secret of ada",
        CSRF_HEADER: ada.csrf,
        "Host": "testserver",
    }
    asyncio.run(ask(house, path, receive=receive, send=send, headers=headers))
    assert idle == [True, True]
    assert len(statuses) == 1
    assert statuses[0] < 500
    assert get_idle(house)


def test_a_sender_who_goes_away_half_way_leaves_nothing_open(
    house: FastAPI, ada: Person, sessions: Sessions
) -> None:
    before = count(sessions)
    messages: list[Message] = [
        {"type": "http.request", "body": b'{"code": "B1", ', "more_body": True},
        {"type": "http.disconnect"},
    ]

    async def receive() -> Message:
        return messages.pop(0)

    async def send(message: Message) -> None:
        return

    headers = {
        "Content-Type": "application/json",
        "Cookie": f"{COOKIE}=secret of ada",
        CSRF_HEADER: ada.csrf,
    }
    with contextlib.suppress(ClientDisconnect):
        asyncio.run(ask(house, "/api/v1/benches", receive=receive, send=send, headers=headers))
    assert messages == []
    assert count(sessions) == before
    assert get_idle(house)


@pytest.mark.parametrize("refuses", [False, True])
def test_the_files_of_a_form_are_closed_when_the_answer_is_out(
    house: FastAPI, client: TestClient, *, refuses: bool
) -> None:
    kept: list[UploadFile] = []

    def take(form: PostedForm) -> str:
        kept.append(form.files["file"])
        assert not kept[0].file.closed
        if refuses:
            raise NotToday("Not today.")
        return form.get_file("file")[0]

    house.add_api_route(PATH, take, methods=["POST"])
    answer = client.post(PATH, files={"file": ("log.csv", b"1;2\n" * 500_000, "text/csv")})
    assert answer.status_code == (409 if refuses else 200)
    assert [upload.file.closed for upload in kept] == [True]


def test_many_requests_at_once_are_each_whole(
    house: FastAPI, ada: Person, sessions: Sessions
) -> None:
    before = count(sessions)
    headers = {"Cookie": f"{COOKIE}=secret of ada", CSRF_HEADER: ada.csrf}

    async def add_all() -> list[int]:
        transport = httpx.ASGITransport(house)
        async with httpx.AsyncClient(
            transport=transport, base_url="http://testserver", headers=headers
        ) as client:
            adding = (
                client.post("/api/v1/benches", json={**BENCH, "code": f"B{number}"})
                for number in range(40)
            )
            return [answer.status_code for answer in await asyncio.gather(*adding)]

    assert set(asyncio.run(add_all())) == {201}
    assert count(sessions) == (40, before[1] + 40)
    assert get_idle(house)
