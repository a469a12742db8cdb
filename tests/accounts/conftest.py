"""Real passwords for the cast, whose accounts have none."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.accounts.pages import FORM_COOKIE
from app.accounts.passwords.hashing import Hasher, get_hasher
from app.accounts.queries import get_account
from app.accounts.rules import Person
from app.audit.rules import Actor, Subject
from app.audit.service import append
from app.core.db import Sessions
from app.core.settings import Settings
from tests.conftest import NOW, PASSWORD

GivePassword = Callable[[Person], None]
BrowseFrom = Callable[[str], TestClient]


@pytest.fixture
def hasher(settings: Settings) -> Hasher:
    return get_hasher(settings)


@pytest.fixture
def give_password(sessions: Sessions, hasher: Hasher) -> GivePassword:
    """Return a function after which somebody can sign in with PASSWORD."""

    def give(person: Person) -> None:
        with sessions.write.begin() as session:
            get_account(session, person.account_id).password_hash = hasher.hash(PASSWORD)
            append(
                session,
                action="accounts.reset_password",
                subject=Subject("account", person.account_id),
                actor=Actor(None, None, (), "terminal"),
                now=NOW,
            )

    return give


@pytest.fixture
def browse_from(house: FastAPI) -> BrowseFrom:
    """Return a function that makes a browser at an address, signed in nowhere."""

    def browse(address: str) -> TestClient:
        return TestClient(house, client=(address, 50_000), follow_redirects=False)

    return browse


def type_in(client: TestClient, username: str, password: str = PASSWORD, **headers: str) -> int:
    """Load the form, fill it in, send it; return the status."""
    client.get("/sign-in")
    mark = client.cookies.get(FORM_COOKIE, path="/sign-in")
    answer = client.post(
        "/sign-in",
        data={"username": username, "password": password, "csrf": mark or ""},
        headers=headers,
    )
    return answer.status_code
