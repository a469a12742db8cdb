"""Jobs and runs over the wire."""

from hashlib import sha256
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import func, select

from app.accounts.rules import Person
from app.jobs.rules import StepKind
from app.jobs.tables import Job, Run
from app.traces.files import read_logger_file
from tests.conftest import Look, SignedIn
from tests.jobs.conftest import CHANNELS, Shop, write_log

API = "/api/v1"
CHOSEN = {"channel_map": CHANNELS.model_dump(mode="json")}


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


def new_job(shop: Shop, **more: object) -> dict[str, object]:
    sites = [{"designator": "U3", "recipe_revision_id": shop.revision_id}]
    return {"board_id": shop.board_id, "reason": "Opens under U3", "sites": sites, **more}


def open_job(client: TestClient, shop: Shop) -> dict[str, Any]:
    answer = client.post(f"{API}/jobs", json=new_job(shop))
    assert answer.status_code == 201, answer.text
    job: dict[str, Any] = answer.json()
    return job


def open_cleared(client: TestClient, shop: Shop) -> dict[str, Any]:
    job = open_job(client, shop)
    answer = client.post(f"{API}/jobs/{job['id']}/clearance", json={"bench_id": shop.bench_id})
    assert answer.status_code == 200, answer.text
    cleared: dict[str, Any] = answer.json()
    return cleared


def step_of(job: dict[str, Any], kind: StepKind) -> int:
    steps = job["sites"][0]["steps"]
    return int(next(step["id"] for step in steps if step["kind"] == kind))


def record(client: TestClient, shop: Shop, job: dict[str, Any], kind: StepKind) -> dict[str, Any]:
    path = f"{API}/jobs/{job['id']}/steps/{step_of(job, kind)}/runs?bench_id={shop.bench_id}"
    answer = client.post(path, content=write_log(), headers={"Content-Type": "text/csv"})
    assert answer.status_code == 201, answer.text
    run = answer.json()
    assert run["state"] == "recording"
    done = client.post(f"{API}/runs/{run['id']}/completion", json=CHOSEN)
    assert done.status_code == 200, done.text
    completed: dict[str, Any] = done.json()
    return completed


def test_a_whole_job_is_done_over_rest(client: TestClient, shop: Shop) -> None:
    job = open_cleared(client, shop)
    assert (job["state"], job["bench"]) == ("cleared", "B1")
    for step in job["sites"][0]["steps"]:
        if step["is_heated"]:
            run = record(client, shop, job, StepKind(step["kind"]))
            assert run["verdict"] == "inside"
        said: dict[str, object] = {"values": [{"label": "Tip", "value": "blade"}]}
        if step["kind"] == "inspect":
            said["inspection"] = {"visual": "pass", "xray": "pass", "largest_void_pct": 4.5}
        path = f"{API}/jobs/{job['id']}/steps/{step['id']}/signature"
        assert client.post(path, json=said).status_code == 201
    closed = client.post(f"{API}/jobs/{job['id']}/closing", json={"outcome": "accepted"})
    assert closed.status_code == 200, closed.text
    assert closed.json()["outcome"] == "accepted"
    shown = client.get(f"{API}/jobs/{job['id']}").json()
    assert shown["next_step"] is None
    assert [site["designator"] for site in shown["sites"]] == ["U3"]
    assert shown["sites"][0]["steps"][-1]["entries"][0]["inspection"]["largest_void_pct"] == 4.5


def test_the_same_key_opens_one_job(client: TestClient, shop: Shop, look: Look) -> None:
    headers = {"Idempotency-Key": "job-1"}
    first = client.post(f"{API}/jobs", json=new_job(shop), headers=headers)
    again = client.post(f"{API}/jobs", json=new_job(shop), headers=headers)
    assert first.json() == again.json()
    assert look(select(func.count(Job.id))) == [1]
    other = client.post(f"{API}/jobs", json=new_job(shop, reason="Else"), headers=headers)
    assert (other.status_code, other.json()["code"]) == (422, "core.idempotency_key_used")


def test_the_same_key_records_one_run(client: TestClient, shop: Shop, look: Look) -> None:
    job = open_cleared(client, shop)
    path = f"{API}/jobs/{job['id']}/steps/{step_of(job, StepKind.REMOVE)}/runs"
    headers = {"Idempotency-Key": "run-1", "Content-Type": "text/csv"}
    ask = f"{path}?bench_id={shop.bench_id}"
    first = client.post(ask, content=write_log(), headers=headers)
    again = client.post(ask, content=write_log(), headers=headers)
    assert first.json()["id"] == again.json()["id"]
    assert look(select(func.count(Run.id))) == [1]


def test_looking_at_the_clearance_changes_nothing(client: TestClient, shop: Shop) -> None:
    job = open_job(client, shop)
    path = f"{API}/jobs/{job['id']}/clearance?bench_id={shop.bench_id}"
    found = client.get(path).json()
    assert found["is_clear"] is True
    assert {one["signal"] for one in found["findings"]} == {"go"}
    assert client.get(f"{API}/jobs/{job['id']}").json()["state"] == "open"


