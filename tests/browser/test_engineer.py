"""The engineer's story: an assembly comes in, a recipe is worked out, checked and locked."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Visit

pytestmark = pytest.mark.browser

# Invented files in the shape that layout programs write.
PLACEMENT = """# unit: mm
Designator;Value;Package;PosX;PosY;Rot;Side
U1;TQ-8840;BGA-256_17.0x17.0mm;24,50;18,00;90;top
C1;100nF;C_0402_1005Metric;10,25;8,10;0;top
C2;100nF;C_0402_1005Metric;12,25;8,10;180;bottom
R1;4k7;R_0402_1005Metric;30,00;9,00;0;top
"""
BILL = """Item,Qty,Reference,Value,PN
1,1,U1,TQ-8840,TQ-8840-256
2,2,"C1, C2",100nF,CAP-104
3,1,R1,4k7,RES-472
4,1,U7,SND-20,SND-20
"""


def add_assembly(page: Page, folder: Path) -> None:
    page.get_by_role("link", name="Boards", exact=True).click()
    page.goto("/boards/assemblies/new")
    page.get_by_label("Part number").fill("WB-140")
    page.get_by_label("Revision").fill("B")
    page.get_by_label("What it is").fill("Weir level sounder, main board")
    page.get_by_label("Length").fill("60")
    page.get_by_label("Width").fill("40")
    page.get_by_role("button", name="Add the assembly").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("WB-140")
    (folder / "placement.csv").write_text(PLACEMENT)
    (folder / "bill.csv").write_text(BILL)
    page.get_by_label("Placement file").set_input_files(folder / "placement.csv")
    page.get_by_label("Bill of materials").set_input_files(folder / "bill.csv")
    page.get_by_role("button", name="Read the files").click()
    expect(page.get_by_text("U7").first).to_be_visible()
    page.get_by_role("button", name="Take it").click()
    expect(page.get_by_text("named by the bill, not placed").first).to_be_visible()
    page.locator("#designators ~ * a", has_text=re.compile(r"^U1$")).first.click()
    expect(page.locator("svg .pl-site").first).to_be_visible()


def write_recipe(page: Page) -> str:
    page.goto("/recipes/new")
    page.get_by_label("Code").fill("WB140-U1")
    page.get_by_label("Title").fill("Replace U1, lead-free")
    page.get_by_label("Assembly, part number").fill("WB-140")
    page.get_by_label("Designators").fill("U1")
    page.get_by_label("Why this revision").fill("First profile on the sacrificial board")
    page.get_by_role("button", name="Create the draft").click()
    page.wait_for_url("**/edit?*")
    page.locator('[name="zones.3.time_s"]').fill("9999")
    page.get_by_role("button", name=re.compile("^Save")).first.click()
    expect(page.get_by_text("must be at most 1800, not 9999").first).to_be_visible()
    page.locator('[name="zones.3.time_s"]').fill("62")
    page.locator('[name="head_heights.reflow"]').fill("20 thou")
    page.get_by_role("button", name=re.compile("^Save")).first.click()
    expect(page.get_by_text("0.508 mm").first).to_be_visible()
    page.get_by_role("button", name="Propose it").click()
    expect(page.get_by_text("is still “to be chosen”").first).to_be_visible()
    page.get_by_role("link", name="Edit the draft").click()
    page.locator('[name="tooling.nozzle"]').fill("N-20")
    page.locator('[name="tooling.vacuum_cup"]').fill("CUP-4")
    page.locator('[name="deposit.flux"]').fill("tacky flux")
    page.get_by_role("button", name=re.compile("^Save")).first.click()
    page.get_by_role("button", name="Propose it").click()
    expect(page.get_by_text("proposed").first).to_be_visible()
    return page.url.split("?", maxsplit=1)[0]


def test_a_recipe_is_worked_out_by_one_engineer_and_locked_by_another(
    visit: Visit, tmp_path: Path
) -> None:
    ines = visit("ines")
    add_assembly(ines, tmp_path)
    address = write_recipe(ines)
    expect(ines.get_by_role("button", name="Approve and publish")).to_have_count(0)
    expect(ines.get_by_text("somebody else has to approve it")).to_be_visible()

    edda = visit("edda")
    edda.goto(address)
    edda.get_by_role("button", name="Approve and publish").click()
    expect(edda.get_by_text("published").first).to_be_visible()
    expect(edda.get_by_text("locked").first).to_be_visible()
    expect(edda.get_by_role("link", name="Edit the draft")).to_have_count(0)

    ines.goto(address)
    ines.get_by_label("Why a new revision").fill("Nitrogen in reflow")
    ines.get_by_role("button", name="Start a new revision from this one").click()
    ines.wait_for_url("**/edit?*")
    ines.locator('[name="zones.3.nitrogen"][type="checkbox"]').check()
    ines.get_by_role("button", name=re.compile("^Save")).first.click()
    ines.locator(".others a").first.click()
    expect(ines.locator(".changed").first).to_be_visible()
