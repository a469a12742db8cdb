"""A run's page: one scale throughout, lapsed calibrations, the limits beside the chart."""

import re
from datetime import date
from html import unescape

import pytest
from fastapi.testclient import TestClient

from app.accounts.rules import Person
from app.core.db import Sessions
from app.jobs.queries import get_run
from app.jobs.recompute import Outcome, recompute_run
from app.jobs.rules import StepKind
from app.plant.measuring import MeasuringChain
from app.plant.queries import get_bench
from app.plant.service import describe_chain
from tests.conftest import SignedIn
from tests.jobs.conftest import Shop, make_body
from tests.jobs.test_run_figures import CALIBRATED
from tests.jobs.test_run_page import record, words

LAST_DAY = date(2026, 3, 3)


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


def describe(shop: Shop, sessions: Sessions, ines: Person, chain: MeasuringChain) -> None:
    with sessions.write() as session:
        bench = get_bench(session, shop.bench_id)
        describe_chain(session, bench, chain=chain, person=ines, now=shop.now)
        session.commit()


def lapse(chain: MeasuringChain) -> MeasuringChain:
    first, *rest = chain.corrections
    over = first.model_copy(update={"valid_until": LAST_DAY})
    return chain.model_copy(update={"corrections": (over, *rest)})


def test_a_calibration_that_had_lapsed_when_the_run_began_counts_by_what_it_covered(
    client: TestClient, shop: Shop, sessions: Sessions, ines: Person
) -> None:
    describe(shop, sessions, ines, lapse(CALIBRATED))
    number = record(shop, sessions)
    with sessions.read() as session:
        figures = get_run(session, number).figures
        assert figures is not None
        assert recompute_run(session, number).outcome is Outcome.SAME
    first, second = figures["channels"][:2]
    assert figures["chain"]["described"]["lapsed"] == ["t1"]
    # The correction is still added; ±1.5 K of class 1 and ±0.5 K of the logger count, not 0.4 K.
    assert first["correction_k"] == -0.5
    assert first["peak"]["value"] == 237.5
    assert first["peak"]["expanded"] >= 2 * ((1.5**2 + 0.5**2) / 3) ** 0.5
    assert second["peak"]["expanded"] < 1
    page = words(unescape(client.get(f"/runs/{number}").text))
    box = page.split("Decided by")[1].split("from s", maxsplit=1)[0]
    assert "calibration of t1 (certificate LKS-1) was valid until 2026-03-03 only" in box
    assert "t1 -0.5 K ± 0.4 K (k = 2), lapsed after 2026-03-03" in page
    svg = words(unescape(client.get(f"/runs/{number}/chart.svg").text))
    assert "lapsed after 2026-03-03" in svg
    assert "the wire's class and the logger's accuracy count" in svg


def test_a_run_of_before_is_kept_as_it_was_when_its_calibration_lapses(
    client: TestClient, shop: Shop, sessions: Sessions, ines: Person
) -> None:
    describe(shop, sessions, ines, CALIBRATED)
    number = record(shop, sessions)
    describe(shop, sessions, ines, lapse(CALIBRATED))
    assert "lapsed after" not in client.get(f"/runs/{number}").text
    with sessions.read() as session:
        assert recompute_run(session, number).outcome is Outcome.SAME


def test_a_page_in_fahrenheit_says_nothing_in_celsius_or_kelvin(
    client: TestClient, shop: Shop, sessions: Sessions, ines: Person
) -> None:
    describe(shop, sessions, ines, CALIBRATED)
    number = record(shop, sessions, kind=StepKind.REFLOW)
    page = client.get(f"/runs/{number}?unit=F&show=uncertainty&show=crossings").text
    titles = " ".join(re.findall(r'title="([^"]*)"', page))
    # The button that leads to °C, and the clearance as it was kept when the run began.
    shown = re.sub(r"<a[^>]*>°C</a>", "", page).split("Clearance when the run began")[0]
    said = words(unescape(f"{shown} {titles}"))
    assert "type K, IEC" in said.replace("Type K", "type K")
    left = re.findall(r".{30}(?:°C|[0-9] K\b|in K\b|K/s|K·s|[Kk]elvin).{10}", said)
    assert left == [], "\n".join(left)
    assert "77 °F to peak" in said
    assert f'href="/runs/{number}/step?unit=F"' in page


def test_three_limits_stand_beside_the_chart_and_every_value_has_its_label(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    page = client.get(f"/runs/{record(shop, sessions)}").text
    beside = page.split('id="first-lines"')[1].split("</aside>")[0]
    table = page.split('class="held-lines"')[1].split("</table>")[0]
    rows = table.split("<tbody>")[1].split("</tr>")[:-1]
    assert beside.count("<br><strong>") == min(3, len(rows))
    for row in rows:
        assert re.findall(r'data-label="([^"]+)"', row) == ["Value", "Allowed", "Window use"]
    assert f"All {len(rows)} limits" in beside
    assert "over 5 s" in page


@pytest.mark.parametrize(("kind", "is_low"), [(StepKind.REMOVE, False), (StepKind.REFLOW, True)])
def test_a_removal_has_no_lower_limit_in_its_chart(
    client: TestClient, shop: Shop, sessions: Sessions, *, kind: StepKind, is_low: bool
) -> None:
    assert any(one.lower for one in make_body().window.limits if one.metric == "peak_c")
    svg = client.get(f"/runs/{record(shop, sessions, kind=kind)}/chart.svg").text
    assert "joints at most" in svg
    assert ("joints at least" in svg) is is_low
