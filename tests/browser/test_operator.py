"""The operator's story: a serial is scanned, the site reworked line by line, the job closed."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from app.accounts.rules import Person
from app.core.db import Sessions
from app.core.settings import Settings
from tests.browser.conftest import Visit
from tests.conftest import NOW
from tests.jobs.conftest import Shop, furnish, write_log

pytestmark = pytest.mark.browser


@pytest.fixture
def shop(
    sessions: Sessions,
    settings: Settings,
    odile: Person,
    ines: Person,
    edda: Person,
    ada: Person,
) -> Shop:
    return furnish(Shop(sessions, settings, odile, ines, edda, NOW), ada)


def record(page: Page, file: Path) -> None:
    page.get_by_label("The logger's file").set_input_files(file)
    page.get_by_role("button", name="Record the run").click()


def sign(page: Page, line: str) -> None:
    page.get_by_role("button", name=re.compile(f"^Sign: .*{line}", re.IGNORECASE)).click()
    expect(page.locator(".said")).to_be_visible()


def test_a_board_is_reworked_from_the_scan_to_the_outcome(
    shop: Shop, visit: Visit, tmp_path: Path
) -> None:
    log = tmp_path / "logger.csv"
    log.write_bytes(write_log())
    page = visit("odile", width=768, height=1024)
    page.get_by_role("link", name="Bench", exact=True).click()
    page.wait_for_url("**/bench")
    page.keyboard.type("0417")
    page.keyboard.press("Enter")
    page.locator('input[name="site"][value="U3"]').check()
    page.get_by_role("button", name="Next: choose the recipes").click()
    page.get_by_label("Why it is reworked").fill("Opens under U3 in the boundary test")
    page.get_by_role("button", name="Open the job").click()

    page.get_by_label("At which bench?").select_option(str(shop.bench_id))
    page.get_by_role("button", name="Check").click()
    expect(page.get_by_text("is published and fits")).to_be_visible()
    page.get_by_role("button", name=re.compile("Clear the job")).click()
    job = page.url.split("?", maxsplit=1)[0]

    record(page, log)
    expect(page.get_by_text("The recipe's plan")).to_be_visible()
    page.get_by_role("button", name="Keep this trace").click()
    expect(page.get_by_role("heading", name="Against the window")).to_be_visible()
    expect(page.locator("#chart .main-svg").first).to_be_visible()
    page.goto(job)
    sign(page, "remove")
    sign(page, "dress")

    page.get_by_label("Lot, scanned or typed").last.fill("F-2231")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Lot, scanned or typed")).to_have_count(2)
    sign(page, "put down flux")
    sign(page, "place")

    record(page, log)
    # The bench knows these columns by now: the figures come at once.
    expect(page.get_by_role("heading", name="Against the window")).to_be_visible()
    expect(page.locator(".verdict")).to_contain_text("inside")
    page.goto(job)
    sign(page, "reflow")
    page.get_by_role("radiogroup", name=re.compile("Visual")).get_by_label("pass").check()
    sign(page, "inspect")

    page.get_by_label("accepted").check()
    page.get_by_role("button", name="Close the job").click()
    expect(page.locator(".job-head")).to_contain_text("accepted")
    page.goto("/bench")
    expect(page.get_by_text("Nothing is in work and nothing waits")).to_be_visible()


def test_a_held_job_waits_and_a_wrong_entry_is_corrected_not_edited(
    shop: Shop, visit: Visit, tmp_path: Path
) -> None:
    log = tmp_path / "logger.csv"
    log.write_bytes(write_log())
    with shop.sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        number = job.id
        session.commit()
    page = visit("odile", width=390, height=844)
    page.goto(f"/jobs/{number}")
    page.get_by_text("Skip this line, with a reason").click()
    page.get_by_label("Why this line is skipped").fill("The part fell off in the field")
    page.get_by_role("button", name="Skip the line").click()
    page.get_by_role("link", name="Correct this entry").click()
    page.get_by_label("Why it is corrected").fill("It was taken off with tweezers")
    page.get_by_role("button", name="Write the correction").click()
    page.goto(f"/jobs/{number}")
    expect(page.locator(".entry.old")).to_have_count(1)
    page.get_by_text("Put the job on hold").click()
    page.get_by_label("Why everything stops").fill("Pad lifted, ask the engineer")
    page.get_by_role("button", name="Put on hold").click()
    expect(page.get_by_role("heading", name=re.compile("On hold"))).to_be_visible()
    expect(page.get_by_role("button", name=re.compile("^Sign:"))).to_have_count(0)
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= 390

    engineer = visit("ines")
    engineer.goto(f"/jobs/{number}")
    engineer.get_by_label("Why the hold can be lifted").fill("Pad repaired and inspected")
    engineer.get_by_role("button", name="Lift the hold").click()
    page.goto(f"/jobs/{number}")
    expect(page.get_by_role("button", name=re.compile("^Sign:")).first).to_be_visible()
