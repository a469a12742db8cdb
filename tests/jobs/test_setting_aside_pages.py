"""Runs that do not count, on the pages and over REST; and what is usual after a bad one."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.jobs.outcomes import list_troubles
from app.jobs.pages.words import spell_use
from app.jobs.rules import StepKind
from app.jobs.tables import JobStep, Run, StepEntry
from app.recipes.verdict import VerdictState
from tests.conftest import Look, SignedIn
from tests.jobs.conftest import CHANNELS, Shop, write_log

API = "/api/v1"
MAIN_ACTION = re.compile(r'<(?:button|a)[^>]*class="(?:button )?large"[^>]*>([^<]*)')


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


def begin(shop: Shop, kind: StepKind = StepKind.REMOVE, *contents: bytes, **said: object) -> str:
    """Clear a job, go on to a line and record its runs; return the job's address."""
    with shop.sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        if kind is StepKind.REFLOW:
            for before in (StepKind.REMOVE, StepKind.DRESS, StepKind.DEPOSIT, StepKind.PLACE):
                shop.sign(session, job, before)
        for content in contents:
            shop.complete(session, shop.start(session, job, kind, content), **said)
        session.commit()
        return f"/jobs/{job.id}"


def step_path(look: Look, job: str, kind: StepKind) -> str:
    (step_id,) = look(select(JobStep.id).where(JobStep.kind == kind))
    return f"{job}/steps/{step_id}"