def test_the_list_is_filtered_and_comes_in_pieces(client: TestClient, shop: Shop) -> None:
    first = open_job(client, shop)
    said = {"reason": "Board is lost"}
    assert client.post(f"{API}/jobs/{first['id']}/cancellation", json=said).status_code == 200
    second = open_job(client, shop)
    assert [one["id"] for one in client.get(f"{API}/jobs").json()["items"]] == [
        second["id"],
        first["id"],
    ]
    closed = client.get(f"{API}/jobs?state=closed").json()["items"]
    assert [one["id"] for one in closed] == [first["id"]]
    assert client.get(f"{API}/jobs?board_id=999").json()["items"] == []
    piece = client.get(f"{API}/jobs?limit=1").json()
    rest = client.get(f"{API}/jobs", params={"cursor": piece["next_cursor"]}).json()
    assert [one["id"] for one in rest["items"]] == [first["id"]]


def test_an_operator_holds_and_only_an_engineer_lifts(
    client: TestClient, signed_in: SignedIn, ines: Person, shop: Shop
) -> None:
    job = open_cleared(client, shop)
    path = f"{API}/jobs/{job['id']}/hold"
    assert client.post(path, json={"reason": "Wait"}).json()["is_held"] is True
    assert client.post(f"{path}/lift", json={"reason": "x"}).status_code == 403
    lifted = signed_in(ines).post(f"{path}/lift", json={"reason": "Measured"})
    assert lifted.json()["is_held"] is False
    assert lifted.json()["holds"][0]["lift_reason"] == "Measured"


@pytest.mark.parametrize("who", ["anselm", "ada"])
def test_reading_is_for_everybody_and_working_is_not(
    client: TestClient, signed_in: SignedIn, shop: Shop, request: pytest.FixtureRequest, who: str
) -> None:
    job = open_cleared(client, shop)
    run = record(client, shop, job, StepKind.REMOVE)
    other = signed_in(request.getfixturevalue(who))
    for path in (f"/jobs/{job['id']}", f"/runs/{run['id']}", f"/runs/{run['id']}/samples"):
        assert other.get(API + path).status_code == 200
    step = step_of(job, StepKind.DRESS)
    for path, body in (
        ("/jobs", new_job(shop)),
        (f"/jobs/{job['id']}/clearance", {"bench_id": shop.bench_id}),
        (f"/jobs/{job['id']}/steps/{step}/signature", {}),
        (f"/jobs/{job['id']}/steps/{step}/skip", {"reason": "x"}),
        (f"/jobs/{job['id']}/hold", {"reason": "x"}),
        (f"/jobs/{job['id']}/closing", {"outcome": "rejected", "remark": "x"}),
        (f"/runs/{run['id']}/abortion", {"reason": "x"}),
        (f"/runs/{run['id']}/reading", {}),
    ):
        answer = other.post(API + path, json=body)
        assert (answer.status_code, answer.json()["code"]) == (403, "accounts.not_permitted")


@pytest.mark.parametrize(
    ("method", "path", "code"),
    [
        ("get", "/jobs/999", "jobs.unknown"),
        ("get", "/runs/999", "jobs.run_unknown"),
        ("get", "/runs/999/samples", "jobs.run_unknown"),
        ("get", "/runs/999/file", "jobs.run_unknown"),
        ("get", "/jobs/999/clearance?bench_id=1", "jobs.unknown"),
        ("get", "/boards/999/sites/U3/recipes", "boards.board_unknown"),
        ("post", "/jobs/999/steps/1/signature", "jobs.unknown"),
    ],
)
def test_unknown_numbers_are_told_apart(
    client: TestClient, shop: Shop, method: str, path: str, code: str
) -> None:
    assert shop
    answer = client.request(method, API + path, json={} if method == "post" else None)
    assert (answer.status_code, answer.json()["code"]) == (404, code)


def test_a_line_of_another_job_is_unknown_to_this_one(client: TestClient, shop: Shop) -> None:
    job = open_cleared(client, shop)
    answer = client.post(f"{API}/jobs/{job['id']}/steps/999/skip", json={"reason": "x"})
    assert answer.json()["code"] == "jobs.step_unknown"


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"values": [{"label": "", "value": "1"}]}, "values.0.label"),
        ({"values": [{"label": "a", "value": "x" * 201}]}, "values.0.value"),
        ({"lots": [{"lot": "a\x00b"}]}, "lots.0.lot"),
        ({"inspection": {"visual": "maybe"}}, "inspection.visual"),
        ({"inspection": {"largest_void_pct": 101}}, "inspection.largest_void_pct"),
        ({"remark": "x" * 4001}, "remark"),
        ({"signed_by": "me"}, "signed_by"),
    ],
)
def test_bad_values_of_a_line_are_refused_by_field(
    client: TestClient, shop: Shop, said: dict[str, object], field: str
) -> None:
    job = open_cleared(client, shop)
    path = f"{API}/jobs/{job['id']}/steps/{step_of(job, StepKind.REMOVE)}/signature"
    answer = client.post(path, json=said)
    assert answer.status_code == 422
    assert [fault["field"] for fault in answer.json()["faults"]] == [field]


