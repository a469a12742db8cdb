"""Every refusal has a code, a status and a form: problem+json to programs, a page to people."""

import re
from collections import defaultdict
from collections.abc import Iterator
from importlib import import_module
from typing import Annotated

import pytest
from fastapi import FastAPI, Query
from fastapi.testclient import TestClient
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError

from app.accounts.access import COOKIE
from app.core import refusals
from app.core.refusals import (
    Conflict,
    Forbidden,
    Missing,
    Refusal,
    Stale,
    TooLarge,
    TooSoon,
    Unacceptable,
    Unidentified,
    Unknown,
    Unreadable,
)
from app.main import PAGES, ROUTES
from app.web.problems import STATUS_OF_KIND, Busy, get_refusal_of_database, get_status

API = "/api/v1/tests"
PAGE = "/tests"
MEMBERS = {"type", "title", "status", "code", "detail", "faults"}


class Failing:
    """A route that refuses with what it was given last."""

    error: Exception = Exception()

    def __call__(self) -> None:
        """Refuse."""
        raise self.error


@pytest.fixture
def failing() -> Failing:
    return Failing()


@pytest.fixture
def client(house: FastAPI, failing: Failing) -> TestClient:
    def fail() -> None:
        failing()

    def ask(number: Annotated[int, Query(ge=1, le=9)], text: Annotated[str, Query()]) -> None:
        return

    house.add_api_route(API, fail, methods=["GET", "POST"])
    house.add_api_route(PAGE, fail, methods=["GET", "POST"])
    house.add_api_route(f"{API}/asked", ask, methods=["GET"])
    return TestClient(house, raise_server_exceptions=False, follow_redirects=False)


def make_kind(kind: type[Refusal]) -> type[Refusal]:
    return type("Declined", (kind,), {"code": "tests.declined", "__module__": __name__})


KINDS = [
    (Unidentified, 401),
    (Forbidden, 403),
    (Unknown, 404),
    (Conflict, 409),
    (Stale, 412),
    (TooLarge, 413),
    (Unacceptable, 422),
    (Missing, 428),
]


def list_refusals(parent: type[Refusal] = Refusal) -> Iterator[type[Refusal]]:
    """Give every refusal of the house that can be raised, those of tests left out."""
    for child in parent.__subclasses__():
        if child.__module__.startswith("app."):
            yield child
            yield from list_refusals(child)


@pytest.fixture(scope="module")
def every_refusal() -> set[type[Refusal]]:
    for name in (*PAGES, *ROUTES, "app.main", "app.cli"):
        import_module(name)
    kinds = {one for one in vars(refusals).values() if isinstance(one, type)} - {Unreadable}
    return set(list_refusals()) - kinds


def test_every_refusal_has_a_code_of_its_own_feature(every_refusal: set[type[Refusal]]) -> None:
    assert len(every_refusal) > 80
    for refusal in every_refusal:
        assert re.fullmatch(r"[a-z]+\.[a-z][a-z0-9_]*", refusal.code), refusal
        feature = refusal.code.partition(".")[0]
        # The shell stands on the ground floor for whoever reads the code.
        own = {"web": "core", "numerics": "core"}.get(refusal.__module__.split(".")[1])
        assert feature in {refusal.__module__.split(".")[1], own}, refusal


def test_no_two_refusals_share_a_code(every_refusal: set[type[Refusal]]) -> None:
    named = defaultdict(set)
    for refusal in every_refusal:
        if "code" in vars(refusal):
            named[refusal.code].add(refusal)
    assert {code: found for code, found in named.items() if len(found) > 1} == {}


def test_every_refusal_has_the_status_of_its_kind(every_refusal: set[type[Refusal]]) -> None:
    for refusal in every_refusal - {Busy}:
        assert 400 <= get_status(refusal) < 500, refusal


def test_every_kind_of_refusal_has_a_status() -> None:
    assert {kind for kind, _ in KINDS} | {TooSoon} == set(STATUS_OF_KIND)
    with pytest.raises(KeyError):
        get_status(make_kind(Refusal))


@pytest.mark.parametrize(("kind", "status"), KINDS)
def test_a_program_reads_a_problem_with_a_code_and_a_fault_a_field(
    client: TestClient, failing: Failing, kind: type[Refusal], status: int
) -> None:
    failing.error = make_kind(kind)("The peak is too hot: at most 260 °C.", field="peak_c")
    answer = client.post(API)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem.keys() == MEMBERS
    # RFC 9457, section 4.2.1: with about:blank the title is the status's own phrase.
    assert problem["type"] == "about:blank"
    assert problem["title"]
    assert problem["status"] == status
    assert problem["code"] == "tests.declined"
    assert problem["detail"] == "The peak is too hot: at most 260 °C."
    assert problem["faults"] == [{"field": "peak_c", "sentence": problem["detail"]}]


