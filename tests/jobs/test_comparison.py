"""Runs beside each other: laid over each other, counted out, and held against earlier ones."""

import csv
import re
import xml.etree.ElementTree as ET
from html import unescape

import pytest
from fastapi.testclient import TestClient

from app.accounts.rules import Person
from app.core.db import Sessions
from app.jobs.pages import compare_asked, peer_words
from app.jobs.pages.peer_words import word_envelope
from app.jobs.queries import get_run
from app.jobs.rules import StepKind
from app.jobs.scales import Scale
from tests.conftest import SignedIn
from tests.jobs.conftest import OFFSETS, Shop, heat, write_log


def write_hotter(by_k: float) -> bytes:
    """Write a log that grows hotter between 150 and 220 °C by so much, and stays so above."""
    cells = {}
    for second in range(401):
        for name, offset_k in OFFSETS.items():
            at = heat(second) + offset_k
            cells[second, name] = f"{at + by_k * min(max((at - 150) / 70, 0.0), 1.0):.1f}"
    return write_log(cells=cells)


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


@pytest.fixture
def runs(shop: Shop, sessions: Sessions) -> Shop:
    """Record removals 1 to 4 in a job that was accepted, and 6 and 7 (20 K hotter) after it."""
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        for by_k in (0.0, 0.5, 1.0):
            shop.record(session, job, StepKind.REMOVE, write_hotter(by_k))
        shop.finish(session, job)
        session.commit()
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        for by_k in (0.5, 20.0):
            shop.record(session, job, StepKind.REMOVE, write_hotter(by_k))
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