def test_the_reading_says_why_and_asks_what_the_file_does_not_say(
    client: TestClient, shop: Shop
) -> None:
    job = open_cleared(client, shop)
    path = f"{API}/jobs/{job['id']}/steps/{step_of(job, StepKind.REMOVE)}/runs"
    content = write_log(unit="", cells={(50, "T4"): "OPEN"})
    headers = {"Content-Type": "application/octet-stream"}
    started = client.post(f"{path}?bench_id={shop.bench_id}", content=content, headers=headers)
    run = started.json()
    reading = client.get(f"{API}/runs/{run['id']}/reading").json()
    assert reading["delimiter"] == ","
    assert [one["about"] for one in reading["questions"]] == ["unit"] * 4
    assert reading["findings"][0]["kind"] == "open"
    assert reading["columns"][0]["why"]
    assert [c["name"] for c in reading["channels"]] == ["T1", "T2", "T3", "T4"]
    refused = client.post(f"{API}/runs/{run['id']}/completion", json=CHOSEN)
    assert refused.json()["code"] == "traces.questions_open"
    choices = {"temperature_unit": "C"}
    tried = client.post(f"{API}/runs/{run['id']}/reading", json=choices).json()
    assert tried["questions"] == []
    kept = client.post(f"{API}/runs/{run['id']}/completion", json={**CHOSEN, "choices": choices})
    assert kept.json()["state"] == "complete"
    ask = f"{path}?bench_id={shop.bench_id}&at_once=true"
    next_one = client.post(ask, content=content, headers=headers)
    assert next_one.json()["state"] == "complete"


def test_samples_files_and_tables_come_back_whole(client: TestClient, shop: Shop) -> None:
    job = open_cleared(client, shop)
    run = record(client, shop, job, StepKind.REMOVE)
    samples = client.get(f"{API}/runs/{run['id']}/samples").json()
    assert samples["is_reduced"] is False
    assert samples["sample_count"] == 401
    assert [len(channel["time_s"]) for channel in samples["channels"]] == [401] * 4
    assert max(samples["channels"][0]["temperature_c"]) == 238.0
    file = client.get(f"{API}/runs/{run['id']}/file")
    assert file.content == write_log()
    assert "attachment" in file.headers["content-disposition"]
    whole = client.get(f"{API}/runs/{run['id']}/samples.csv")
    above, _, table = whole.text.partition("\r\n\r\n")
    about = dict(row.split(",", 1) for row in above.splitlines())
    assert (about["Run"], about["Board"], about["Line"]) == (str(run["id"]), "0417", "U3: remove")
    assert about["Operator"] == "Odile Maasland"
    assert about["File digest"] == sha256(write_log()).hexdigest()
    assert len(about["Samples digest"]) == 64
    assert about["Readings"] == '"as recorded, without corrections"'
    rows = table.splitlines()
    assert rows[0] == "time (s),T1 (°C),T2 (°C),T3 (°C),T4 (°C)"
    assert rows[246].startswith("245,238.0,239.5,240.5,")
    # What was exported can be read again as a logger's file.
    again = read_logger_file(whole.content)
    assert [column.header for column in again.columns] == [f"T{k} (°C)" for k in (1, 2, 3, 4)]
    assert again.questions == ()
    assert again.columns[0].temperature_c().max() == 238.0


def test_a_run_that_is_recording_has_no_samples_yet(client: TestClient, shop: Shop) -> None:
    job = open_cleared(client, shop)
    path = f"{API}/jobs/{job['id']}/steps/{step_of(job, StepKind.REMOVE)}/runs"
    headers = {"Content-Type": "text/csv"}
    started = client.post(f"{path}?bench_id={shop.bench_id}", content=write_log(), headers=headers)
    answer = client.get(f"{API}/runs/{started.json()['id']}/samples")
    assert (answer.status_code, answer.json()["code"]) == (409, "jobs.no_trace")


def test_a_form_is_not_taken_for_a_file(client: TestClient, shop: Shop) -> None:
    job = open_cleared(client, shop)
    path = f"{API}/jobs/{job['id']}/steps/{step_of(job, StepKind.REMOVE)}/runs"
    answer = client.post(f"{path}?bench_id={shop.bench_id}", files={"file": write_log()})
    assert (answer.status_code, answer.json()["code"]) == (422, "jobs.file_not_raw")


def test_recipes_that_fit_are_offered_and_the_others_say_why(
    client: TestClient, shop: Shop
) -> None:
    fitting = client.get(f"{API}/boards/{shop.board_id}/sites/U3/recipes").json()
    assert [(one["fits"], one["reason"]) for one in fitting] == [(True, "")]
    other = client.get(f"{API}/boards/{shop.board_id}/sites/U5/recipes").json()
    assert [one["fits"] for one in other] == [False]
    assert "U3" in other[0]["reason"]
