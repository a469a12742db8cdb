"""No page is ever 500: every form and every address, with what no browser would send."""

import itertools
import re
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute, iter_route_contexts
from fastapi.testclient import TestClient

from app.accounts.access import COOKIE, CSRF_HEADER
from app.core.settings import Settings
from app.main import create_app
from tests.conftest import CAST, Databases, MovableClock

pytestmark = pytest.mark.fuzz

NASTY = (
    "",
    " ",
    "0",
    "-1",
    "1",
    "2147483648",
    "9" * 400,
    "1e308",
    "NaN",
    "inf",
    "0000-00-00",
    "0000-01-01",
    "\x00",
    "a\x00b",
    "\u202e\u0000",
    "=1+1",
    "<script>alert(1)</script>",
    "../../etc/passwd",
    "x" * 70_000,
    "\ufffd\U0010ffff",
    "{" * 2_000,
)
ENDS_THE_SIGN_IN = ("/sign-out", "/me/password", "/me/sessions")
FIELD = re.compile(r'name="([^"]+)"')
BROKEN_FORM = "multipart/form-data; boundary=x"
PNG = b"\x89PNG\r\n\x1a\n" + bytes(64)


@pytest.fixture
def open_house(databases: Databases, with_demo: str) -> Iterator[FastAPI]:
    url = databases.create(with_demo)
    house = create_app(
        Settings(database_url=url, argon2_memory_kib=64, argon2_passes=1), clock=MovableClock()
    )
    yield house
    house.state.sessions.engine.dispose()
    databases.drop(url)


def list_pages(house: FastAPI, method: str) -> list[str]:
    return sorted(
        {
            str(door.path)
            for door in iter_route_contexts(house.routes)
            if isinstance(door.route, APIRoute)
            and method in (door.methods or ())
            and not str(door.path).startswith("/api/")
        }
    )


def fill(path: str, value: str) -> str:
    return re.sub(r"\{[^}]+\}", value, path)


class Visitor:
    """Somebody who opens every page and sends every form; keeps what was answered with 500."""

    def __init__(self, house: FastAPI, username: str) -> None:
        self.client = TestClient(house, raise_server_exceptions=False, follow_redirects=False)
        self.fields: set[str] = set()
        self.broken: set[tuple[str, str, str]] = set()
        if username != "nobody":
            self.client.cookies.set(COOKIE, f"secret of {username}")
            self.client.headers[CSRF_HEADER] = f"mark of {username}"

    def open_page(self, path: str) -> None:
        """Open a page under likely and impossible addresses, and remember its fields."""
        for value in ("1", "0", "99999999999", "nonsense", "%00", "%ED%A0%80", "x" * 300):
            answer = self.client.get(fill(path, value))
            self.fields |= set(FIELD.findall(answer.text[:200_000]))
            self.note("GET", path, value, answer.status_code)
        for query in ("cursor=%00", "q=%00", "q=" + "x" * 5_000, "said=%F0%28", "limit=0"):
            answer = self.client.get(f"{fill(path, '1')}?{query}")
            self.note("GET", path, query, answer.status_code)

    def send_forms(self, path: str) -> None:
        """Send every known field with nasty values, each field with another one each time."""
        values = itertools.cycle(NASTY)
        for round_number in range(6):
            form = {name: next(values) for name in sorted(self.fields)[:300]}
            next(values)
            answer = self.client.post(fill(path, "1"), data=form)
            self.note("POST", path, f"round {round_number}", answer.status_code)

    def send_odd_bodies(self, path: str) -> None:
        """Send no body, pictures for tables, and bodies that are not what they say."""
        files = {"file": ("a.csv", PNG, "text/csv"), "placement": ("..\\b.csv", b"", "text/csv")}
        where = fill(path, "1")
        answers = (
            self.client.post(where),
            self.client.post(where, files=files),
            self.client.post(where, content=b"\xff\xfe{", headers={"Content-Type": "x/y"}),
            self.client.post(
                where, content=b"--x\r\nbroken", headers={"Content-Type": BROKEN_FORM}
            ),
        )
        for place, answer in enumerate(answers):
            self.note("POST", path, f"odd body {place}", answer.status_code)

    def note(self, method: str, path: str, what: str, status: int) -> None:
        """Keep what was answered with 500."""
        if status == 500:
            self.broken.add((method, path, what[:40]))


@pytest.mark.parametrize("username", [*(name for name, _, _ in CAST), "nobody"])
def test_no_page_is_answered_with_500(open_house: FastAPI, username: str) -> None:
    visitor = Visitor(open_house, username)
    for path in list_pages(open_house, "GET"):
        visitor.open_page(path)
    for path in list_pages(open_house, "POST"):
        if not path.startswith(ENDS_THE_SIGN_IN):
            visitor.send_forms(path)
            visitor.send_odd_bodies(path)
    assert visitor.broken == set()
    assert username == "nobody" or visitor.fields
