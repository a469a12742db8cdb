"""Runs beside each other: laid over each other, counted out, and held against earlier ones."""

import re
import xml.etree.ElementTree as ET

import pytest
from fastapi.testclient import TestClient

from app.accounts.rules import Person
from app.core.db import Sessions
from app.jobs.pages import compare
from app.jobs.rules import StepKind
from tests.conftest import SignedIn
from tests.jobs.conftest import Shop, write_log


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


@pytest.fixture
def runs(shop: Shop, sessions: Sessions) -> Shop:
    """Record removals 1 to 4 in a job that was accepted, and 6 and 7 (20 K hotter) after it."""
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        for shift_k in (0.0, 0.5, 1.0):
            shop.record(session, job, StepKind.REMOVE, write_log(peak_shift_k=shift_k))
        shop.finish(session, job)
        session.commit()
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        for shift_k in (0.5, 20.0):
            shop.record(session, job, StepKind.REMOVE, write_log(peak_shift_k=shift_k))
        session.commit()
    return shop


def find_row(page: str, name: str) -> str:
    row = page.split(f'<th scope="row">{name}</th>')[1].split("</tr>", maxsplit=1)[0]
    return re.sub(r"<[^>]+>", " ", row)


def test_a_run_page_offers_the_last_runs_of_its_recipe_on_its_bench(
    client: TestClient, runs: Shop
) -> None:
    assert runs
    page = client.get("/runs/6").text
    assert 'action="/runs/compare"' in page
    offered = re.findall(r'type="checkbox" name="run" value="(\d+)"', page)
    # Run 5 is the reflow of the job; another line of the card is another trace.
    assert offered == ["7", "4", "3", "2", "1"]


def test_figures_stand_side_by_side_with_their_difference_to_the_first(
    client: TestClient, runs: Shop
) -> None:
    assert runs
    page = client.get("/runs/compare?run=6&run=7").text
    assert find_row(page, "Peak").split() == ["238.5", "°C", "258.0", "°C", "+19.5", "K"]
    warm = client.get("/runs/compare?run=6&run=7&unit=F").text
    assert find_row(warm, "Peak").split() == ["461.3", "°F", "496.4", "°F", "+35.1", "°F"]


def test_a_run_that_leaves_the_envelope_of_accepted_ones_is_said_so(
    client: TestClient, runs: Shop
) -> None:
    assert runs
    page = client.get("/runs/compare?run=6&run=7").text
    assert "last 4 other accepted runs" in page
    assert "run 4, run 3, run 2, run 1" in page
    assert "It stays within the envelope" in page
    assert "It leaves the envelope above it by up to 19.0 K" in page
    assert "<polygon" in page


def test_compared_runs_are_not_their_own_envelope(client: TestClient, runs: Shop) -> None:
    assert runs
    page = client.get("/runs/compare?run=1&run=2&run=3").text
    assert "no envelope" in page
    assert "<polygon" not in page


@pytest.mark.parametrize("align", ["start", "liquidus", "best"])
def test_equal_runs_lie_on_each_other_however_they_are_aligned(
    client: TestClient, runs: Shop, align: str
) -> None:
    assert runs
    picture = client.get(f"/runs/compare/chart.svg?run=2&run=6&align={align}").text
    lines = re.findall(r'<polyline points="([^"]+)"', picture)
    assert len(lines) == 2
    assert lines[0] == lines[1]


def test_the_picture_of_a_comparison_says_where_it_comes_from(
    client: TestClient, runs: Shop
) -> None:
    assert runs
    answer = client.get("/runs/compare/chart.svg?run=6&run=7&unit=F")
    root = ET.fromstring(answer.text)  # noqa: S314 - our own picture
    text = " ".join(root.itertext())
    for words in ("Run 6: J-00002", "LIM-U3 revision 1", "bench B1", "Temperatures in °F"):
        assert words in text
    assert client.get("/runs/compare/chart.png?run=6&run=7").content[:4] == b"\x89PNG"


def test_without_two_runs_the_page_says_how_to_begin(client: TestClient, runs: Shop) -> None:
    assert runs
    assert "Two to twelve runs" in client.get("/runs/compare").text
    one = client.get("/runs/compare?run=6&run=6").text
    assert "Tick one run or more" in one
    assert 'value="7"' in one
    assert client.get("/runs/compare/chart.svg?run=6").status_code == 422


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("run=1&run=999", 404),
        ("run=1&run=0", 422),
        ("run=1&run=x", 422),
        ("run=1&run=2&align=peak", 422),
        ("run=1&run=2&channel=T9", 422),
        ("run=1&run=2&channel=%00", 422),
        ("run=1&run=2&unit=K", 422),
        ("&".join(f"run={number}" for number in range(1, 14)), 422),
    ],
)
def test_what_cannot_be_compared_is_refused(
    client: TestClient, runs: Shop, query: str, status: int
) -> None:
    assert runs
    assert client.get(f"/runs/compare?{query}").status_code == status


def test_runs_with_too_many_readings_together_are_refused(
    client: TestClient, runs: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert runs
    # Two runs of 401 rows and 4 channels.
    monkeypatch.setattr(compare, "MOST_READINGS", 2 * 401 * 4 - 1)
    answer = client.get("/runs/compare?run=1&run=2")
    assert answer.status_code == 413
    assert "3,208 readings" in answer.text
    monkeypatch.setattr(compare, "MOST_READINGS", 2 * 401 * 4)
    assert client.get("/runs/compare?run=1&run=2").status_code == 200


def test_a_run_that_is_not_read_yet_cannot_be_compared(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        shop.record(session, job, StepKind.REMOVE)
        shop.start(session, job, StepKind.REMOVE)
        session.commit()
    answer = client.get("/runs/compare?run=1&run=2")
    assert answer.status_code == 409
    assert "Run 2 is recording" in answer.text
