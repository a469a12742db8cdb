"""The bench's screens, without a browser."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.jobs.rules import RunState, StepKind
from app.jobs.tables import Job, JobStep, Run, StepEntry
from tests.conftest import Look, SignedIn
from tests.jobs.conftest import Shop, write_log

LOG = ("log.csv", write_log(), "text/csv")


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


def open_job(client: TestClient, shop: Shop) -> str:
    answer = client.post(
        "/jobs/new",
        data={
            "board": str(shop.board_id),
            "site": "U3",
            "recipe_0": str(shop.revision_id),
            "reason": "Opens <under> U3",
        },
    )
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].split("?")[0]


def open_cleared(client: TestClient, shop: Shop) -> str:
    job = open_job(client, shop)
    answer = client.post(f"{job}/clearance", data={"bench_id": str(shop.bench_id)})
    assert answer.status_code == 303, answer.text
    return job


def step_path(look: Look, job: str, kind: StepKind) -> str:
    (step_id,) = look(select(JobStep.id).where(JobStep.kind == kind))
    return f"{job}/steps/{step_id}"


def record(client: TestClient, shop: Shop, path: str, file: object = LOG) -> str:
    answer = client.post(
        f"{path}/runs",
        data={"bench_id": str(shop.bench_id)},
        files={"file": file},  # type: ignore[dict-item]
    )
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].split("?")[0]


def keep(client: TestClient, run: str) -> None:
    """Keep a run as its page suggests, as a browser would send it."""
    page = client.get(run).text
    fields = dict(re.findall(r'<input name="(channel_\d|designator_\d)" value="([^"]*)"', page))
    for name, options in re.findall(r'<select name="(channel_role_\d)".*?>(.*?)</select>', page):
        found = re.search(r'value="(\w+)" selected', options)
        assert found
        fields[name] = found[1]
    answer = client.post(run, data={**fields, "remember": "yes", "do": "keep"})
    assert answer.status_code == 303, answer.text


def test_the_empty_bench_says_how_to_begin(client: TestClient, shop: Shop) -> None:
    assert shop
    page = client.get("/bench").text
    assert "Nothing is in work" in page
    assert "Scan a board" in page


def test_a_scanned_serial_leads_to_the_sites_and_on_to_their_recipes(
    client: TestClient, shop: Shop
) -> None:
    found = client.get("/jobs/new?serial=0417")
    assert found.headers["location"] == f"/jobs/new?board={shop.board_id}"
    sites = client.get(found.headers["location"]).text
    assert sites.index('value="U3"') < sites.index('value="R1"')
    assert "no published recipe fits" in sites
    offers = client.get(f"/jobs/new?board={shop.board_id}&site=U3&site=U5").text
    assert "LIM-U3 revision 1" in offers
    assert "No published recipe fits U5" in offers
    assert "it is for U3, not U5" in offers


def test_an_unknown_serial_is_said_so(client: TestClient, shop: Shop) -> None:
    assert shop
    assert "No board has this serial" in client.get("/jobs/new?serial=9999").text


def test_a_job_without_reason_is_asked_for_it_and_keeps_the_rest(
    client: TestClient, shop: Shop, look: Look
) -> None:
    answer = client.post(
        "/jobs/new",
        data={
            "board": str(shop.board_id),
            "site": "U3",
            "recipe_0": str(shop.revision_id),
            "reference": "NC-7 & more",
        },
    )
    assert answer.status_code == 422
    assert 'value="NC-7 &amp; more"' in answer.text
    assert look(select(Job)) == []


def test_a_busy_site_is_refused_beside_its_recipe_and_nothing_is_half_written(
    client: TestClient, shop: Shop, look: Look
) -> None:
    open_job(client, shop)
    answer = client.post(
        "/jobs/new",
        data={
            "board": str(shop.board_id),
            "site": "U3",
            "recipe_0": str(shop.revision_id),
            "reason": "Again",
        },
    )
    assert answer.status_code == 422
    assert "is being reworked by J-00001" in answer.text
    assert len(look(select(Job))) == 1


def test_the_card_shows_what_is_next_from_the_clearance_to_the_outcome(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = open_job(client, shop)
    page = client.get(job).text
    assert "Opens &lt;under&gt; U3" in page
    assert "Clear the job at B1" in page
    client.post(f"{job}/clearance", data={"bench_id": str(shop.bench_id)})
    page = client.get(job).text
    assert "Remove the part" in page
    assert "290 °C" in page
    remove = step_path(look, job, StepKind.REMOVE)
    keep(client, record(client, shop, remove))
    signed = client.post(f"{remove}/signature", data={"do": "sign", "lot": "P-1", "what": "part"})
    assert signed.status_code == 303
    for kind in (StepKind.DRESS, StepKind.DEPOSIT, StepKind.PLACE):
        path = step_path(look, job, kind)
        assert client.post(f"{path}/signature", data={"do": "sign"}).status_code == 303
    reflow = step_path(look, job, StepKind.REFLOW)
    # The bench remembers the columns, so the second run is complete at once.
    assert record(client, shop, reflow).endswith("/runs/2")
    assert look(select(Run.state)) == [RunState.COMPLETE, RunState.COMPLETE]
    client.post(f"{reflow}/signature", data={"do": "sign"})
    inspect = step_path(look, job, StepKind.INSPECT)
    missing = client.post(f"{inspect}/signature", data={"do": "sign"})
    assert missing.status_code == 422
    assert "Say what the inspection found" in missing.text
    found = {"visual": "pass", "xray": "pass", "electrical": "pass", "largest_void_pct": "7,5"}
    client.post(f"{inspect}/signature", data={"do": "sign", **found})
    page = client.get(job).text
    assert "Close the job" in page
    assert "7.5 %" in page
    closed = client.post(f"{job}/closing", data={"outcome": "accepted"})
    assert closed.status_code == 303
    assert "accepted" in client.get(job).text
    assert "J-00001" in client.get("/bench/closed").text


def test_enter_in_the_lot_field_adds_a_row_and_signs_nothing(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = open_cleared(client, shop)
    remove = step_path(look, job, StepKind.REMOVE)
    keep(client, record(client, shop, remove))
    page = client.get(job).text
    form = page[page.index(f'action="{remove}/signature"') :]
    first_button = re.search(r"<button[^>]*>", form)
    assert first_button
    assert 'value="add-lot"' in first_button[0]
    answer = client.post(
        f"{remove}/signature", data={"do": "add-lot", "what": "part", "lot": "P-7", "remark": "Hm"}
    )
    assert answer.status_code == 200
    assert answer.text.count('name="lot"') == 2
    assert 'value="P-7"' in answer.text
    assert ">Hm</textarea>" in answer.text
    assert look(select(StepEntry)) == []


def test_a_correction_strikes_the_old_entry_through_and_names_it(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = open_cleared(client, shop)
    remove = step_path(look, job, StepKind.REMOVE)
    client.post(f"{remove}/skip", data={"reason": "Came off in transit"})
    (entry_id,) = look(select(StepEntry.id))
    path = f"{remove}/entries/{entry_id}/correction"
    assert client.post(path, data={"do": "correct", "remark": "x"}).status_code == 422
    answer = client.post(path, data={"do": "correct", "remark": "Wicked off", "reason": "Typo"})
    assert answer.status_code == 303
    page = client.get(remove).text
    assert f"corrects entry {entry_id}" in page
    assert 'class="entry old"' in page
    assert "Came off in transit" in page


def test_a_held_job_shows_why_and_offers_no_work(
    client: TestClient, signed_in: SignedIn, ines: Person, shop: Shop, look: Look
) -> None:
    job = open_cleared(client, shop)
    assert client.post(f"{job}/hold", data={"reason": ""}).status_code == 422
    client.post(f"{job}/hold", data={"reason": "Wait for the maker"})
    page = client.get(job).text
    assert "Wait for the maker" in page
    assert "Record the run" not in page
    assert "Lift the hold" not in page
    path = step_path(look, job, StepKind.REMOVE)
    refused = client.post(f"{path}/skip", data={"reason": "x"})
    assert refused.status_code == 422
    assert "on hold" in refused.text
    lifted = signed_in(ines).post(f"{job}/hold/lift", data={"reason": "Answered"})
    assert lifted.status_code == 303


def test_a_file_that_is_no_table_is_refused_on_the_card(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = open_cleared(client, shop)
    path = step_path(look, job, StepKind.REMOVE)
    picture = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256))
    answer = client.post(
        f"{path}/runs",
        data={"bench_id": str(shop.bench_id)},
        files={"file": ("picture.csv", picture, "text/csv")},
    )
    assert answer.status_code == 422
    nothing = client.post(f"{path}/runs", data={"bench_id": str(shop.bench_id)})
    assert nothing.status_code == 422
    assert "Choose a file first" in nothing.text
    assert look(select(Run)) == []


def test_a_file_without_units_asks_on_the_page_and_takes_the_answer(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = open_cleared(client, shop)
    path = step_path(look, job, StepKind.REMOVE)
    run = record(client, shop, path, ("log.csv", write_log(unit=""), "text/csv"))
    page = client.get(run).text
    assert "the file does not say its unit" in page
    fields = {"channel_1": "T1", "channel_role_1": "joint_centre"}
    refused = client.post(run, data={**fields, "do": "keep"})
    assert refused.status_code == 422
    again = client.post(run, data={**fields, "temperature_unit": "C", "do": "reread"})
    assert again.status_code == 200
    assert "the file does not say its unit" not in again.text
    assert look(select(Run.state)) == [RunState.RECORDING]
    kept = client.post(run, data={**fields, "temperature_unit": "C", "do": "keep"})
    assert kept.status_code == 303


def test_a_time_without_unit_is_asked_where_it_is_seen_and_once(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = open_cleared(client, shop)
    path = step_path(look, job, StepKind.REMOVE)
    content = write_log().replace(b"Time (s)", b"Time")
    page = client.get(record(client, shop, path, ("log.csv", content, "text/csv"))).text
    before_the_fold = page.split("<summary>How the file is read", maxsplit=1)[0]
    assert 'name="time_format"' in before_the_fold
    assert page.count('name="time_format"') == 1


def test_a_run_shows_verdict_figures_digests_and_a_chart_without_inline_script(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = open_cleared(client, shop)
    keep(client, record(client, shop, step_path(look, job, StepKind.REMOVE)))
    page = client.get("/runs/1").text
    assert "inside the window" in page
    assert "238.0 °C" in page
    assert str(look(select(Run.file_sha256))[0]) in page
    assert "/vendor/plotly/plotly.min.js" in page
    assert not re.search(r"<script(?![^>]*src=)", page)
    assert " style=" not in page
    picture = client.get("/runs/1/picture.svg")
    assert picture.headers["content-type"] == "image/svg+xml"
    assert 'viewBox="0 0 160 60"' in picture.text


def test_an_aborted_run_says_why_and_has_no_picture(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = open_cleared(client, shop)
    run = record(client, shop, step_path(look, job, StepKind.REMOVE)).removesuffix("/reading")
    assert client.post(f"{run}/abortion", data={"reason": ""}).status_code == 422
    assert client.post(f"{run}/abortion", data={"reason": "Fell off"}).status_code == 303
    assert "Fell off" in client.get(run).text
    assert client.get(f"{run}/picture.svg").status_code == 409
    assert client.get(f"{run}/reading").headers["location"] == run


def test_an_auditor_reads_the_card_and_finds_no_button(
    client: TestClient, signed_in: SignedIn, anselm: Person, shop: Shop
) -> None:
    job = open_cleared(client, shop)
    page = signed_in(anselm).get(job).text
    assert "Remove the part" in page
    for word in ("Record the run", "Put on hold", "Skip the line", "Cancel the job"):
        assert word not in page
    assert signed_in(anselm).get("/jobs/new").status_code == 403


@pytest.mark.parametrize(
    "path",
    [
        "/jobs/999",
        "/jobs/999/steps/1",
        "/runs/999",
        "/runs/999/reading",
        "/runs/999/picture.svg",
        "/jobs/new?board=999",
    ],
)
def test_unknown_numbers_get_a_page_that_says_so(client: TestClient, shop: Shop, path: str) -> None:
    assert shop
    assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    "path",
    [
        "/jobs/1?bench_id=0",
        "/jobs/1?step=x",
        "/jobs/new?serial=%00",
        "/jobs/new?q=%00",
        "/jobs/new?board=99999999999",
        "/bench?cursor=nonsense",
        "/jobs/1?bench_id=999",
        "/jobs/1?step=999",
    ],
)
def test_odd_addresses_are_refused_or_answered_and_never_break(
    client: TestClient, shop: Shop, path: str
) -> None:
    open_job(client, shop)
    assert client.get(path).status_code in {200, 404, 422}


@pytest.mark.parametrize(
    "form",
    [
        {},
        {"board": "x", "site": "U3"},
        {"board": "1", "site": "NOPE", "reason": "x"},
        {"board": "1", "site": "U3", "recipe_0": "999", "reason": "x"},
        {"board": "1", "site": "U3", "recipe_0": "\x00", "reason": "a\x00"},
        {"board": "99999999999999", "site": "U3"},
    ],
)
def test_odd_forms_of_a_new_job_are_refused(
    client: TestClient, shop: Shop, look: Look, form: dict[str, str]
) -> None:
    assert shop
    assert client.post("/jobs/new", data=form).status_code in {404, 422}
    assert look(select(Job)) == []


def test_a_recipe_is_linked_to_the_page_that_shows_it(client: TestClient, shop: Shop) -> None:
    job = open_cleared(client, shop)
    found = re.search(r'href="(/recipes/revisions/\d+)"', client.get(job).text)
    assert found
    assert client.get(found[1]).status_code == 200