@pytest.mark.parametrize(("kind", "status"), KINDS)
def test_a_person_reads_a_page_with_the_sentence_and_a_way_on(
    client: TestClient, failing: Failing, kind: type[Refusal], status: int
) -> None:
    failing.error = make_kind(kind)("No <b>such</b> thing.", field="a<b")
    answer = client.post(PAGE, headers={"Referer": "http://testserver/jobs/7?said=x"})
    assert answer.status_code == status
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert "No &lt;b&gt;such&lt;/b&gt; thing." in answer.text
    assert "<strong>a&lt;b</strong>" in answer.text
    assert f"{status} · tests.declined" in answer.text
    assert 'href="/jobs/7?said=x"' in answer.text
    assert "Nothing was changed." in answer.text


@pytest.mark.parametrize(
    "referer",
    ["http://elsewhere.example/jobs", "//elsewhere.example", "javascript:alert(1)", '"><script>'],
)
def test_the_way_back_never_leads_out_of_the_house(
    client: TestClient, failing: Failing, referer: str
) -> None:
    failing.error = make_kind(Conflict)("Not now.")
    page = client.post(PAGE, headers={"Referer": referer}).text
    assert set(re.findall(r'<a[^>]* href="([^"]*)"', page)) == {"/"}


def test_who_is_not_signed_in_is_led_to_the_sign_in_and_a_program_is_told(
    client: TestClient, failing: Failing
) -> None:
    failing.error = make_kind(Unidentified)("Sign in first.")
    page = client.get(PAGE)
    assert (page.status_code, page.headers["location"]) == (303, "/sign-in")
    assert page.headers["www-authenticate"] == 'Bearer realm="Wickbook"'
    assert client.get(API).headers["www-authenticate"] == 'Bearer realm="Wickbook"'


def test_who_tries_too_often_is_told_how_long_to_wait(client: TestClient, failing: Failing) -> None:
    class OftenTried(TooSoon):
        code = "tests.often_tried"

    failing.error = OftenTried("Wait a minute.", wait_s=60)
    answer = client.post(API)
    assert (answer.status_code, answer.headers["retry-after"]) == (429, "60")


DATABASE = [
    (IntegrityError("INSERT", {}, Exception("secret")), 409, "core.contradiction"),
    (OperationalError("SELECT", {}, Exception("secret")), 503, "core.busy"),
    (DBAPIError("UPDATE", {}, Exception("secret")), 409, "core.contradiction"),
]


@pytest.mark.parametrize(("error", "status", "code"), DATABASE)
def test_an_error_of_the_database_is_a_refusal_that_shows_nothing_of_it(
    client: TestClient, failing: Failing, error: DBAPIError, status: int, code: str
) -> None:
    failing.error = error
    answer = client.post(API)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert answer.headers.get("retry-after") == ("2" if status == 503 else None)
    assert "secret" not in answer.text
    assert get_refusal_of_database(error).code == code


def test_several_faults_are_told_at_once_each_with_its_field(client: TestClient) -> None:
    answer = client.get(f"{API}/asked", params={"number": 10})
    assert answer.status_code == 422
    problem = answer.json()
    assert problem["code"] == "core.unreadable"
    assert problem["faults"] == [
        {"field": "number", "sentence": "must be at most 9, not 10"},
        {"field": "text", "sentence": "is missing"},
    ]
    assert problem["detail"] == "number: must be at most 9, not 10; text: is missing"


@pytest.mark.parametrize(
    ("method", "path", "status", "code"),
    [
        ("GET", "/api/v1/nowhere", 404, "http.not_found"),
        ("GET", "/api/v1/benches/0", 422, "core.unreadable"),
        ("GET", "/api/v1/benches/999", 404, "plant.bench_unknown"),
        ("GET", "/api/v1/benches/99999999999999999999", 422, "core.unreadable"),
        ("DELETE", "/api/v1/benches", 405, "http.method_not_allowed"),
    ],
)
def test_what_no_route_answers_is_a_problem_too(
    client: TestClient, method: str, path: str, status: int, code: str
) -> None:
    client.cookies.set(COOKIE, "secret of ines")
    answer = client.request(method, path)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert answer.json().keys() == MEMBERS
    assert (status == 405) == ("allow" in answer.headers)
