"""My account, without a browser."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select, update

from app.accounts.access import COOKIE
from app.accounts.rules import Person
from app.accounts.tables import Account, ApiToken, SignedInSession
from app.audit.tables import AuditEntry
from app.core.db import Sessions
from tests.accounts.conftest import BrowseFrom, GivePassword, type_in
from tests.conftest import PASSWORD, Look, MovableClock, SignedIn

NEW = "seven herons at noon"


def fill_in(current: str = PASSWORD, new: str = NEW, again: str = NEW) -> dict[str, str]:
    return {"current_password": current, "new_password": new, "again": again}


def test_the_page_shows_the_name_the_roles_and_the_running_sign_ins(
    signed_in: SignedIn, odile: Person
) -> None:
    page = signed_in(odile).get("/me").text
    assert "Odile Maasland" in page
    assert "127.0.0.1" in page
    assert "this one" in page
    assert "No token." in page


def test_another_password_ends_every_other_sign_in(
    browse_from: BrowseFrom, signed_in: SignedIn, odile: Person, give_password: GivePassword
) -> None:
    give_password(odile)
    other = browse_from("10.0.0.7")
    type_in(other, "odile")
    client = signed_in(odile)
    answer = client.post("/me/password", data=fill_in())
    assert answer.headers["location"] == "/me?said=password-changed"
    assert client.get("/me").status_code == 200
    assert other.get("/me").headers["location"] == "/sign-in"
    assert type_in(browse_from("10.0.0.7"), "odile", PASSWORD) == 422
    assert type_in(browse_from("10.0.0.7"), "odile", NEW) == 303


def test_a_refused_password_names_its_field_and_changes_nothing(
    signed_in: SignedIn, odile: Person, give_password: GivePassword, look: Look
) -> None:
    give_password(odile)
    stored = look(select(Account.password_hash))
    client = signed_in(odile)
    for fields, sentence in (
        (fill_in(again="seven herons at none"), "New password again is not typed like"),
        (fill_in(current="not the present one"), "Present password is not the present one"),
        (fill_in(new="too short", again="too short"), "this one has 9"),
        (fill_in(new=PASSWORD, again=PASSWORD), "must be another than the present one"),
        ({"again": NEW}, "Present password is missing"),
        (fill_in(new="x" * 1_001, again="x" * 1_001), "at most 1000 characters"),
    ):
        answer = client.post("/me/password", data=fields)
        assert answer.status_code == 422
        assert sentence in answer.text
        assert NEW not in answer.text
    assert look(select(Account.password_hash)) == stored


def test_guessing_the_present_password_from_an_open_browser_is_slowed(
    signed_in: SignedIn, odile: Person, give_password: GivePassword, clock: MovableClock
) -> None:
    give_password(odile)
    client = signed_in(odile)
    wrong = [client.post("/me/password", data=fill_in("guess")).status_code for _ in range(6)]
    assert wrong == [422] * 5 + [429]
    answer = client.post("/me/password", data=fill_in())
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "1"
    clock.advance(seconds=1)
    assert client.post("/me/password", data=fill_in()).status_code == 303


def test_with_a_temporary_password_every_page_leads_to_changing_it(
    signed_in: SignedIn, odile: Person, give_password: GivePassword, sessions: Sessions
) -> None:
    give_password(odile)
    with sessions.engine.begin() as connection:
        connection.execute(
            update(Account).where(Account.id == odile.account_id).values(must_change_password=True)
        )
    client = signed_in(odile)
    for path in ("/", "/me", "/setup/benches"):
        assert client.get(path).headers["location"] == "/me/password"
    assert client.post("/setup/benches").headers["location"] == "/me/password"
    refused = client.get("/api/v1/benches")
    assert refused.status_code == 403
    assert refused.json()["code"] == "accounts.password_must_change"
    assert "made by somebody else" in client.get("/me/password").text
    assert client.post("/me/password", data=fill_in()).status_code == 303
    assert client.get("/setup/benches").status_code == 200


def test_one_can_end_another_of_ones_own_sign_ins_and_nobody_elses(
    browse_from: BrowseFrom,
    signed_in: SignedIn,
    odile: Person,
    ines: Person,
    give_password: GivePassword,
    look: Look,
) -> None:
    give_password(odile)
    other = browse_from("10.0.0.7")
    type_in(other, "odile")
    client = signed_in(odile)
    found = re.findall(r"/me/sessions/(\d+)/end", client.get("/me").text)
    assert len(found) == 1
    path = f"/me/sessions/{found[0]}/end"
    assert signed_in(ines).post(path).status_code == 404
    assert other.get("/me").status_code == 200
    assert client.post(path).headers["location"] == "/me?said=session-ended"
    assert other.get("/me").status_code == 303
    assert client.post(path).status_code == 303
    ends = look(select(AuditEntry.action).where(AuditEntry.action == "accounts.end_session"))
    assert len(ends) == 1


def test_a_token_is_shown_once_and_kept_only_as_a_digest(
    signed_in: SignedIn, odile: Person, look: Look
) -> None:
    client = signed_in(odile)
    fields = {"name": "label printer", "days": "30", "roles": "operator"}
    page = client.post("/me/tokens", data=fields).text
    secret = re.findall(r"wbk_[\w-]{43}", page)[0]
    assert secret not in client.get("/me").text
    row = look(select(ApiToken))[0]
    assert row.secret_digest != secret
    assert (row.expires_at - row.created_at).days == 30
    assert "label printer" in client.get("/me").text
    client.post(f"/me/tokens/{row.id}/revocation")
    assert "label printer" not in client.get("/me").text


def test_a_refused_token_keeps_what_was_typed(
    signed_in: SignedIn, odile: Person, look: Look
) -> None:
    client = signed_in(odile)
    for fields, sentence in (
        ({"name": "printer", "days": "91", "roles": "operator"}, "must be at most 90, not 91"),
        ({"name": "printer", "days": "0", "roles": "operator"}, "must be at least 1, not 0"),
        ({"name": "printer", "days": "9"}, "must have at least 1 entries"),
        ({"name": "printer", "days": "9", "roles": "engineer"}, "can only be your own"),
        ({"name": "printer", "days": "9", "roles": "king"}, "Put this right"),
    ):
        answer = client.post("/me/tokens", data=fields)
        assert answer.status_code == 422
        assert sentence in answer.text
        assert 'value="printer"' in answer.text
    too_long = client.post("/me/tokens", data={"name": "p" * 81, "days": "9", "roles": "operator"})
    assert "may have at most 80 characters" in too_long.text
    assert look(select(ApiToken)) == []


def test_without_the_mark_of_the_sign_in_nothing_changes(
    signed_in: SignedIn, odile: Person, look: Look
) -> None:
    client = signed_in(odile)
    del client.headers["X-CSRF-Token"]
    for path in ("/me/password", "/me/tokens", "/me/sessions/1/end", "/me/tokens/1/revocation"):
        assert client.post(path, data={"csrf": "another"}).status_code == 403
    running = select(SignedInSession).where(SignedInSession.ended_at.is_(None))
    assert len(look(running)) == 5


def test_a_cookie_of_nonsense_opens_nothing(nobody: TestClient) -> None:
    for nonsense in ("x", "a" * 4_000, "%00"):
        nobody.cookies.set(COOKIE, nonsense)
        assert nobody.get("/me").headers["location"] == "/sign-in"
        assert nobody.get("/sign-in").status_code == 200


@pytest.mark.parametrize(
    "nasty", ["\x00", "x" * 70_000, "\u202e\u0000", "{" * 2_000, "\U0010ffff", "9" * 400]
)
def test_nothing_typed_into_a_field_of_secrets_is_more_than_refused(
    signed_in: SignedIn, nobody: TestClient, odile: Person, give_password: GivePassword, nasty: str
) -> None:
    give_password(odile)
    client = signed_in(odile)
    assert client.post("/me/password", data=fill_in(nasty)).status_code == 422
    assert client.post("/me/password", data={"again": nasty, "x": nasty}).status_code == 422
    assert type_in(nobody, nasty, nasty) == 422
    file = {"username": ("odile", b"x", "text/plain"), "csrf": ("a", b"x", "text/plain")}
    assert nobody.post("/sign-in", files=file).status_code == 403
    assert nobody.post("/sign-in", json={"username": "odile"}).status_code == 403
