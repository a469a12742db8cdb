"""One's own account and people over the wire."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.accounts.tables import Account, ApiToken, SignInFailures
from app.web.once import KeptAnswer
from tests.accounts.conftest import GivePassword
from tests.conftest import PASSWORD, Look, MovableClock, SignedIn

MIRTE = {"username": "mirte", "name": "Mirte Oldenkamp", "roles": ["auditor", "operator"]}
TOKEN = {"name": "label printer", "days": 30, "roles": ["engineer"]}


@pytest.fixture
def edda_with_two_roles(signed_in: SignedIn, ada: Person, edda: Person) -> Person:
    """Edda is an administrator too."""
    path = f"/api/v1/people/{edda.account_id}"
    client = signed_in(ada)
    etag = client.get(path).headers["etag"]
    fields = {"username": "edda", "name": edda.name, "roles": ["engineer", "administrator"]}
    assert client.put(path, json=fields, headers={"If-Match": etag}).status_code == 200
    return edda


def use(house: FastAPI, secret: str) -> TestClient:
    return TestClient(house, headers={"Authorization": f"Bearer {secret}"})


def test_one_reads_who_one_is_and_where_one_is_signed_in(
    signed_in: SignedIn, odile: Person
) -> None:
    client = signed_in(odile)
    own = client.get("/api/v1/me").json()
    assert (own["username"], own["roles"], own["via"]) == ("odile", ["operator"], "session")
    listed = client.get("/api/v1/me/sessions").json()["items"]
    assert [row["is_this_one"] for row in listed] == [True]
    path = f"/api/v1/me/sessions/{listed[0]['id']}"
    assert client.delete(path).status_code == 204
    assert client.get("/api/v1/me").status_code == 401


def test_a_token_has_the_roles_it_was_given_and_not_its_owners_others(
    house: FastAPI, signed_in: SignedIn, edda_with_two_roles: Person
) -> None:
    made = signed_in(edda_with_two_roles).post("/api/v1/me/tokens", json=TOKEN)
    assert made.status_code == 201
    program = use(house, made.json()["secret"])
    assert program.get("/api/v1/me").json()["roles"] == ["engineer"]
    assert program.get("/api/v1/benches").status_code == 200
    assert program.get("/api/v1/people").status_code == 403
    assert signed_in(edda_with_two_roles).get("/api/v1/people").status_code == 200


def test_a_token_makes_no_token_and_no_password(
    house: FastAPI, signed_in: SignedIn, edda: Person, give_password: GivePassword
) -> None:
    give_password(edda)
    program = use(house, signed_in(edda).post("/api/v1/me/tokens", json=TOKEN).json()["secret"])
    again = program.post("/api/v1/me/tokens", json=TOKEN)
    assert (again.status_code, again.json()["code"]) == (403, "accounts.sign_in_needed")
    change = {"current_password": PASSWORD, "new_password": "seven herons at noon"}
    assert program.post("/api/v1/me/password", json=change).status_code == 403


def test_a_token_ends_itself_but_no_other_token_and_no_sign_in(
    house: FastAPI, signed_in: SignedIn, edda: Person
) -> None:
    client = signed_in(edda)
    own, other = (client.post("/api/v1/me/tokens", json=TOKEN).json() for _ in range(2))
    program = use(house, own["secret"])
    sign_in = client.get("/api/v1/me/sessions").json()["items"][0]["id"]
    for path in (f"/api/v1/me/sessions/{sign_in}", f"/api/v1/me/tokens/{other['id']}"):
        assert program.delete(path).json()["code"] == "accounts.sign_in_needed"
    assert client.get(f"/api/v1/me/tokens/{other['id']}").json()["revoked_at"] is None
    assert program.delete(f"/api/v1/me/tokens/{own['id']}").status_code == 204
    assert program.get("/api/v1/me").status_code == 401


def test_a_token_ends_when_revoked_when_expired_and_with_its_owner(
    house: FastAPI, signed_in: SignedIn, edda: Person, ada: Person, clock: MovableClock
) -> None:
    client = signed_in(edda)
    made = [client.post("/api/v1/me/tokens", json=TOKEN).json() for _ in range(3)]
    programs = [use(house, token["secret"]) for token in made]
    assert [program.get("/api/v1/me").status_code for program in programs] == [200] * 3
    assert client.delete(f"/api/v1/me/tokens/{made[0]['id']}").status_code == 204
    assert [program.get("/api/v1/me").status_code for program in programs] == [401, 200, 200]
    signed_in(ada).post(f"/api/v1/people/{edda.account_id}/disablement")
    assert [program.get("/api/v1/me").status_code for program in programs] == [401] * 3
    signed_in(ada).delete(f"/api/v1/people/{edda.account_id}/disablement")
    assert [program.get("/api/v1/me").status_code for program in programs] == [401] * 3
    assert client.get("/api/v1/me").status_code == 401


def test_an_expired_token_opens_nothing(
    house: FastAPI, signed_in: SignedIn, edda: Person, clock: MovableClock
) -> None:
    secret = signed_in(edda).post("/api/v1/me/tokens", json=TOKEN).json()["secret"]
    clock.advance(days=29, hours=23)
    assert use(house, secret).get("/api/v1/me").status_code == 200
    clock.advance(hours=1)
    assert use(house, secret).get("/api/v1/me").status_code == 401


def test_a_repeated_creation_makes_one_and_shows_its_secret_once(
    signed_in: SignedIn, edda: Person, ada: Person, look: Look
) -> None:
    key = {"Idempotency-Key": "a1"}
    client = signed_in(edda)
    first = client.post("/api/v1/me/tokens", json=TOKEN, headers=key).json()
    again = client.post("/api/v1/me/tokens", json=TOKEN, headers=key).json()
    assert again == {**first, "secret": None}
    assert len(look(select(ApiToken))) == 1
    person = signed_in(ada).post("/api/v1/people", json=MIRTE, headers=key)
    assert person.headers["etag"] == '"1"'
    repeated = signed_in(ada).post("/api/v1/people", json=MIRTE, headers=key).json()
    assert repeated == {**person.json(), "temporary_password": None}
    kept = b"".join(look(select(KeptAnswer.body)))
    assert first["secret"].encode() not in kept
    assert person.json()["temporary_password"].encode() not in kept


def test_one_sees_ones_own_tokens_only(signed_in: SignedIn, edda: Person, ines: Person) -> None:
    token_id = signed_in(edda).post("/api/v1/me/tokens", json=TOKEN).json()["id"]
    path = f"/api/v1/me/tokens/{token_id}"
    assert "secret" not in signed_in(edda).get(path).json()
    assert signed_in(ines).get(path).status_code == 404
    assert signed_in(ines).delete(path).status_code == 404
    assert signed_in(ines).get("/api/v1/me/tokens").json()["items"] == []
    assert len(signed_in(edda).get("/api/v1/me/tokens").json()["items"]) == 1


def test_a_wrong_present_password_is_counted_over_the_wire_too(
    signed_in: SignedIn, odile: Person, give_password: GivePassword, look: Look
) -> None:
    give_password(odile)
    client = signed_in(odile)
    change = {"current_password": "guess", "new_password": "seven herons at noon"}
    for _ in range(5):
        answer = client.post("/api/v1/me/password", json=change)
        assert answer.status_code == 422
        assert answer.json()["faults"][0]["field"] == "current_password"
    assert set(look(select(SignInFailures.count))) == {5}
    slowed = client.post("/api/v1/me/password", json=change)
    assert (slowed.status_code, slowed.json()["code"]) == (429, "accounts.too_many_failures")
    assert slowed.headers["retry-after"] == "1"


def test_the_password_changes_over_the_wire(
    signed_in: SignedIn, odile: Person, give_password: GivePassword, look: Look
) -> None:
    give_password(odile)
    before = look(select(Account.password_hash))
    change = {"current_password": PASSWORD, "new_password": "seven herons at noon"}
    assert signed_in(odile).post("/api/v1/me/password", json=change).status_code == 204
    assert look(select(Account.password_hash)) != before


def test_people_are_edited_by_version_and_with_the_rules_of_the_pages(
    signed_in: SignedIn, ada: Person, odile: Person
) -> None:
    client = signed_in(ada)
    path = f"/api/v1/people/{odile.account_id}"
    fields = {**MIRTE, "username": "odile"}
    assert client.put(path, json=fields).status_code == 428
    etag = client.get(path).headers["etag"]
    edited = client.put(path, json=fields, headers={"If-Match": etag})
    assert edited.status_code == 200
    assert edited.json()["roles"] == ["auditor", "operator"]
    assert client.put(path, json=fields, headers={"If-Match": etag}).status_code == 412
    own = f"/api/v1/people/{ada.account_id}"
    refused = client.put(
        own,
        json={"username": "renamed", "name": "Renamed", "roles": ["operator"]},
        headers={"If-Match": client.get(own).headers["etag"]},
    )
    assert refused.json()["code"] == "accounts.own_account"
    # All or nothing: the name of the refused edit was not taken either.
    assert client.get(own).json()["username"] == "ada"


def test_a_reset_over_the_wire_gives_a_temporary_password(
    signed_in: SignedIn, ada: Person, odile: Person
) -> None:
    answer = signed_in(ada).post(f"/api/v1/people/{odile.account_id}/password-reset")
    assert answer.json()["must_change_password"] is True
    assert len(answer.json()["temporary_password"]) == 23
    assert signed_in(odile).get("/api/v1/me").status_code == 401


@pytest.mark.parametrize(
    "changed",
    [
        {"username": "a\x00b"},
        {"username": "x" * 10_000},
        {"username": 5},
        {"name": "\u0007"},
        {"roles": "operator"},
        {"roles": []},
        {"roles": ["operator"] * 5},
        {"roles": [{"a": 1}]},
        {"more": 1},
    ],
)
def test_bad_values_are_refused_by_field(
    signed_in: SignedIn, ada: Person, changed: dict[str, object]
) -> None:
    answer = signed_in(ada).post("/api/v1/people", json={**MIRTE, **changed})
    assert answer.status_code == 422
    field = answer.json()["faults"][0]["field"]
    assert field.split(".")[0] == next(iter(changed))


def test_only_administrators_handle_people(signed_in: SignedIn, ines: Person) -> None:
    client = signed_in(ines)
    assert client.get("/api/v1/people").status_code == 403
    assert client.post("/api/v1/people", json=MIRTE).status_code == 403
    assert client.post(f"/api/v1/people/{ines.account_id}/password-reset").status_code == 403
    assert client.post("/api/v1/people/1/disablement").status_code == 403
