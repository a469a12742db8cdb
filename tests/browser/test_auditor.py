"""The auditor's story: a board's whole history is read, taken away, and every change found."""

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect
from sqlalchemy import text

from app.accounts.rules import Person
from app.core.db import Sessions
from app.core.settings import Settings
from tests.browser.conftest import Visit
from tests.conftest import NOW
from tests.jobs.conftest import Shop, furnish

pytestmark = pytest.mark.browser


@pytest.fixture
def reworked(
    sessions: Sessions,
    settings: Settings,
    odile: Person,
    ines: Person,
    edda: Person,
    ada: Person,
) -> Shop:
    """Board 0417 has one accepted job behind it."""
    shop = furnish(Shop(sessions, settings, odile, ines, edda, NOW), ada)
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        shop.finish(session, job)
        session.commit()
    return shop


def test_a_board_s_history_is_read_checked_and_taken_away(
    reworked: Shop, visit: Visit, tmp_path: Path
) -> None:
    page = visit("anselm")
    page.get_by_label("Scan or type a serial or job").fill("0417")
    page.keyboard.press("Enter")
    page.wait_for_url("**/history*")
    expect(page.get_by_text("The log verifies").first).to_be_visible()
    for told in ("LIM-U3", "F-2231", "inside", "accepted"):
        expect(page.locator("table.story").get_by_text(told).first).to_be_visible()
    expect(page.get_by_role("link", name="Open a job")).to_have_count(0)
    page.locator("tr.entries summary").first.click()
    expect(page.locator("tr.entries pre").first).to_contain_text('"action"')

    with page.expect_download() as table:
        page.get_by_role("link", name="Table (CSV)").click()
    table.value.save_as(tmp_path / "history.csv")
    assert "LIM-U3" in (tmp_path / "history.csv").read_text(encoding="utf-8-sig")
    with page.expect_download() as record:
        page.get_by_role("link", name="Whole record (JSON)").click()
    record.value.save_as(tmp_path / "history.json")
    assert "0417" in json.dumps(json.loads((tmp_path / "history.json").read_bytes()))

    page.locator("a.trace").last.click()
    expect(page.locator("#chart .main-svg").first).to_be_visible()
    page.get_by_role("link", name="Audit trail").click()
    page.get_by_role("button", name="Verify everything now").click()
    expect(page.get_by_text("none").first).to_be_visible()
    expect(page.get_by_text("Entries recomputed")).to_be_visible()


def test_a_changed_remark_is_found_and_named(reworked: Shop, visit: Visit) -> None:
    with reworked.sessions.write() as session:
        if session.get_bind().dialect.name == "sqlite":
            session.execute(text("DROP TRIGGER step_entries_no_update"))
        else:
            session.execute(text("ALTER TABLE step_entries DISABLE TRIGGER ALL"))
        session.execute(text("UPDATE step_entries SET remark = 'all was well' WHERE id = 2"))
        session.commit()
    page = visit("anselm")
    page.goto(f"/boards/{reworked.board_id}/history")
    expect(page.get_by_role("alert")).to_contain_text("entry 2")
    page.goto("/audit")
    page.get_by_role("button", name="Verify everything now").click()
    expect(page.get_by_text(re.compile("Records that are not as the log tells"))).to_be_visible()
