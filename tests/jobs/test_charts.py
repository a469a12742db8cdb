"""The chart of a run: the part and the unit that the address asks for, and what is taken along."""

import csv
import io
import json
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.core.canonical_json import compute_digest
from app.core.db import Sessions
from app.jobs.chart import ViewUnusable, make_view
from app.jobs.chart_picture import draw_png
from app.jobs.drawing import spread_apart
from app.jobs.marks import list_gaps
from app.jobs.pictures import list_ticks, spell_text
from app.jobs.rules import StepKind
from app.jobs.scales import Scale
from app.jobs.tables import Run
from tests.conftest import Look, SignedIn
from tests.jobs.conftest import Shop, write_log

# T2 open for 30 s, in a file whose names a spreadsheet program would take for a formula.
HURT = write_log(cells={(second, "T2"): "OPEN" for second in range(100, 130)})


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


@pytest.fixture
def digest(shop: Shop, sessions: Sessions) -> str:
    """Record run 1, and return its recipe's digest."""
    return record(shop, sessions, write_log())


def record(shop: Shop, sessions: Sessions, content: bytes) -> str:
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        run = shop.record(session, job, StepKind.REMOVE, content)
        digest = run.job_site.revision.digest
        session.commit()
    assert digest
    return digest


def read_csv(text: str) -> tuple[dict[str, str], list[list[str]]]:
    rows = list(csv.reader(io.StringIO(text)))
    blank = rows.index([])
    return {row[0]: row[1] for row in rows[:blank]}, rows[blank + 1 :]


def test_labels_are_spread_without_leaving_the_room_or_their_order() -> None:
    spread = spread_apart((10.0, 10.0, 10.0), apart=5, first=0, last=18)
    assert spread == (8.0, 13.0, 18.0) or sorted(spread) == [8.0, 13.0, 18.0]
    assert spread_apart((1.0, 9.0), apart=5, first=0, last=10) == (1.0, 9.0)
    assert sorted(spread_apart((5.0,) * 5, apart=5, first=0, last=10)) == [0, 2.5, 5, 7.5, 10]
    assert spread_apart((), apart=5, first=0, last=10) == ()


def test_a_difference_in_fahrenheit_has_no_thirty_two() -> None:
    assert Scale.FAHRENHEIT.spell(217.0, "°C") == "422.6 °F"
    assert Scale.FAHRENHEIT.spell(5.0, "K") == "9.0 °F"
    assert Scale.FAHRENHEIT.spell(2.0, "K/s") == "3.60 °F/s"
    assert Scale.FAHRENHEIT.spell(12.0, "s") == "12.0 s"
    assert Scale.CELSIUS.spell(-0.04, "K", signed=True) == "+0.0 K"
    assert Scale.CELSIUS.spell(-1.5, "K", signed=True) == "−1.5 K"
    assert Scale.FAHRENHEIT.revert(Scale.FAHRENHEIT.convert(183.0)) == pytest.approx(183.0)


def test_a_part_is_cut_at_the_end_and_refused_where_there_is_nothing() -> None:
    view = make_view(scale=Scale.CELSIUS, from_s=10, to_s=900, duration_s=400)
    assert (view.from_s, view.to_s, view.is_whole) == (10, 400, False)
    with pytest.raises(ViewUnusable, match=r"ends at 400\.0 s"):
        make_view(scale=Scale.CELSIUS, from_s=400, to_s=None, duration_s=400)
    with pytest.raises(ViewUnusable, match="more than from, 50 s"):
        make_view(scale=Scale.CELSIUS, from_s=50, to_s=50, duration_s=400)


def test_gaps_are_longer_than_two_steps_and_slow_channels_have_none() -> None:
    time_s = np.arange(100.0)
    assert list_gaps(time_s, np.isin(time_s, (10, 11, 50))) == [(9.0, 12.0)]
    assert list_gaps(time_s, time_s % 5 != 0) == []
    assert list_gaps(time_s, time_s >= 90) == [(89.0, 99.0)]
    assert list_gaps(time_s, time_s >= 0) == [(0.0, 99.0)]


def test_ticks_are_round_on_either_scale() -> None:
    assert list_ticks(-8.0, 93.0) == [0, 20, 40, 60, 80]
    assert list_ticks(5.0, 5.2)[0] == pytest.approx(5.0)