def test_a_run_is_set_aside_on_its_page_and_its_file_read_again(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = begin(shop, StepKind.REMOVE, write_log())
    assert "/runs/1/setting-aside" in client.get("/runs/1").text
    asked = client.get("/runs/1/setting-aside")
    assert "Why the run does not count" in asked.text
    refused = client.post("/runs/1/setting-aside", data={"reason": " "})
    assert refused.status_code == 422
    assert look(select(Run.set_aside_at)) == [None]
    done = client.post("/runs/1/setting-aside", data={"reason": "The file of <another> board"})
    assert done.headers["location"].startswith("/runs/1?")
    page = client.get("/runs/1").text
    assert "This run does not count." in page
    assert "Odile" in page
    assert "The file of &lt;another&gt; board" in page
    assert "Against the window" in page
    assert "Go on: sign" not in page
    card = client.get(job).text
    assert "does not count" in card
    assert "set aside: The file of &lt;another&gt; board" in card
    assert "Sign: remove the part" not in card
    assert "Record the run" in card
    again = client.post("/runs/1/reading-again")
    assert again.headers["location"] == "/runs/2/reading"
    assert client.get("/runs/2/reading").status_code == 200
    twice = client.post("/runs/1/reading-again")
    assert twice.status_code == 422
    assert "recording already" in twice.text


def test_an_operator_is_told_who_sets_a_signed_run_aside(
    client: TestClient, signed_in: SignedIn, shop: Shop, ines: Person, look: Look
) -> None:
    job = begin(shop, StepKind.REMOVE, write_log())
    path = step_path(look, job, StepKind.REMOVE)
    assert client.post(f"{path}/signature", data={"do": "sign"}).status_code == 303
    assert "/runs/1/setting-aside" not in client.get("/runs/1").text
    assert client.post("/runs/1/setting-aside", data={"reason": "Trial"}).status_code == 403
    engineer = signed_in(ines)
    assert "/runs/1/setting-aside" in engineer.get("/runs/1").text
    done = engineer.post("/runs/1/setting-aside", data={"reason": "Trial"})
    assert done.status_code == 303
    assert "Record the line again" in client.get(path).text
    assert "Read this file again" in client.get("/runs/1").text


def test_the_card_asks_which_of_several_runs_counts(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = begin(shop, StepKind.REMOVE, write_log(), write_log(peak_shift_k=1))
    card = client.get(job).text
    assert re.search(r'name="run_id" value="2" required checked', card)
    assert re.search(r'name="run_id" value="1" required>', card)
    path = step_path(look, job, StepKind.REMOVE)
    kept = client.post(f"{path}/signature", data={"do": "add-lot", "run_id": "1", "remark": ""})
    assert re.search(r'name="run_id" value="1" required checked', kept.text)
    odd = client.post(f"{path}/signature", data={"do": "sign", "run_id": "77", "remark": ""})
    assert odd.status_code == 422
    for nonsense in ("x", "-1", "9" * 40, "1.5"):
        data = {"do": "sign", "run_id": nonsense, "remark": ""}
        assert client.post(f"{path}/signature", data=data).status_code == 422
    client.post(f"{path}/signature", data={"do": "sign", "run_id": "1", "remark": ""})
    assert look(select(StepEntry.values))[0]["run"] == 1
    assert "run that counts <strong>1</strong>" in client.get(job).text


def test_a_run_inside_its_window_leaves_one_primary_action(client: TestClient, shop: Shop) -> None:
    job = begin(shop, StepKind.REFLOW, write_log())
    assert MAIN_ACTION.findall(client.get(job).text) == ["Sign: reflow"]
    assert MAIN_ACTION.findall(client.get("/runs/2").text) == ["Go on: sign “U3: reflow”"]


@pytest.mark.parametrize(
    ("kind", "first"),
    [
        (StepKind.REFLOW, ("Record the run", "Record again")),
        (StepKind.REMOVE, ("Put on hold", "Put the job on hold")),
    ],
)
def test_after_a_run_outside_its_window_signing_comes_second_and_wants_a_remark(
    client: TestClient, shop: Shop, look: Look, kind: StepKind, first: tuple[str, str]
) -> None:
    job = begin(shop, kind, write_log(peak_shift_k=12))
    (run_id,) = look(select(Run.id).order_by(Run.id.desc()).limit(1))
    card, page = client.get(job).text, client.get(f"/runs/{run_id}").text
    assert [name.strip() for name in MAIN_ACTION.findall(card)] == [first[0]]
    assert [name.strip() for name in MAIN_ACTION.findall(page)] == [first[1]]
    assert "The run is outside its window." in card
    for shown in (card, page):
        assert "Usual now" in shown
        assert "Sign all the same, with a remark" in shown
    path = step_path(look, job, kind)
    bare = client.post(f"{path}/signature", data={"do": "sign", "remark": ""})
    assert bare.status_code == 422
    assert "Say in the remark why it is signed all the same" in bare.text
    said = client.post(f"{path}/signature", data={"do": "sign", "remark": "Ines looked at it"})
    assert said.status_code == 303


def test_an_auditor_finds_no_action_on_a_run_outside_its_window(
    signed_in: SignedIn, shop: Shop, anselm: Person
) -> None:
    begin(shop, StepKind.REMOVE, write_log(peak_shift_k=12))
    page = signed_in(anselm).get("/runs/1").text
    assert MAIN_ACTION.findall(page) == []
    assert "setting-aside" not in page


def test_a_part_lifted_too_early_speaks_against_the_signature(shop: Shop, look: Look) -> None:
    begin(shop, StepKind.REMOVE, write_log(), lifted_at_s=100)
    (run,) = look(select(Run))
    assert "The part was lifted before its lift rule was met." in list_troubles(run)


def test_no_window_use_is_shown_where_the_verdict_cannot_say() -> None:
    assert spell_use(VerdictState.CANNOT_SAY, 0.0) == ""
    assert spell_use(VerdictState.INSIDE, 71.6) == "72 %"
    assert spell_use(None, None) == ""


def test_over_rest_a_run_is_set_aside_read_again_and_the_newest_counts(
    client: TestClient, shop: Shop, look: Look
) -> None:
    job = begin(shop, StepKind.REMOVE, write_log())
    bare = client.post(f"{API}/runs/1/setting-aside", json={"reason": ""})
    assert bare.status_code == 422
    done = client.post(f"{API}/runs/1/setting-aside", json={"reason": "Trial"})
    assert done.status_code == 200, done.text
    assert done.json()["is_set_aside"] is True
    assert done.json()["set_aside"]["reason"] == "Trial"
    assert done.json()["set_aside"]["by"]["id"] == shop.odile.account_id
    assert done.json()["figures"] is not None
    assert client.post(f"{API}/runs/1/setting-aside", json={"reason": "x"}).status_code == 409
    again = client.post(f"{API}/runs/1/reading-again")
    assert again.status_code == 201, again.text
    run = again.json()
    assert (run["id"], run["state"], run["set_aside"]) == (2, "recording", None)
    chosen = {"channel_map": CHANNELS.model_dump(mode="json")}
    assert client.post(f"{API}/runs/2/completion", json=chosen).status_code == 200
    path = f"{API}{step_path(look, job, StepKind.REMOVE)}/signature"
    aside = client.post(path, json={"run_id": 1})
    assert (aside.status_code, aside.json()["code"]) == (409, "jobs.run_set_aside")
    signed = client.post(path, json={})
    assert signed.status_code == 201, signed.text
    assert signed.json()["run_id"] == 2


@pytest.mark.parametrize("way", ["setting-aside", "reading-again"])
def test_an_unknown_run_is_not_found(client: TestClient, way: str) -> None:
    said = {"reason": "Trial"}
    assert client.post(f"{API}/runs/99/{way}", json=said).status_code == 404
    assert client.post(f"/runs/99/{way}", data=said).status_code == 404
