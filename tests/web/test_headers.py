"""Every answer, of whatever kind, carries the headers that keep a browser safe."""

import re

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.accounts.access import COOKIE
from app.core.settings import Settings
from app.web.headers import CONTENT_SECURITY_POLICY, HEADERS
from app.web.templates import APP_FOLDER

FAULT = "/api/v1/tests/fault"


@pytest.fixture
def client(house: FastAPI) -> TestClient:
    def fail() -> None:
        raise RuntimeError("a fault of our own, with a secret in it")

    house.add_api_route(FAULT, fail, methods=["GET"])
    house.add_api_route("/tests/fault", fail, methods=["GET"])
    return TestClient(
        house,
        raise_server_exceptions=False,
        follow_redirects=False,
        cookies={COOKIE: "secret of ines"},
    )


ANSWERS = [
    ("GET", "/bench", 200, "text/html"),
    ("GET", "/setup", 200, "text/html"),
    ("GET", "/api/v1/benches", 200, "application/json"),
    ("GET", "/api/v1/openapi.json", 200, "application/json"),
    ("GET", "/api/docs", 200, "text/html"),
    ("GET", "/healthz", 200, "application/json"),
    ("GET", "/static/wickbook.css", 200, "text/css"),
    ("GET", "/static/scan.js", 200, "text/javascript"),
    ("GET", "/vendor/swagger/swagger-ui.css", 200, "text/css"),
    ("GET", "/static/absent.css", 404, "text/html"),
    ("GET", "/nowhere", 404, "text/html"),
    ("GET", "/api/v1/nowhere", 404, "application/problem+json"),
    ("DELETE", "/api/v1/benches", 405, "application/problem+json"),
    ("POST", "/api/v1/benches", 403, "application/problem+json"),
    ("POST", "/setup/benches", 403, "text/html"),
    ("GET", "/api/v1/benches?limit=x", 422, "application/problem+json"),
    ("GET", FAULT, 500, "application/problem+json"),
    ("GET", "/tests/fault", 500, "text/html"),
]


@pytest.mark.parametrize(("method", "path", "status", "content_type"), ANSWERS)
def test_an_answer_of_every_kind_carries_the_headers(
    client: TestClient, method: str, path: str, status: int, content_type: str
) -> None:
    answer = client.request(method, path)
    assert answer.status_code == status
    assert answer.headers["content-type"].partition(";")[0] == content_type
    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS
    assert answer.headers["cache-control"]


def test_a_browser_keeps_static_files_and_asks_whether_they_are_new(client: TestClient) -> None:
    for path in ("/static/wickbook.css", "/vendor/plotly/plotly.min.js"):
        first = client.get(path)
        assert first.headers["cache-control"] == "no-cache"
        again = client.get(path, headers={"If-None-Match": first.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["cache-control"] == "no-cache"


def test_a_redirect_carries_the_headers(house: FastAPI) -> None:
    answer = TestClient(house, follow_redirects=False).get("/bench")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS


@pytest.mark.parametrize("path", ["/sign-in", "/api/v1/benches"])
def test_a_body_that_is_too_large_is_refused_with_the_headers(
    client: TestClient, settings: Settings, path: str
) -> None:
    answer = client.post(path, content=b"x" * (settings.body_limit_kb * 1024 + 1))
    assert answer.status_code == 413
    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS


@pytest.mark.parametrize("path", [FAULT, "/tests/fault"])
def test_a_fault_of_the_house_is_told_in_words_and_shows_nothing_of_it(
    client: TestClient, path: str
) -> None:
    answer = client.get(path)
    assert "Wickbook failed at this; the service" in answer.text
    assert "core.failed" in answer.text
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text


def test_the_policy_lets_nothing_inline_and_nothing_foreign_run() -> None:
    rules = dict(rule.split(" ", 1) for rule in CONTENT_SECURITY_POLICY.split("; "))
    assert "unsafe" not in CONTENT_SECURITY_POLICY
    assert "*" not in CONTENT_SECURITY_POLICY
    assert rules["default-src"] == "'none'"
    assert rules["script-src"] == "'self'"
    assert rules["frame-ancestors"] == rules["base-uri"] == "'none'"
    assert rules["form-action"] == "'self'"
    foreign = re.findall(r"https?:|//|[a-z]\.[a-z]", CONTENT_SECURITY_POLICY)
    assert foreign == []


def test_no_template_holds_an_inline_script_or_style_which_the_policy_would_stop() -> None:
    inline = re.compile(r"<script(?![^>]*\bsrc=)|\sstyle=|<style|\son[a-z]+=|javascript:", re.I)
    found = [
        f"{file.name}: {match.group()}"
        for file in sorted(APP_FOLDER.rglob("*.html"))
        for match in inline.finditer(file.read_text(encoding="utf-8"))
    ]
    assert found == []


@pytest.mark.parametrize("path", ["/sign-in", "/api/v1/openapi.json", "/static/scan.js", FAULT])
def test_only_over_https_a_browser_is_told_to_stay_with_it(client: TestClient, path: str) -> None:
    assert "strict-transport-security" not in client.get(path).headers
    safe = TestClient(client.app, base_url="https://testserver", raise_server_exceptions=False)
    assert safe.get(path).headers["strict-transport-security"] == "max-age=31536000"


@pytest.mark.parametrize("path", ["/bench", "/api/v1/benches", "/sign-in", "/nowhere"])
def test_nothing_of_anybodys_is_kept_by_a_cache(client: TestClient, path: str) -> None:
    assert client.get(path).headers["cache-control"] == "no-store"