def test_a_character_that_xml_cannot_hold_breaks_no_picture() -> None:
    text = spell_text(0, 0, "T\uffff<1>\x00")
    root = ET.fromstring(text)  # noqa: S314 - our own picture
    assert root.text == "T\N{REPLACEMENT CHARACTER}<1>\N{REPLACEMENT CHARACTER}"


def test_the_page_shows_the_part_and_the_unit_of_its_address(
    client: TestClient, digest: str
) -> None:
    assert digest
    page = client.get("/runs/1?unit=F&from=200&to=300").text
    assert "460.4 °F" in page
    assert "°F/s" in page
    assert "200.0 s to 300.0 s of 400.0 s" in page
    assert '/runs/1/chart.svg?from=200&amp;to=300&amp;unit=F"' in page
    assert 'href="/runs/1?from=200&amp;to=300&amp;unit=C"' in page
    assert 'value="200"' in page
    whole = client.get("/runs/1").text
    assert "238.0 °C" in whole
    assert "Temperatures every 10 s" in whole


def test_set_points_limits_and_line_names_stand_in_the_picture_without_script(
    client: TestClient, digest: str
) -> None:
    assert digest
    page = client.get("/runs/1").text
    picture = page.split("<noscript>")[1].split("</noscript>")[0]
    for words in ("top heater set", "bottom heater set", "liquidus", "joints at most", ">T4<"):
        assert words in picture
    assert " style=" not in picture


@pytest.mark.parametrize("unit", ["C", "F"])
def test_the_svg_says_where_it_comes_from_and_is_the_same_twice(
    client: TestClient, digest: str, unit: str
) -> None:
    answer = client.get(f"/runs/1/chart.svg?unit={unit}&from=10&to=350")
    assert answer.status_code == 200
    assert answer.headers["content-disposition"].startswith("attachment")
    root = ET.fromstring(answer.text)  # noqa: S314 - our own picture
    text = " ".join(root.itertext())
    for words in (
        "0417",
        "J-00001",
        "Run 1",
        "LIM-U3 revision 1",
        digest[:12],
        "Odile",
        "2026-",
        "10.0 s to 350.0 s of 400.0 s",
        f"Temperatures in °{unit}",
    ):
        assert words in text
    assert client.get(f"/runs/1/chart.svg?unit={unit}&from=10&to=350").text == answer.text


