"""One physical profile in three files that three loggers would write: three runs, one result."""

import itertools
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pytest
from playwright.sync_api import Page, expect

from app.accounts.rules import Person
from app.core.db import Sessions
from app.core.settings import Settings
from app.numerics.thermocouple_tables import ThermocoupleType
from app.numerics.thermocouples import compute_emf_mv
from tests.browser.conftest import Visit
from tests.conftest import NOW
from tests.jobs.conftest import Shop, furnish

pytestmark = pytest.mark.browser

# The invented profile, in s and °C, sampled twice a second.
CORNERS: Final = (
    (0, 24.0), (95, 150.4), (190, 198.7), (222, 221.3), (251, 239.6), (296, 219.2), (410, 71.5),
)  # fmt: skip
OFFSETS_K: Final = (0.0, 1.37, 2.61, -18.9)
JUNCTION_C: Final = 23.46
SAMPLES: Final = 821
# How steeply the joints pass the liquidus and the limits of the soak, at the slowest, in K/s.
SLOPE_K_PER_S: Final = (239.6 - 219.2) / 45


def profile_c(moment_s: float) -> float:
    for (from_s, from_c), (to_s, to_c) in itertools.pairwise(CORNERS):
        if moment_s <= to_s:
            return from_c + (to_c - from_c) * (moment_s - from_s) / (to_s - from_s)
    raise AssertionError(moment_s)


def list_samples() -> list[tuple[float, list[float]]]:
    return [
        (tick / 2, [profile_c(tick / 2) + offset for offset in OFFSETS_K])
        for tick in range(SAMPLES)
    ]


def write_fahrenheit() -> bytes:
    """Semicolons, decimal commas, a clock that passes midnight, °F in the header, remarks."""
    lines = [
        "# Recorded by the window",
        "Operator;Odile",
        "Uhrzeit;T1 (°F);T2 (°F);T3 (°F);T4 (°F)",
    ]
    for moment_s, temperatures_c in list_samples():
        second = int(moment_s) + 23 * 3600 + 57 * 60
        clock = f"{second // 3600 % 24:02d}:{second // 60 % 60:02d}:{second % 60:02d}"
        cells = [f"{c * 1.8 + 32:.1f}".replace(".", ",") for c in temperatures_c]
        lines.append(";".join([f"{clock},{5 * (moment_s % 1 > 0)}", *cells]))
    return ("\r\n".join(lines) + "\r\n").encode("cp1252")


def write_utf_16() -> bytes:
    """Tabs, UTF-16, ISO times with a zone, names and units in rows of their own."""
    lines = ["Time\tT1\tT2\tT3\tT4", "\t°C\t°C\t°C\t°C"]
    for moment_s, temperatures_c in list_samples():
        minute, second = divmod(moment_s, 60)
        cells = [f"{c:.2f}" for c in temperatures_c]
        lines.append(
            "\t".join([f"2026-03-29T01:{int(minute) + 55:02d}:{second:04.1f}+01:00", *cells])
        )
    # The minutes pass the full hour.
    text = "\n".join(
        re.sub(r"T01:(6\d)", lambda m: f"T02:{int(m[1]) - 60:02d}", one) for one in lines
    )
    return (text + "\n").encode("utf-16")


def write_millivolts() -> bytes:
    """Commas, milliseconds, millivolts whose type nobody says, and the block they end in."""
    kind = ThermocoupleType.K
    block_mv = float(compute_emf_mv(JUNCTION_C, kind))
    lines = ["t [ms],T1 [mV],T2 [mV],T3 [mV],T4 [mV],Block"]
    for moment_s, temperatures_c in list_samples():
        cells = [f"{float(compute_emf_mv(c, kind)) - block_mv:.3f}" for c in temperatures_c]
        lines.append(",".join([f"{moment_s * 1000:.0f}", *cells, f"{JUNCTION_C:.2f}"]))
    return ("\n".join(lines) + "\n").encode()


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


def clear_lines(shop: Shop) -> str:
    """Clear a job, and return the address of its card."""
    with shop.sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        session.commit()
        return f"/jobs/{job.id}"


def say_channels(page: Page) -> None:
    for place, role in enumerate(("joint_centre", "joint_corner", "body", "board"), start=1):
        page.locator(f'[name="channel_role_{place}"]').select_option(role)
        page.locator(f'[name="channel_{place}"]').fill(f"T{place}")


