"""A run's channel as the answer to a step: the page, the route, the picture, and refusals."""

import math
import re
import xml.etree.ElementTree as ET
from html import unescape

import pytest
from fastapi.testclient import TestClient

from app.accounts.rules import Person
from app.core.db import Sessions
from app.jobs.rules import StepKind
from tests.conftest import SignedIn
from tests.jobs.conftest import Shop, write_log


def write_step(*, tau_s: float = 30.0, begins_at_s: float = 60.0) -> bytes:
    """Write a log whose first channel answers a step from 25 to 225 °C, 4 s late."""
    cells = {}
    for second in range(401):
        since = max(second - begins_at_s - 4.0, 0.0)
        cells[second, "T1"] = f"{225.0 - 200.0 * math.exp(-since / tau_s):.1f}"
    return write_log(cells=cells)


@pytest.fixture
def client(signed_in: SignedIn, ines: Person, shop: Shop, sessions: Sessions) -> TestClient:
    """Return the engineer's client; run 1 has a step on T1, run 2 is still recording."""
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        shop.record(session, job, StepKind.REMOVE, write_step())
        shop.start(session, job, StepKind.REMOVE)
        session.commit()
    return signed_in(ines)


def read_text(page: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_time_constant_and_dead_time_by_both_methods(client: TestClient) -> None:
    said = client.get("/api/v1/runs/1/step?channel=T1&from=60&to=400").json()
    assert said["holds"] is True
    assert said["reasons"] == []
    assert said["least_squares"]["time_constant_s"] == pytest.approx(30.0, abs=0.05)
    assert said["least_squares"]["dead_time_s"] == pytest.approx(4.0, abs=0.05)
    assert said["two_points"]["time_constant_s"] == pytest.approx(30.0, abs=0.2)
    assert said["two_points"]["dead_time_s"] == pytest.approx(4.0, abs=0.2)
    assert "Marlin" in said["two_points"]["source"]
    assert len(said["residual_time_s"]) == len(said["residual_k"]) == 341
    assert max(map(abs, said["residual_k"])) < 0.2
    assert said["reading_count"] == 341


def test_the_steepest_stretch_stands_in_the_form_until_another_is_asked_for(
    client: TestClient,
) -> None:
    page = client.get("/runs/1/step").text
    text = read_text(page)
    assert "this is the steepest one of the channel" in text
    found = client.get("/api/v1/runs/1/step").json()
    assert found["is_found"] is True
    assert 60 <= found["from_s"] <= 65
    assert re.search(rf'name="from"[^>]*value="{found["from_s"]:g}"', page)
    assert "time constant 30" in text
    asked = read_text(client.get("/runs/1/step?channel=T1&from=60&to=300").text)
    assert "steepest one" not in asked
    assert "time constant 30" in asked
    assert "Dead time 4" in asked


def test_the_page_shows_formula_source_picture_and_residuals(client: TestClient) -> None:
    page = client.get("/runs/1/step?channel=T1&from=60&to=400").text
    text = read_text(page)
    for words in (
        "τ = 1.5 · (t₆₃ − t₂₈)",
        "Golub and Pereyra",
        "from memory",
        "readings minus curve",
    ):
        assert words in text
    answer = client.get("/runs/1/step/picture.svg?channel=T1&from=60&to=400&unit=F")
    root = ET.fromstring(answer.text)  # noqa: S314 - our own picture
    inside = " ".join(root.itertext())
    for words in ("Run 1: board 0417", "digest", "operator Odile", "time constant 30", "in °F"):
        assert words in inside
    assert "stroke-dasharray" in answer.text


def test_temperatures_are_on_the_scale_asked_for(client: TestClient) -> None:
    text = read_text(client.get("/runs/1/step?channel=T1&from=60&to=400&unit=F").text)
    assert "77.0 °F to 437.0 °F" in text
    assert "+360.0 °F" in text
    short = read_text(client.get("/runs/1/step?channel=T1&from=60&to=100&unit=F").text)
    assert not re.search(r"[0-9] (K|°C)\b", short.replace("°C °F", ""))


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("channel=T1&from=60&to=110", "Too short"),
        ("channel=T1&from=60&to=63", "5 readings or more"),
        ("channel=T1&from=0&to=50", "does not change"),
        ("channel=T2", "no number"),
    ],
)
def test_what_is_no_step_has_no_number(client: TestClient, query: str, words: str) -> None:
    text = read_text(client.get(f"/runs/1/step?{query}").text)
    assert words in text
    assert "does not hold as the answer to a step" in text
    said = client.get(f"/api/v1/runs/1/step?{query}").json()
    assert said["holds"] is False
    assert said["reasons"]
    assert said["least_squares"]["time_constant_s"] is None
    assert said["two_points"]["time_constant_s"] is None
    assert said["residual_k"] == []
    assert client.get(f"/runs/1/step/picture.svg?{query}").status_code == 200


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("channel=T1&from=500", "The trace ends at 400.0 s"),
        ("channel=T1&from=100&to=50", "Must be more than from, 100 s"),
        ("channel=T1&to=0", "Must be more than from, 0 s"),
        ("channel=T9", "it has T1, T2, T3, T4"),
    ],
)
def test_a_stretch_that_is_none_is_refused_beside_its_field(
    client: TestClient, query: str, words: str
) -> None:
    page = client.get(f"/runs/1/step?{query}")
    assert page.status_code == 422
    assert words in read_text(page.text)
    assert client.get(f"/api/v1/runs/1/step?{query}").status_code == 422
    assert client.get(f"/runs/1/step/picture.svg?{query}").status_code == 422


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("from=nan", 422),
        ("from=-1", 422),
        ("to=1e999", 422),
        ("from=x", 422),
        ("channel=%00", 422),
        ("channel=" + "x" * 61, 422),
        ("channel=%ed%a0%80", 422),
        ("channel=<b>", 422),
    ],
)
def test_nonsense_is_refused(client: TestClient, query: str, status: int) -> None:
    for path in ("/runs/1/step", "/api/v1/runs/1/step", "/runs/1/step/picture.svg"):
        answer = client.get(f"{path}?{query}")
        assert answer.status_code == status, path
        assert "<b>" not in answer.text


def test_a_run_without_a_trace_and_an_unknown_run_have_no_step(client: TestClient) -> None:
    assert client.get("/api/v1/runs/2/step").status_code in {404, 409}
    assert client.get("/runs/2/step").status_code in {404, 409}
    assert client.get("/api/v1/runs/99/step").status_code == 404


def test_nobody_sees_no_step(nobody: TestClient) -> None:
    assert nobody.get("/api/v1/runs/1/step").status_code == 401
    assert nobody.get("/runs/1/step").status_code == 303
