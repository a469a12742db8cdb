"""Every route opens to exactly the roles of its permission: each door, tried by each role."""

import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from http import HTTPStatus
from typing import Final

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute, iter_route_contexts
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlalchemy import select, text

from app.accounts.access import COOKIE, CSRF_HEADER, Needs
from app.accounts.permissions import ROLES_OF_ACTION, Action, Role
from app.accounts.rules import compute_secret_digest
from app.accounts.tables import Account, ApiToken
from app.audit.service import install_log
from app.core.db import Sessions, create_house_engine, open_sessions
from app.core.settings import Settings
from app.main import create_app
from tests.conftest import CAST, NOW, Databases, MovableClock, seat
from tests.test_permissions import list_calls

USERNAME_OF_ROLE: Final = {role: username for username, _, role in CAST}
REFUSED: Final = (HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN)

_numbers = itertools.count(1)


@dataclass(frozen=True)
class Door:
    """One method of one route, and the permission that its signature names."""

    method: str
    path: str
    action: Action

    def __str__(self) -> str:
        """Spell the door as a failed test shows it."""
        return f"{self.method} {self.path} ({self.action})"

    @property
    def address(self) -> str:
        """The path with a number or a word that stands for something."""
        return re.sub(r"\{[^}]+\}", "1", self.path)

    def knock(self, client: TestClient) -> Response:
        """Ask without a body: who may not is told so before anything is said about the body."""
        return client.request(self.method, self.address)


@pytest.fixture(scope="module")
def open_house(databases: Databases, furnished: str) -> Iterator[FastAPI]:
    """Return a house of the module's own, which every request may change."""
    url = databases.create(furnished)
    house = create_app(
        Settings(database_url=url, argon2_memory_kib=64, argon2_passes=1), clock=MovableClock()
    )
    yield house
    house.state.sessions.engine.dispose()
    databases.drop(url)


def list_doors(house: FastAPI) -> list[Door]:
    """List every route that names a permission, once for each of its methods."""
    doors = []
    for context in iter_route_contexts(house.routes):
        dependant = getattr(context, "dependant", None)
        if not isinstance(context.route, APIRoute) or dependant is None:
            continue
        actions = {call.action for call in list_calls(dependant) if isinstance(call, Needs)}
        for action in actions:
            doors += [Door(method, str(context.path), action) for method in context.methods or ()]
    return doors


def sign_in(house: FastAPI, username: str) -> TestClient:
    return TestClient(
        house,
        cookies={COOKIE: f"secret of {username}"},
        headers={CSRF_HEADER: f"mark of {username}"},
        follow_redirects=False,
    )


def stay(house: FastAPI) -> None:
    """Take back what a request did to the sign-ins and tokens of the cast."""
    with house.state.sessions.engine.begin() as connection:
        connection.execute(text("UPDATE signed_in_sessions SET ended_at = NULL"))
        connection.execute(text("UPDATE api_tokens SET revoked_at = NULL"))


def list_wrong(house: FastAPI, client: TestClient, roles: frozenset[Role]) -> list[str]:
    """Try every door and list those that do not answer these roles as the table says."""
    wrong = []
    for door in list_doors(house):
        answer = door.knock(client)
        may = not roles.isdisjoint(ROLES_OF_ACTION[door.action])
        # A token may have the permission and still not the right to make a secret.
        if may and answer.status_code == HTTPStatus.FORBIDDEN and "sign_in_needed" in answer.text:
            continue
        is_right = answer.status_code not in REFUSED if may else is_forbidden(answer)
        if not is_right:
            wrong.append(f"{door}: {answer.status_code}")
        if door.method != "GET" and (answer.is_success or answer.is_redirect):
            stay(house)
    return wrong


def is_forbidden(answer: Response) -> bool:
    return answer.status_code == HTTPStatus.FORBIDDEN and "accounts.not_permitted" in answer.text


def list_let_in(house: FastAPI, client: TestClient) -> list[str]:
    """List the doors that do not send away who is not signed in."""
    let_in = []
    for door in list_doors(house):
        answer = door.knock(client)
        is_page = not door.path.startswith("/api/")
        if is_page and door.method == "GET":
            is_sent_away = answer.headers.get("location") == "/sign-in"
        else:
            is_sent_away = answer.status_code == HTTPStatus.UNAUTHORIZED
        if not is_sent_away:
            let_in.append(f"{door}: {answer.status_code}")
    return let_in


@pytest.fixture(scope="module")
def sessions(open_house: FastAPI) -> Iterator[Sessions]:
    sessions = open_sessions(create_house_engine(open_house.state.settings.database_url))
    install_log(sessions)
    yield sessions
    sessions.engine.dispose()