def keep(page: Page) -> int:
    say_channels(page)
    page.get_by_role("button", name="Keep this trace").click()
    expect(page).to_have_url(re.compile(r"/runs/\d+\?"))
    found = re.search(r"/runs/(\d+)", page.url)
    assert found
    return int(found[1])


def say_millivolts(page: Page) -> None:
    """Say type and cold junctions; the first attempt forgets the unit of the block."""
    page.get_by_text("How the file is read, and what to say otherwise").click()
    page.locator('[name="thermocouple"]').select_option("K")
    for place in range(1, 5):
        page.locator(f'[name="cold_junction_{place}"]').select_option("5")
    page.get_by_role("button", name="Read it again with these").click()
    expect(page.get_by_role("alert")).to_contain_text("the file does not say its unit")
    # What was said is still there, and only what was missing is added.
    expect(page.locator('[name="thermocouple"]')).to_have_value("K")
    expect(page.locator('[name="cold_junction_4"]')).to_have_value("5")
    page.locator('[name="unit_5"]').select_option("C")
    page.get_by_role("button", name="Read it again with these").click()
    expect(page.get_by_text("for columns of millivolts you chose type K").first).to_be_visible()


def nothing_more(page: Page) -> None:
    expect(page.get_by_text("The recipe's plan")).to_be_visible()


FILES: Final[dict[str, tuple[Callable[[], bytes], Callable[[Page], None]]]] = {
    "fahrenheit": (write_fahrenheit, nothing_more),
    "utf-16": (write_utf_16, nothing_more),
    "millivolts": (write_millivolts, say_millivolts),
}


def find_channels(run: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {channel["name"]: channel for channel in run["figures"]["channels"]}


def check_alike(one: dict[str, Any], other: dict[str, Any]) -> None:
    """Hold two runs' figures against each other, within half of the last digits they state."""
    mine, theirs = find_channels(one), find_channels(other)
    assert list(mine) == list(theirs) == ["T1", "T2", "T3", "T4"]
    for name in mine:
        apart_k = (mine[name]["resolution_k"] + theirs[name]["resolution_k"]) / 2
        within = {
            "peak": apart_k,
            "above_liquidus": 2 * apart_k / SLOPE_K_PER_S,
            "soak_time": 2 * apart_k / SLOPE_K_PER_S,
            "maximum_ramp": 2 * apart_k / 5.0,
        }
        for metric, allowed in within.items():
            a, b = mine[name][metric]["value"], theirs[name][metric]["value"]
            assert (a is None) == (b is None), (name, metric)
            assert a is None or abs(a - b) <= allowed, (name, metric, a, b, allowed)


def test_three_differently_written_files_of_one_profile_give_one_result(
    shop: Shop, visit: Visit, tmp_path: Path
) -> None:
    page = visit("odile")
    runs: dict[str, dict[str, Any]] = {}
    card = clear_lines(shop)
    for name, (write, correct) in FILES.items():
        file = tmp_path / f"{name}.txt"
        file.write_bytes(write())
        page.goto(card)
        if runs:
            page.get_by_text("Record another run of this line").click()
        page.get_by_label("The logger's file").set_input_files(file)
        page.get_by_role("button", name="Record the run").click()
        correct(page)
        run_id = keep(page)
        # 239.6 °C and 1.37 K more, in whole degrees, which every file gives.
        expect(page.locator("#figures, .figures").first).to_contain_text(re.compile("239.6|240.9"))
        runs[name] = page.request.get(f"/api/v1/runs/{run_id}").json()
    assert {run["sample_count"] for run in runs.values()} == {SAMPLES}
    assert {run["duration_s"] for run in runs.values()} == {(SAMPLES - 1) / 2}
    assert len({run["file_sha256"] for run in runs.values()}) == 3
    for run in runs.values():
        for name, offset in zip(("T1", "T2", "T3", "T4"), OFFSETS_K, strict=True):
            channel = find_channels(run)[name]
            assert abs(channel["peak"]["value"] - 239.6 - offset) <= channel["resolution_k"] / 2
    for one, other in itertools.combinations(runs.values(), 2):
        check_alike(one, other)
    digits = {name: find_channels(run)["T1"]["resolution_k"] for name, run in runs.items()}
    assert digits["utf-16"] == 0.01
    assert 0.05 < digits["fahrenheit"] < 0.06
    assert 0.03 < digits["millivolts"] < 0.04
