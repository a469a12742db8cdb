"""HEAD is answered as GET would be, without the body."""

import pytest
from fastapi.testclient import TestClient

from app.accounts.rules import Person
from tests.conftest import SignedIn

PATHS = (
    "/",
    "/boards",
    "/recipes",
    "/materials",
    "/me",
    "/sign-in",
    "/nowhere",
    "/api/v1/parts",
    "/api/v1/benches",
    "/api/v1/boards/99",
    "/api/v1/parts?limit=x",
    "/api/v1/openapi.json",
    "/api/docs",
    "/healthz",
    "/static/wickbook.css",
)


@pytest.mark.parametrize("path", PATHS)
def test_head_has_the_status_and_the_headers_of_get_and_no_body(
    signed_in: SignedIn, ines: Person, path: str
) -> None:
    client = signed_in(ines)
    by_get, by_head = client.get(path), client.head(path)
    assert by_head.content == b""
    assert by_head.status_code == by_get.status_code
    assert dict(by_head.headers) == dict(by_get.headers)
    assert by_get.content != b"" or by_get.is_redirect


def test_who_is_not_signed_in_learns_no_more_by_head(nobody: TestClient) -> None:
    assert nobody.head("/boards").headers["location"] == "/sign-in"
    assert nobody.head("/api/v1/parts").status_code == 401


def test_what_only_takes_a_post_takes_no_head(signed_in: SignedIn, ines: Person) -> None:
    answer = signed_in(ines).head("/sign-out")
    assert (answer.status_code, answer.headers["allow"]) == (405, "POST")


def test_a_refused_method_is_told_that_head_is_allowed(signed_in: SignedIn, ines: Person) -> None:
    allowed = signed_in(ines).delete("/api/v1/benches").headers["allow"]
    assert {"GET", "HEAD"} <= set(allowed.split(", "))