def give_token(sessions: Sessions, *, own: frozenset[Role], roles: frozenset[Role]) -> str:
    """Give a new person a token and return its secret."""
    username = f"visitor{next(_numbers)}"
    with sessions.write.begin() as session:
        seat(session, username, "A Visitor", Role.OPERATOR)
        account = session.scalars(select(Account).where(Account.username == username)).one()
        account.roles = own
        session.add(
            ApiToken(
                account_id=account.id,
                name="a script",
                secret_digest=compute_secret_digest(f"token of {username}"),
                roles=roles,
                created_at=NOW - timedelta(days=1),
                expires_at=NOW + timedelta(days=1),
            )
        )
    return f"token of {username}"


def carry(house: FastAPI, token: str) -> TestClient:
    return TestClient(house, headers={"Authorization": f"Bearer {token}"}, follow_redirects=False)


def test_the_doors_are_many_and_every_action_has_one(open_house: FastAPI) -> None:
    doors = list_doors(open_house)
    assert len(doors) > 150
    assert {door.action for door in doors} == set(Action)


@pytest.mark.parametrize("role", list(Role))
def test_every_door_opens_to_the_roles_of_its_permission_alone(
    open_house: FastAPI, role: Role
) -> None:
    client = sign_in(open_house, USERNAME_OF_ROLE[role])
    assert list_wrong(open_house, client, frozenset({role})) == []


@pytest.mark.parametrize("role", list(Role))
def test_a_token_of_one_role_opens_no_more_for_a_person_of_all(
    open_house: FastAPI, sessions: Sessions, role: Role
) -> None:
    token = give_token(sessions, own=frozenset(Role), roles=frozenset({role}))
    assert list_wrong(open_house, carry(open_house, token), frozenset({role})) == []


def test_a_role_taken_from_a_person_is_taken_from_their_token(
    open_house: FastAPI, sessions: Sessions
) -> None:
    token = give_token(sessions, own=frozenset({Role.OPERATOR}), roles=frozenset(Role))
    roles = frozenset({Role.OPERATOR})
    assert list_wrong(open_house, carry(open_house, token), roles) == []


def test_nobody_is_sent_to_the_sign_in(open_house: FastAPI) -> None:
    assert list_let_in(open_house, TestClient(open_house, follow_redirects=False)) == []


@pytest.mark.parametrize("column", ["ended_at", "disabled_at", "revoked_at", "expires_at"])
def test_what_has_ended_opens_nothing(open_house: FastAPI, sessions: Sessions, column: str) -> None:
    token = give_token(sessions, own=frozenset(Role), roles=frozenset(Role))
    username = token.removeprefix("token of ")
    by_session = column in {"ended_at", "disabled_at"}
    table = {"ended_at": "signed_in_sessions", "disabled_at": "accounts"}.get(column, "api_tokens")
    whose = "id = :id" if table == "accounts" else "account_id = :id"
    with sessions.engine.begin() as connection:
        ask = text("SELECT id FROM accounts WHERE username = :username")
        account_id = connection.scalar(ask, {"username": username})
        connection.execute(
            text(f"UPDATE {table} SET {column} = :at WHERE {whose}"),
            {"at": NOW, "id": account_id},
        )
    if by_session:
        assert list_let_in(open_house, sign_in(open_house, username)) == []
    if column != "ended_at":
        assert list_let_in(open_house, carry(open_house, token)) == []


def test_no_change_is_made_without_the_mark_of_the_sign_in(open_house: FastAPI) -> None:
    let_in = []
    for mark in ({}, {CSRF_HEADER: ""}, {CSRF_HEADER: "mark of ines"}):
        client = sign_in(open_house, "odile")
        client.headers.pop(CSRF_HEADER)
        client.headers.update(mark)
        for door in list_doors(open_house):
            if door.method != "GET":
                answer = door.knock(client)
                if "accounts.form_not_ours" not in answer.text:
                    let_in.append(f"{door} {mark}: {answer.status_code}")
    assert let_in == []


def test_who_must_change_the_password_can_do_nothing_else(
    open_house: FastAPI, sessions: Sessions
) -> None:
    token = give_token(sessions, own=frozenset(Role), roles=frozenset(Role))
    username = token.removeprefix("token of ")
    with sessions.engine.begin() as connection:
        connection.execute(
            text("UPDATE accounts SET must_change_password = true WHERE username = :username"),
            {"username": username},
        )
    let_in = []
    for client in (sign_in(open_house, username), carry(open_house, token)):
        for door in list_doors(open_house):
            if door.action is Action.OWN_ACCOUNT:
                continue
            answer = door.knock(client)
            if (
                answer.headers.get("location") != "/me/password"
                and "accounts.password_must_change" not in answer.text
            ):
                let_in.append(f"{door}: {answer.status_code}")
    assert let_in == []


def test_a_door_with_the_wrong_lock_is_found() -> None:
    assert not is_forbidden(Response(HTTPStatus.OK, text="accounts.not_permitted"))
    assert not is_forbidden(Response(HTTPStatus.FORBIDDEN, text="accounts.form_not_ours"))
