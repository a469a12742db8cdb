"""The windows' story: limits come from print, are changed, checked by a second pair, and used."""

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Visit

pytestmark = pytest.mark.browser

BUILT_IN = "/windows/built-in/joints-sn96-5ag3-0cu0-5-sac305"
CONFIRM = "from memory; confirm against your copy"


def copy_built_in(page: Page) -> None:
    """Take a built-in window as the start of an own one."""
    page.get_by_role("link", name="Recipes", exact=True).click()
    page.get_by_role("link", name="Windows: limits with their sources").click()
    expect(page.locator("nav a[aria-current=page]")).to_have_text("Recipes")
    page.goto(BUILT_IN)
    expect(page.get_by_text(CONFIRM).first).to_be_visible()
    page.get_by_text("Start own window from this").click()
    page.get_by_label("Key").fill("OWN-SAC")
    page.get_by_label("Why this window").fill("Our boards warp above 240 °C")
    page.get_by_role("button", name="Create the draft").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("OWN-SAC")


def change_peak(page: Page) -> None:
    """Be refused by field and limit, put it right, and propose."""
    page.wait_for_url("**/edit*")
    peak = page.locator('[name="rows.0.upper"]')
    peak.fill("900")
    page.get_by_role("button", name="Save the draft").click()
    expect(page.get_by_text("must be at most 450 °C, not 900").first).to_be_visible()
    expect(peak).to_have_value("900")
    peak.fill("240")
    page.get_by_role("button", name="Save the draft").click()
    expect(page.get_by_text("230 to 240 °C").first).to_be_visible()
    # What was not changed keeps its source and how sure that is.
    expect(page.get_by_text(CONFIRM).first).to_be_visible()
    page.get_by_role("button", name=re.compile("^Propose")).click()
    expect(page.get_by_text("proposed").first).to_be_visible()


def begin_recipe(page: Page) -> None:
    page.goto("/recipes/new")
    page.get_by_label("Code").fill("LIM-U3")
    page.get_by_label("Title").fill("Replace U3, lead-free")
    page.get_by_label("Assembly, part number").fill("LIMNET-07")
    page.get_by_label("Designators").fill("U3")
    page.get_by_label("Why this revision").fill("First issue")
    page.get_by_role("button", name="Create the draft").click()
    page.wait_for_url("**/edit?*")


def test_a_window_is_copied_changed_approved_by_another_and_put_into_a_recipe(
    visit: Visit, tmp_path: Path
) -> None:
    ines = visit("ines")
    copy_built_in(ines)
    change_peak(ines)
    address = ines.url.split("?", maxsplit=1)[0]
    expect(ines.get_by_role("button", name=re.compile("^Approve"))).to_have_count(0)
    expect(ines.get_by_text(re.compile("somebody else has to approve it")).first).to_be_visible()

    edda = visit("edda")
    edda.goto(address)
    edda.get_by_role("button", name=re.compile("^Approve")).click()
    expect(edda.get_by_text("published").first).to_be_visible()
    expect(edda.get_by_text(CONFIRM).first).to_be_visible()
    with edda.expect_download() as coming:
        edda.get_by_role("link", name=re.compile("JSON")).first.click()
    coming.value.save_as(tmp_path / "window.json")
    told = json.loads((tmp_path / "window.json").read_text())
    assert (told["key"], told["state"], told["version"]) == ("OWN-SAC", "published", 1)
    assert any(CONFIRM in one for one in told["cautions"])
    assert any(row["status"] == "from_memory" and CONFIRM in row["caution"] for row in told["rows"])

    begin_recipe(ines)
    ines.goto(address)
    ines.get_by_role("link", name=re.compile("^Put")).first.click()
    ines.get_by_label("Draft of yours").select_option(index=1)
    ines.get_by_role("button", name="Show what changes").click()
    expect(ines.get_by_text("230 to 240 °C").first).to_be_visible()
    ines.get_by_role("button", name="Put it into the draft").click()
    expect(ines.get_by_text("230 to 240 °C").first).to_be_visible()
    expect(ines.get_by_text("OWN-SAC").first).to_be_visible()
