"""The chart in a browser: its address can be sent on, and it works by keyboard alone."""

import itertools
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from app.accounts.rules import Person
from app.core.db import Sessions
from app.core.settings import Settings
from app.jobs.rules import StepKind
from tests.browser.conftest import Visit
from tests.conftest import NOW
from tests.jobs.conftest import Shop, furnish

pytestmark = pytest.mark.browser


@pytest.fixture
def digest(
    sessions: Sessions,
    settings: Settings,
    odile: Person,
    ines: Person,
    edda: Person,
    ada: Person,
) -> str:
    """Record run 1, and return its recipe's digest."""
    shop = furnish(Shop(sessions, settings, odile, ines, edda, NOW), ada)
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        digest = shop.record(session, job, StepKind.REMOVE).job_site.revision.digest
        session.commit()
    assert digest
    return digest


def open_run(page: Page, address: str = "/runs/1") -> None:
    page.goto(address)
    expect(page.locator("#chart[data-drawn]")).to_be_visible()


def test_a_part_and_its_unit_are_sent_on_by_the_address(
    digest: str, visit: Visit, tmp_path: Path
) -> None:
    page = visit("ines")
    open_run(page)
    page.get_by_label("from").fill("200")
    page.get_by_label("to s").fill("300")
    page.get_by_role("button", name="Show this part").click()
    page.get_by_role("link", name="°F").click()
    page.wait_for_url("**/runs/1?from=200&to=300&unit=F")
    # The tables follow without a reload, and say the difference of 1 K as one of 1.8 °F.
    expect(page.locator("#figures")).to_contain_text("460.4 °F")
    expect(page.locator("#readings summary")).to_contain_text("200.0 s to 300.0 s")
    expect(page.locator("#chart .xaxislayer-above")).to_contain_text("220")

    colleague = visit("edda", width=390, height=844)
    open_run(colleague, page.url)
    expect(colleague.get_by_label("from")).to_have_value("200")
    expect(colleague.locator("#chart .ytitle")).to_have_text("°F")
    expect(colleague.locator("#chart .xaxislayer-above")).to_contain_text("250")
    assert colleague.evaluate("document.documentElement.scrollWidth") == 390

    with colleague.expect_download() as waiting:
        colleague.get_by_role("link", name="SVG").click()
    file = tmp_path / "chart.svg"
    waiting.value.save_as(file)
    picture = file.read_text(encoding="utf-8")
    assert "Board 0417" in picture
    assert digest[:12] in picture
    assert "200.0 s to 300.0 s of 400.0 s" in picture
    assert "Temperatures in °F" in picture


def test_the_keyboard_alone_reads_and_moves_the_chart(digest: str, visit: Visit) -> None:
    assert digest
    page = visit("odile")
    open_run(page)
    page.locator("#chart").focus()
    said = page.locator("#chart-said")
    for _ in range(3):
        page.keyboard.press("PageUp")
    # Three times ten steps of a two-hundredth of 400 s.
    expect(said).to_have_text(
        re.compile(r"^60\.0 s: T1 106\.0 °C, T2 107\.5 °C, T3 108\.5 °C, T4 86\.0 °C$")
    )
    page.keyboard.press("ArrowRight")
    expect(said).to_contain_text("62.0 s: T1")
    page.keyboard.press("+")
    page.wait_for_url("**/runs/1?from=31&to=231")
    page.keyboard.press("Shift+ArrowRight")
    page.wait_for_url("**/runs/1?from=51&to=251")
    page.keyboard.press("0")
    page.wait_for_url("**/runs/1")
    expect(said).to_have_text("Seen: 0.0 s to 400.0 s")


def test_names_of_lines_that_end_together_do_not_lie_on_each_other(
    digest: str, visit: Visit
) -> None:
    assert digest
    page = visit("odile")
    open_run(page)
    names = page.locator("#chart .annotation", has_text=re.compile(r"^T\d$"))
    expect(names).to_have_count(4)
    boxes = [box for name in names.all() if (box := name.bounding_box())]
    tops = sorted(box["y"] for box in boxes)
    assert all(b - a >= 14 for a, b in itertools.pairwise(tops))


def test_uncertainties_once_asked_for_stay_while_the_chart_is_moved(
    digest: str, visit: Visit
) -> None:
    assert digest
    page = visit("ines")
    open_run(page)
    expect(page.locator("#window .around")).to_have_count(0)
    page.get_by_role("link", name="Show each value's uncertainty").click()
    page.wait_for_url("**/runs/1?show=uncertainty*")
    expect(page.locator("#chart[data-drawn]")).to_be_visible()
    expect(page.locator("#window")).to_contain_text("± 3.1 K")
    page.get_by_role("link", name="°F").click()
    page.wait_for_url("**/runs/1?unit=F&show=uncertainty*")
    expect(page.locator("#window")).to_contain_text("± 5.6 °F")
    page.get_by_role("link", name="Hide the uncertainties").click()
    page.wait_for_url("**/runs/1?unit=F*")
    expect(page.locator("#window .around")).to_have_count(0)
