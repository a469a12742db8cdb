"""Signing in and out at the door."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.access import COOKIE
from app.accounts.pages import FORM_COOKIE
from app.accounts.rules import Person, compute_secret_digest
from app.accounts.tables import Account, SignedInSession, SignInFailures
from app.audit.tables import AuditEntry
from app.core.settings import Settings
from app.main import create_app
from tests.accounts.conftest import BrowseFrom, GivePassword, type_in
from tests.conftest import PASSWORD, Look, MovableClock, SignedIn


def list_actions(look: Look) -> list[str]:
    return look(select(AuditEntry.action).order_by(AuditEntry.seq))


def test_the_right_password_opens_a_sign_in_of_its_own(
    browse_from: BrowseFrom, odile: Person, give_password: GivePassword, look: Look
) -> None:
    give_password(odile)
    client = browse_from("10.0.0.7")
    client.headers["User-Agent"] = "Bench browser"
    assert type_in(client, "Odile") == 303
    secret = client.cookies[COOKIE]
    row = look(
        select(SignedInSession).where(
            SignedInSession.secret_digest == compute_secret_digest(secret)
        )
    )[0]
    assert (row.account_id, row.address, row.agent) == (
        odile.account_id,
        "10.0.0.7",
        "Bench browser",
    )
    assert secret not in row.secret_digest
    assert list_actions(look)[-1] == "accounts.sign_in"
    assert client.get("/").headers["location"] == "/bench"
    assert client.get("/sign-in").headers["location"] == "/"


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(
    browse_from: BrowseFrom, odile: Person, give_password: GivePassword
) -> None:
    give_password(odile)
    client = browse_from("10.0.0.7")
    form = client.get("/sign-in")
    shown = form.headers["set-cookie"]
    assert shown.startswith(f"{FORM_COOKIE}=")
    assert "HttpOnly" in shown
    assert "SameSite=strict" in shown
    mark = client.cookies.get(FORM_COOKIE, path="/sign-in")
    answer = client.post(
        "/sign-in", data={"username": "odile", "password": PASSWORD, "csrf": mark or ""}
    )
    cookie = next(c for c in answer.headers.get_list("set-cookie") if c.startswith(COOKIE))
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Path=/" in cookie
    assert "Secure" not in cookie


def test_under_https_only_the_cookies_never_travel_in_the_clear(
    settings: Settings, odile: Person, give_password: GivePassword, clock: MovableClock
) -> None:
    give_password(odile)
    house = create_app(settings.model_copy(update={"https_only": True}), clock=clock)
    client = TestClient(house, base_url="https://testserver", follow_redirects=False)
    assert "Secure" in client.get("/sign-in").headers["set-cookie"]
    assert type_in(client, "odile") == 303
    assert {cookie.secure for cookie in client.cookies.jar} == {True}
    house.state.sessions.engine.dispose()


@pytest.mark.parametrize(
    "username", ["odile", "nobody.here", "no such name!", "", "\x00", "o" * 99]
)
def test_a_wrong_password_and_an_unknown_name_get_the_same_answer(
    nobody: TestClient, odile: Person, give_password: GivePassword, look: Look, username: str
) -> None:
    give_password(odile)
    assert type_in(nobody, username, "not the password of anyone") == 422
    assert COOKIE not in nobody.cookies
    entry = look(select(AuditEntry).order_by(AuditEntry.seq.desc()))[0]
    assert entry.action == "accounts.sign_in_failed"
    assert entry.subject_id == (odile.account_id if username == "odile" else 0)
    assert b"nobody.here" not in entry.body
    assert b"odile" not in entry.body


def test_a_refused_form_keeps_the_name_and_never_the_password(
    nobody: TestClient, odile: Person
) -> None:
    nobody.get("/sign-in")
    mark = nobody.cookies.get(FORM_COOKIE, path="/sign-in")
    answer = nobody.post(
        "/sign-in", data={"username": "odile", "password": "hunter two", "csrf": mark or ""}
    )
    assert "Username and password do not belong together." in answer.text
    assert 'value="odile"' in answer.text
    assert "hunter two" not in answer.text


def test_a_form_from_another_place_is_refused_before_anything_is_counted(
    nobody: TestClient, odile: Person, give_password: GivePassword, look: Look
) -> None:
    give_password(odile)
    fields = {"username": "odile", "password": PASSWORD}
    assert nobody.post("/sign-in", data=fields).status_code == 403
    assert nobody.post("/sign-in", data={**fields, "csrf": ""}).status_code == 403
    nobody.get("/sign-in")
    assert nobody.post("/sign-in", data={**fields, "csrf": "guessed"}).status_code == 403
    assert type_in(nobody, "odile", **{"Sec-Fetch-Site": "cross-site"}) == 403
    assert type_in(nobody, "odile", **{"Sec-Fetch-Site": "same-origin"}) == 303
    assert max(look(select(SignInFailures.count))) == 0


def test_signing_in_again_ends_the_sign_in_of_before(
    browse_from: BrowseFrom, odile: Person, ines: Person, give_password: GivePassword
) -> None:
    give_password(odile)
    give_password(ines)
    client = browse_from("10.0.0.7")
    type_in(client, "odile")
    first = client.cookies[COOKIE]
    other = browse_from("10.0.0.7")
    # A secret planted from outside is not taken over: signing in always makes a new one.
    other.get("/sign-in")
    mark = other.cookies.get(FORM_COOKIE, path="/sign-in")
    answer = other.post(
        "/sign-in",
        data={"username": "ines", "password": PASSWORD, "csrf": mark or ""},
        headers={"Cookie": f"{FORM_COOKIE}={mark}; {COOKIE}={first}"},
    )
    assert answer.status_code == 303
    assert answer.cookies[COOKIE] != first
    assert client.get("/me").status_code == 303


def test_signing_out_ends_the_sign_in_on_the_server_too(
    signed_in: SignedIn, odile: Person, look: Look
) -> None:
    client = signed_in(odile)
    answer = client.post("/sign-out")
    assert answer.headers["location"] == "/sign-in?said=signed-out"
    assert signed_in(odile).get("/me").headers["location"] == "/sign-in"
    assert list_actions(look)[-1] == "accounts.sign_out"


def test_signing_out_takes_the_mark_of_the_sign_in(signed_in: SignedIn, odile: Person) -> None:
    client = signed_in(odile)
    del client.headers["X-CSRF-Token"]
    assert client.post("/sign-out").status_code == 403
    assert client.post("/sign-out", data={"csrf": odile.csrf}).status_code == 303


def test_a_sign_in_ends_when_idle_and_at_the_latest_after_its_hours(
    signed_in: SignedIn, odile: Person, clock: MovableClock
) -> None:
    client = signed_in(odile)
    for _ in range(14):
        clock.advance(minutes=50)
        assert client.get("/me").status_code == 200
    clock.advance(minutes=50)
    assert client.get("/me").status_code == 303


def test_an_idle_sign_in_ends_before_its_hours_are_over(
    signed_in: SignedIn, odile: Person, clock: MovableClock
) -> None:
    clock.advance(minutes=61)
    assert signed_in(odile).get("/me").status_code == 303


def test_after_five_failures_the_answer_says_how_long_to_wait(
    browse_from: BrowseFrom, odile: Person, give_password: GivePassword, clock: MovableClock
) -> None:
    give_password(odile)
    client = browse_from("10.0.0.7")
    assert [type_in(client, "odile", "guess") for _ in range(6)] == [422] * 5 + [429]
    client.get("/sign-in")
    mark = client.cookies.get(FORM_COOKIE, path="/sign-in")
    answer = client.post(
        "/sign-in", data={"username": "odile", "password": PASSWORD, "csrf": mark or ""}
    )
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "1"
    assert "try again in 1 second." in answer.text
    clock.advance(seconds=1)
    assert type_in(client, "odile") == 303


def test_success_and_an_hour_of_quiet_both_forget_the_failures(
    browse_from: BrowseFrom, odile: Person, give_password: GivePassword, clock: MovableClock
) -> None:
    give_password(odile)
    client = browse_from("10.0.0.7")
    assert [type_in(client, "odile", "guess") for _ in range(4)] == [422] * 4
    assert type_in(client, "odile") == 303
    client.cookies.clear()
    assert [type_in(client, "odile", "guess") for _ in range(5)] == [422] * 5
    assert type_in(client, "odile") == 429
    clock.advance(hours=1, seconds=1)
    assert [type_in(client, "odile", "guess") for _ in range(5)] == [422] * 5


def test_nobody_can_be_kept_out_by_failing_in_their_name(
    browse_from: BrowseFrom, odile: Person, give_password: GivePassword, clock: MovableClock
) -> None:
    give_password(odile)
    assert type_in(browse_from("10.0.0.7"), "odile") == 303
    for number in range(40):
        type_in(browse_from(f"203.0.113.{number}"), "odile", "guess")
        clock.advance(seconds=31)
    clock.advance(seconds=-31)
    type_in(browse_from("203.0.113.99"), "odile", "guess")
    # From a bench where she was before: at once. From a new place: after half a minute at most.
    assert type_in(browse_from("10.0.0.7"), "odile") == 303
    assert type_in(browse_from("10.0.0.8"), "odile", "one more failure") == 422
    for _ in range(40):
        type_in(browse_from("203.0.113.1"), "odile", "guess")
        clock.advance(seconds=300)
    type_in(browse_from("203.0.113.1"), "odile", "guess")
    clock.advance(seconds=30)
    assert type_in(browse_from("10.0.0.8"), "odile") == 303


def test_guessing_at_many_names_from_one_place_is_slowed_even_between_own_sign_ins(
    browse_from: BrowseFrom, odile: Person, give_password: GivePassword, clock: MovableClock
) -> None:
    give_password(odile)
    client = browse_from("10.0.0.7")
    for number in range(4):
        assert type_in(client, f"somebody{number}", "guess") == 422
    assert type_in(client, "odile") == 303
    client.cookies.clear()
    assert type_in(client, "somebody8", "guess") == 422
    assert type_in(client, "somebody9", "guess") == 429
    # Her own sign-in there is not slowed by that.
    assert type_in(client, "odile") == 303


def test_what_was_typed_as_a_name_is_not_kept(nobody: TestClient, look: Look) -> None:
    type_in(nobody, "my secret by mistake", "x")
    assert all("secret" not in key for key in look(select(SignInFailures.key)))


def test_a_disabled_person_cannot_sign_in(
    nobody: TestClient, signed_in: SignedIn, ada: Person, odile: Person, give_password: GivePassword
) -> None:
    give_password(odile)
    signed_in(ada).post(f"/setup/people/{odile.account_id}/disablement")
    assert type_in(nobody, "odile") == 422


def test_signing_in_renews_a_hash_made_with_other_parameters(
    settings: Settings, odile: Person, give_password: GivePassword, clock: MovableClock, look: Look
) -> None:
    give_password(odile)
    house = create_app(settings.model_copy(update={"argon2_memory_kib": 128}), clock=clock)
    client = TestClient(house, follow_redirects=False)
    before = look(select(Account.version).where(Account.id == odile.account_id))
    assert type_in(client, "odile") == 303
    stored = look(select(Account.password_hash).where(Account.id == odile.account_id))[0]
    assert "m=128" in stored
    assert look(select(Account.version).where(Account.id == odile.account_id)) == before
    client.cookies.clear()
    assert type_in(client, "odile") == 303
    house.state.sessions.engine.dispose()


@pytest.mark.parametrize(
    ("who", "where"),
    [("odile", "/bench"), ("ines", "/bench"), ("anselm", "/boards"), ("ada", "/setup/people")],
)
def test_the_start_page_leads_to_where_the_day_begins(
    signed_in: SignedIn, request: pytest.FixtureRequest, who: str, where: str
) -> None:
    assert signed_in(request.getfixturevalue(who)).get("/").headers["location"] == where


def test_nobody_is_led_to_the_door(nobody: TestClient) -> None:
    assert nobody.get("/").headers["location"] == "/sign-in"
    assert "wickbook account add" not in nobody.get("/sign-in").text