def read_text(page: str) -> str:
    """Return what a reader sees, blanks closed up."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_a_run_that_leaves_the_envelope_says_where_by_how_much_and_on_which_channel(
    client: TestClient, runs: Shop
) -> None:
    assert runs
    text = read_text(client.get("/runs/compare?run=6&run=7").text)
    assert "the last 4 other accepted runs" in text
    assert "run 4, run 3, run 2, run 1" in text
    assert "10 were asked for, more are not there" in text
    assert "within the envelope : T1, T2, T3, T4, 0 s to 400 s" in text
    for name in ("T1", "T2", "T3"):
        assert f"{name} is above it by up to 19.0 K at 2" in text
    # The board peaks at 218 °C, where 68/70 of it are reached; loggers write tenths.
    assert "T4 is above it by up to 18.4 K at 245.0 s" in text


def test_the_envelope_is_of_as_many_runs_as_are_asked_for(client: TestClient, runs: Shop) -> None:
    assert runs
    text = read_text(client.get("/runs/compare?run=6&run=7&last=2").text)
    assert "the last 2 other accepted runs" in text
    assert "(run 4, run 3)" in text
    assert "were asked for" not in text
    assert client.get("/runs/compare?run=6&run=7&last=1").status_code == 422
    assert client.get("/runs/compare?run=6&run=7&last=31").status_code == 422


def test_the_first_run_is_not_in_its_own_envelope_and_the_others_may_be(
    client: TestClient, runs: Shop
) -> None:
    assert runs
    text = read_text(client.get("/runs/compare?run=1&run=2").text)
    assert "(run 4, run 3, run 2)" in text
    assert "○ one of the runs that the envelope is of" in text


def test_what_is_missing_for_an_envelope_is_said(client: TestClient, runs: Shop) -> None:
    assert runs
    # Run 5 is the only reflow.
    page = client.get("/runs/compare?run=5&run=6").text
    assert "<polygon" not in page
    assert (
        "no envelope: it takes 2 other runs or more of the first run's recipe revision, line and "
        "bench, in jobs closed as accepted; 0 are there, 2 more are missing"
    ) in read_text(page)


def test_a_faulty_channel_of_an_accepted_run_is_not_in_the_envelope(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        broken = {(second, "T1"): "OPEN" for second in range(100, 140)}
        for cells in ({}, {}, broken):
            shop.record(session, job, StepKind.REMOVE, write_log(cells=cells))
        shop.finish(session, job)
        session.commit()
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        shop.record(session, job, StepKind.REMOVE)
        shop.record(session, job, StepKind.REMOVE)
        session.commit()
    text = read_text(client.get("/runs/compare?run=6&run=7").text)
    assert "the last 3 other accepted runs" in text
    assert "run 3 is not in it: left out" in text


def test_differences_that_are_none_say_why(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        shop.record(session, job, StepKind.REMOVE, write_cut(to_s=150))
        shop.record(session, job, StepKind.REMOVE)
        shop.record(session, job, StepKind.REMOVE, write_cut(to_s=260))
        session.commit()
    page = client.get("/runs/compare?run=1&run=2").text
    row = read_text(find_row(page, "Average ramp, liquidus to peak"))
    assert "not reached: The trace is never above" in row
    assert "no difference: in the first run not reached" in row
    censored = read_text(
        find_row(client.get("/runs/compare?run=2&run=3").text, "Time above liquidus")
    )
    assert re.search(r"at least [0-9.]+ s −[0-9.]+ s, cut off", censored)


def write_cut(*, to_s: int) -> bytes:
    """Write a log that ends early."""
    return b"\n".join(write_log().split(b"\n")[: to_s + 2]) + b"\n"


def test_fahrenheit_is_said_in_every_sentence(client: TestClient, runs: Shop) -> None:
    assert runs
    text = read_text(client.get("/runs/compare?run=6&run=7&unit=F&align=liquidus").text)
    body = text.split("Lay over", 1)[1].replace("°C °F", "")
    assert "°C" not in body
    assert not re.search(r"[0-9] K\b", body)
    assert "77 °F to peak" in body
    assert "4.5 °F outside for 2 s" in body


def test_all_lines_are_read_at_one_moment(client: TestClient, runs: Shop) -> None:
    assert runs
    page = client.get("/runs/compare?run=6&run=7&at=100").text
    # 100 s: 150 °C at 90 s, 200 °C at 180 s; and 20 K more of it above 150 °C.
    first = 150 + 50 / 9
    hotter = first + 20 * (first - 150) / 70
    table = page.split('id="compare-readings"')[1].split("</table>", maxsplit=1)[0]
    text = read_text(table)
    assert "At 100.0 s since the start" in text
    assert f"{first:.1f} °C {hotter:.1f} °C" in text
    # The logger wrote 155.6 and 157.1.
    assert "+1.5 K" in text
    missing = client.get("/runs/compare?run=6&run=7&at=1000").text
    assert "no reading" in missing
    assert "does not reach here" in missing


def test_the_part_seen_is_that_of_the_address_in_page_and_exports(
    client: TestClient, runs: Shop
) -> None:
    assert runs
    query = "run=6&run=7&from=200&to=240&unit=F"
    page = client.get(f"/runs/compare?{query}").text
    assert 'name="from" inputmode="decimal" maxlength="14" value="200"' in page
    for suffix in ("svg", "png", "csv", "json"):
        assert re.search(rf"chart\.{suffix}\?[^\"]*from=200&amp;to=240", page)
    said = client.get(f"/runs/compare/chart.json?{query}").json()
    assert (said["from_s"], said["to_s"], said["unit"]) == (200, 240, "°F")
    assert [min(run["time_s"]) for run in said["runs"]] == [200, 200]
    assert [max(run["time_s"]) for run in said["runs"]] == [240, 240]
    # 217.5 °C after a third of the way from 215 to 220 s; the peak is at 245 s.
    seen = dict(zip(said["runs"][0]["time_s"], said["runs"][0]["temperature"], strict=True))
    assert seen[240] == pytest.approx((heat(240) + 0.5) * 1.8 + 32, abs=0.1)
    rows = list(csv.reader(client.get(f"/runs/compare/chart.csv?{query}").text.splitlines()))
    samples = rows[rows.index([]) + 2 :]
    assert len(samples) == 2 * 41
    assert samples[0][:4] == ["6", "T1", "200", "200"]
    assert float(samples[0][4]) == pytest.approx(seen[200], abs=0.01)
    assert "Seen 200.0 s to 240.0 s of 0.0 s to 400.0 s" in read_text(
        client.get(f"/runs/compare/chart.svg?{query}").text
    )


def test_json_has_the_differences_and_the_departures(client: TestClient, runs: Shop) -> None:
    assert runs
    said = client.get("/runs/compare/chart.json?run=6&run=7").json()
    peak = next(one for one in said["figures"] if one["name"] == "Peak")
    assert peak["runs"][1]["difference"] == pytest.approx(19.5, abs=0.05)
    assert peak["runs"][1]["difference_unit"] == "K"
    assert peak["runs"][0]["difference"] is None
    left = {one["channel"]: one["departures"] for one in said["runs"][1]["envelope"]}
    assert left["T1"][0]["side"] == "above"
    assert left["T1"][0]["furthest_k"] == pytest.approx(19.0, abs=0.05)
    assert said["envelope"]["run_ids"] == [4, 3, 2, 1]


def test_in_liquidus_time_a_part_before_the_crossing_can_be_seen(
    client: TestClient, runs: Shop
) -> None:
    assert runs
    query = "run=6&run=7&align=liquidus&from=-50&to=0"
    said = client.get(f"/runs/compare/chart.json?{query}").json()
    assert said["from_s"] == -50
    # Both lines end at the liquidus, which is where they were laid over each other.
    ends = [run["temperature"][-1] for run in said["runs"]]
    assert ends[0] == pytest.approx(said["liquidus"], abs=0.6)
    assert ends[1] == pytest.approx(said["liquidus"], abs=0.6)
    refused = client.get("/runs/compare?run=6&run=7&align=liquidus&from=390")
    assert refused.status_code == 422
    assert "Nothing is seen from 390 s on" in refused.text


def test_a_runs_page_says_how_it_lies_to_the_envelope_and_leads_to_it(
    client: TestClient, runs: Shop
) -> None:
    assert runs
    page = client.get("/runs/7").text
    text = read_text(page)
    assert "Against the accepted runs ▲ leaves the envelope The last 4 other accepted runs" in text
    assert re.search(
        r"leaves the envelope : T1 is above it by up to 1[5-9]\.[0-9] K at 2[0-9]{2}", text
    )
    assert 'href="/runs/compare?run=7&amp;run=4&amp;align=best&amp;unit=C"' in page
    assert 'href="/runs/7/step"' in page
    warm = read_text(client.get("/runs/7?unit=F").text)
    assert re.search(r"T1 is above it by up to (2[7-9]|3[0-5])\.[0-9] °F", warm)


def test_long_runs_are_not_read_for_the_envelope_of_a_page_and_it_says_so(
    client: TestClient, runs: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert runs
    # Three runs of 401 rows and 4 channels.
    monkeypatch.setattr(peer_words, "MOST_BESIDE", 3 * 401 * 4)
    text = read_text(client.get("/runs/7").text)
    assert "The last 2 other accepted runs" in text
    assert "more have too many readings to be read at once" in text
    monkeypatch.setattr(peer_words, "MOST_BESIDE", 401 * 4 - 1)
    assert "Against the accepted runs" not in client.get("/runs/7").text


def test_a_run_page_can_say_how_it_lies_to_the_envelope(runs: Shop, sessions: Sessions) -> None:
    with sessions.read() as session:
        hotter = word_envelope(session, get_run(session, 7))
        usual = word_envelope(session, get_run(session, 6))
        reflow = word_envelope(session, get_run(session, 5), scale=Scale.FAHRENHEIT)
    assert hotter is not None
    assert hotter.state.word == "leaves the envelope"
    assert "The last 5 other" not in hotter.sentence
    assert "The last 4 other accepted runs" in hotter.sentence
    assert "each laid over this run where it fits best" in hotter.sentence
    assert hotter.href == "/runs/compare?run=7&run=4&align=best&unit=C"
    assert usual is not None
    assert usual.state.word == "within the envelope"
    # The reflow is another line of the card: no other run of it is there.
    assert reflow is not None
    assert reflow.state.word == "no envelope yet"
    assert "0 are there, 2 more are missing" in reflow.sentence
    assert reflow.href == ""


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
    for words in (
        "Run 6: board 0417, U3, J-00002",
        "LIM-U3 revision 1 (digest ",
        "bench B1",
        "operator Odile",
        "2026-03-04",
        "Temperatures in °F",
    ):
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
        ("run=1&run=2&from=nan", 422),
        ("run=1&run=2&from=1e999", 422),
        ("run=1&run=2&to=-5", 422),
        ("run=1&run=2&from=50&to=50", 422),
        ("run=1&run=2&at=x", 422),
        ("run=1&run=2&from=&to=&at=", 200),
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
    monkeypatch.setattr(compare_asked, "MOST_READINGS", 2 * 401 * 4 - 1)
    answer = client.get("/runs/compare?run=1&run=2")
    assert answer.status_code == 413
    assert "3,208 readings" in answer.text
    monkeypatch.setattr(compare_asked, "MOST_READINGS", 2 * 401 * 4)
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