def test_the_png_is_a_picture_twice_as_large_and_the_same_twice(
    client: TestClient, digest: str
) -> None:
    assert digest
    first = client.get("/runs/1/chart.png?from=100")
    assert first.headers["content-type"] == "image/png"
    # PNG specification, 11.2.2: the header's first two numbers are width and height.
    assert first.content[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(first.content[16:20]) == 1920
    assert client.get("/runs/1/chart.png?from=100").content == first.content


def test_letters_are_drawn_in_the_png() -> None:
    frame = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 30" width="90" height="30">'
    empty, said = (
        draw_png(f"{frame}{body}</svg>") for body in ("", spell_text(5, 20, "Board 0417"))
    )
    assert len(said) > len(empty)


def test_the_csv_has_every_sample_seen_in_the_files_own_digits(
    client: TestClient, digest: str
) -> None:
    about, rows = read_csv(client.get("/runs/1/chart.csv?from=10&to=20").text)
    assert about["Board"] == "0417"
    assert about["Recipe digest"] == digest[:12]
    assert about["Seen"] == "10.0 s to 20.0 s of 400.0 s"
    assert rows[0] == ["time (s)", "T1 (°C)", "T2 (°C)", "T3 (°C)", "T4 (°C)"]
    assert len(rows) == 12
    celsius = float(rows[1][1])
    _, warm = read_csv(client.get("/runs/1/chart.csv?from=10&to=20&unit=F").text)
    assert warm[0][1] == "T1 (°F)"
    assert float(warm[1][1]) == pytest.approx(celsius * 1.8 + 32, abs=0.005)


def test_the_json_holds_what_is_drawn(client: TestClient, digest: str) -> None:
    said = json.loads(client.get("/runs/1/chart.json?from=10&to=20&unit=F").text)
    assert said["about"]["Recipe digest"] == digest[:12]
    assert said["unit"] == "°F"
    assert said["is_reduced"] is False
    assert said["channels"][0]["time_s"] == [float(second) for second in range(10, 21)]
    assert {level["label"] for level in said["levels"]} >= {"liquidus"}


def test_the_json_holds_metrics_and_limits_as_they_were_kept(
    client: TestClient, digest: str, look: Look
) -> None:
    assert digest
    said = client.get("/runs/1/chart.json?from=10&to=20&unit=F").json()
    (run,) = look(select(Run))
    assert run.figures is not None
    assert said["figures"] == run.figures
    assert said["figures_sha256"] == compute_digest(run.figures)
    assert said["figures"]["channels"][0]["peak"]["unit"] == "°C"
    assert said["figures"]["verdict"]["lines"]
    (entry,) = look(select(AuditEntry.body).where(AuditEntry.action == "jobs.complete_run"))
    assert json.loads(entry)["details"]["figures_sha256"] == said["figures_sha256"]


def test_the_csv_tells_every_figure_and_every_limit_below_what_it_is(
    client: TestClient, digest: str, look: Look
) -> None:
    assert digest
    about, _ = read_csv(client.get("/runs/1/chart.csv?from=10&to=20").text)
    (run,) = look(select(Run))
    assert run.figures is not None
    limits = {label for label in about if label.startswith("Limit: ")}
    assert len(limits) == len(run.figures["verdict"]["lines"])
    assert about["T1: Peak"].startswith("238.0")
    assert "±" in about["T1: Peak"]
    assert "allowed at most 245 °C, inside" in about["Limit: Peak temperature of T1"]
    warm, _ = read_csv(client.get("/runs/1/chart.csv?unit=F").text)
    assert warm["T1: Peak"].startswith("460.4")


def test_a_missing_stretch_is_marked_where_it_happens(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    record(shop, sessions, HURT)
    (mark,) = client.get("/runs/1/chart.json").json()["marks"]
    assert mark["channel"] == "T2"
    assert (mark["from_s"], mark["to_s"]) == pytest.approx((100, 129), abs=1.5)
    assert client.get("/runs/1/chart.json?from=200").json()["marks"] == []
    page = client.get("/runs/1").text
    assert "Marked on the chart" in page
    assert "T2: " in client.get("/runs/1/chart.svg").text
    table = page.split('id="readings"')[1].split("</table>")[0]
    row = table.split(">110<")[1].split("</tr>")[0]
    assert row.count("–") == 1


@pytest.mark.parametrize(
    "query",
    [
        "from=-1",
        "from=nan",
        "to=inf",
        "from=1e400",
        "from=abc",
        "from=300&to=200",
        "from=400",
        "to=0",
        "unit=K",
        "unit=",
        "from=%00",
        "from=" + "9" * 4000,
    ],
)
@pytest.mark.parametrize("path", ["", "/chart.svg", "/chart.csv"])
def test_a_part_that_cannot_be_shown_is_refused(
    client: TestClient, digest: str, path: str, query: str
) -> None:
    assert digest
    assert client.get(f"/runs/1{path}?{query}").status_code == 422


def test_fields_left_empty_ask_for_the_whole_run(client: TestClient, digest: str) -> None:
    assert digest
    assert client.get("/runs/1?unit=C&from=&to=").status_code == 200


def test_a_run_without_trace_or_without_person_gives_no_chart(
    client: TestClient, nobody: TestClient, shop: Shop, sessions: Sessions
) -> None:
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        shop.start(session, job, StepKind.REMOVE)
        session.commit()
    assert client.get("/runs/1/chart.svg").status_code == 409
    assert client.get("/runs/999/chart.png").status_code == 404
    assert nobody.get("/runs/1/chart.csv").status_code in {303, 401}


def test_the_limit_that_decides_stands_first_below_the_chart(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    record(shop, sessions, write_log(peak_shift_k=20))
    page = client.get("/runs/1").text
    deciding = page.split('id="verdict-said" data-follow>')[1].split(" is ")[0]
    table = page.split('id="window"')[1].split("</table>")[0]
    rows = table.split("<tbody>")[1].split("</tr>")
    limit, channel = re.findall(r"<t[hd][^>]*>([^<]+)</t[hd]>", rows[0])[:2]
    assert f"{limit} of {channel}" == deciding
    outside = [row for row in rows if "outside" in row]
    assert outside == rows[: len(outside)]
    uses = [int(*re.findall(r">(\d+) %<", row)) for row in outside]
    passed = [row for row in outside if "Peak temperature" in row]
    assert passed == outside[: len(passed)]
    for some in (uses[1 : len(passed)], uses[len(passed) :]):
        assert some == sorted(some, reverse=True)
    assert page.index('id="chart"') < page.index('id="window"') < page.index('id="figures"')
