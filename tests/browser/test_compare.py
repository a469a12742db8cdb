"""Runs over each other in a browser: one cursor for all lines, a part that the address keeps."""

import re

import pytest
from playwright.sync_api import Page, expect

from app.accounts.rules import Person
from app.core.db import Sessions
from app.core.settings import Settings
from app.jobs.rules import StepKind
from tests.browser.conftest import Visit
from tests.conftest import NOW
from tests.jobs.conftest import Shop, furnish, write_log

pytestmark = pytest.mark.browser


@pytest.fixture
def runs(
    sessions: Sessions, settings: Settings, odile: Person, ines: Person, edda: Person, ada: Person
) -> str:
    """Record runs 1 and 2, and return the address of both over each other."""
    shop = furnish(Shop(sessions, settings, odile, ines, edda, NOW), ada)
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        shop.record(session, job, StepKind.REMOVE)
        shop.record(session, job, StepKind.REMOVE, write_log(peak_shift_k=1.0))
        session.commit()
    return "/runs/compare?run=1&run=2"


def read(page: Page, place: int) -> str:
    return page.locator(f"#compare-readings [data-read='{place}']").inner_text()


def test_arrow_keys_read_all_lines_and_the_address_follows(runs: str, visit: Visit) -> None:
    page = visit("ines")
    page.goto(runs)
    slider = page.get_by_label("Read all lines at one moment")
    slider.focus()
    # It begins where the first run is hottest, and the second is 1 K hotter there.
    expect(page.locator("#compare-readings")).to_contain_text("At 245.0 s")
    assert (read(page, 0), read(page, 1)) == ("238.0 °C", "239.0 °C")
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    expect(page.locator("#compare-readings")).to_contain_text("At 225.0 s")
    assert (read(page, 0), read(page, 1)) == ("226.0 °C", "226.7 °C")
    said = slider.get_attribute("aria-valuetext")
    assert said == "225.0 s: run 1 226.0 °C, run 2 226.7 °C"
    page.wait_for_url("**at=225*")
    page.keyboard.press("+")
    page.wait_for_url("**from=*")
    expect(page.locator("#compare-picture svg")).to_contain_text("Seen 112.5 s to 312.5 s")
    expect(slider).to_be_focused()
    page.keyboard.press("0")
    page.wait_for_url(lambda address: "from=" not in address)

    colleague = visit("edda", width=390, height=844)
    colleague.goto(page.url)
    expect(colleague.locator("#compare-readings")).to_contain_text("At 225.0 s")
    assert colleague.evaluate("document.documentElement.scrollWidth") == 390


def test_a_drag_over_the_picture_sees_a_part_which_the_exports_have(
    runs: str, visit: Visit
) -> None:
    page = visit("ines")
    page.goto(runs)
    picture = page.locator("#compare-picture svg")
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 0.4 * box["width"], box["y"] + 150)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 150, steps=3)
    page.mouse.up()
    page.wait_for_url("**from=*")
    from_s, to_s = (
        float(re.findall(rf"[?&]{name}=([0-9.]+)", page.url)[0]) for name in ("from", "to")
    )
    # 0.2 of 960 over a plane of 770 that spans 400 s.
    assert to_s - from_s == pytest.approx(0.2 * 960 / 770 * 400, abs=3)
    link = page.get_by_role("link", name="CSV")
    expect(link).to_have_attribute("href", re.compile(rf"from={from_s:g}"))
    expect(page.get_by_label("from s")).to_have_value(f"{from_s:g}")
