"""How a bench measures, over the wire and in the log."""

import json
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.plant.measuring import ASSUMED_CHAIN, parse_chain
from app.plant.queries import find_chain
from app.plant.tables import Bench
from tests.conftest import Look, MovableClock, SignedIn

BENCH = {"code": "B1", "title": "Hot gas bench by the window", "has_nitrogen": True}
CHAIN: dict[str, Any] = {
    "thermocouple_type": "K",
    "thermocouple_class": "IEC 60584-1 class 1",
    "logger_accuracy_k": 0.7,
    "timebase_ppm": 50.0,
    "timebase_jitter_s": 0.01,
    "note": "",
    "corrections": [
        {
            "channel": "T1",
            "correction_k": -0.4,
            "expanded_k": 0.6,
            "certificate": "C-2026-118",
            "valid_until": "2027-03-31",
            "covers": "wire_and_logger",
        }
    ],
}


def add_bench(client: TestClient) -> str:
    bench_id = client.post("/api/v1/benches", json=BENCH).json()["id"]
    return f"/api/v1/benches/{bench_id}"


def list_tales(look: Look) -> list[dict[str, Any]]:
    """List the details of what was told of chains, oldest first."""
    chosen = select(AuditEntry.body).where(AuditEntry.action == "plant.describe_chain")
    return [json.loads(body)["details"] for body in look(chosen.order_by(AuditEntry.seq))]


def test_a_bench_nobody_described_says_what_is_assumed(signed_in: SignedIn, ada: Person) -> None:
    client = signed_in(ada)
    answer = client.get(add_bench(client) + "/measuring-chain")
    assert answer.headers["etag"] == '"1"'
    said = answer.json()
    assert said["is_assumed"] is True
    assert parse_chain(said["chain"]) == ASSUMED_CHAIN
    assert said["words"].startswith("assumed (common practice, no source)")
    assert [one["channel"] for one in said["uncertainty"]] == [None]


def test_a_chain_is_stored_and_told_with_what_was_and_what_is(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = add_bench(client) + "/measuring-chain"
    answer = client.put(path, json=CHAIN, headers={"If-Match": '"1"'})
    assert answer.status_code == 200
    assert answer.headers["etag"] == '"2"'
    assert answer.json()["chain"] == CHAIN
    assert [one["channel"] for one in answer.json()["uncertainty"]] == ["T1", None]
    assert answer.json()["uncertainty"][0]["readings"][2] == {
        "temperature_c": 250.0,
        "expanded_k": pytest.approx(0.6, rel=1e-12),
        "largest_part": "calibration correction",
    }
    (bench,) = look(select(Bench))
    assert find_chain(bench) == parse_chain(CHAIN)
    changed = {**CHAIN, "logger_accuracy_k": 1.0}
    client.put(path, json=changed, headers={"If-Match": '"2"'})
    first, second = list_tales(look)
    assert (first["before"], first["after"]) == (None, CHAIN)
    assert (second["before"], second["after"]) == (CHAIN, changed)
    assert look(select(AuditEntry.actor_id))[-1] == ada.account_id


def test_the_newest_entry_of_a_chain_holds_what_the_bench_holds(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    bench = add_bench(client)
    client.put(f"{bench}/measuring-chain", json=CHAIN, headers={"If-Match": '"1"'})
    client.put(bench, json={**BENCH, "title": "Moved"}, headers={"If-Match": '"2"'})
    (row,) = look(select(Bench))
    assert row.measuring_chain == list_tales(look)[-1]["after"]
    client.delete(f"{bench}/measuring-chain", headers={"If-Match": '"3"'})
    (row,) = look(select(Bench))
    assert row.measuring_chain is None
    assert list_tales(look)[-1]["after"] is None


def test_the_same_chain_again_changes_and_tells_nothing(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = add_bench(client) + "/measuring-chain"
    client.put(path, json=CHAIN, headers={"If-Match": '"1"'})
    again = client.put(path, json=CHAIN, headers={"If-Match": '"2"'})
    assert (again.status_code, again.headers["etag"]) == (200, '"2"')
    assert len(list_tales(look)) == 1


def test_a_chain_taken_out_leaves_what_is_assumed(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = add_bench(client) + "/measuring-chain"
    client.put(path, json=CHAIN, headers={"If-Match": '"1"'})
    answer = client.delete(path, headers={"If-Match": '"2"'})
    assert answer.json()["is_assumed"] is True
    assert answer.headers["etag"] == '"3"'
    last = list_tales(look)[-1]
    assert (last["before"], last["after"]) == (CHAIN, None)


@pytest.mark.parametrize("method", ["PUT", "DELETE"])
def test_a_change_without_or_with_an_old_version_is_refused(
    signed_in: SignedIn, ada: Person, look: Look, method: str
) -> None:
    client = signed_in(ada)
    bench = add_bench(client)
    client.put(bench, json={**BENCH, "title": "Moved"}, headers={"If-Match": '"1"'})
    body = CHAIN if method == "PUT" else None
    path = f"{bench}/measuring-chain"
    assert client.request(method, path, json=body).status_code == 428
    stale = client.request(method, path, json=body, headers={"If-Match": '"1"'})
    assert stale.status_code == 412
    assert list_tales(look) == []


def test_only_an_administrator_describes_a_bench_and_everybody_reads_it(
    signed_in: SignedIn, ada: Person, ines: Person
) -> None:
    path = add_bench(signed_in(ada)) + "/measuring-chain"
    client = signed_in(ines)
    assert client.get(path).status_code == 200
    assert client.put(path, json=CHAIN, headers={"If-Match": '"1"'}).status_code == 403
    assert client.delete(path, headers={"If-Match": '"1"'}).status_code == 403


def test_a_bench_out_of_use_keeps_its_chain(signed_in: SignedIn, ada: Person) -> None:
    client = signed_in(ada)
    bench = add_bench(client)
    client.put(f"{bench}/measuring-chain", json=CHAIN, headers={"If-Match": '"1"'})
    client.post(f"{bench}/retirement")
    answer = client.delete(f"{bench}/measuring-chain", headers={"If-Match": '"3"'})
    assert (answer.status_code, answer.json()["code"]) == (409, "plant.bench_retired")
    assert client.get(f"{bench}/measuring-chain").json()["chain"] == CHAIN


def test_a_lapsed_calibration_is_a_caution_from_the_day_after(
    signed_in: SignedIn, ada: Person, clock: MovableClock
) -> None:
    client = signed_in(ada)
    path = add_bench(client) + "/measuring-chain"
    days = (clock(), clock() - timedelta(days=1))
    today, yesterday = (
        {**CHAIN, "corrections": [{**CHAIN["corrections"][0], "valid_until": f"{day:%Y-%m-%d}"}]}
        for day in days
    )
    assert client.put(path, json=today, headers={"If-Match": '"1"'}).json()["cautions"] == []
    later = client.put(path, json=yesterday, headers={"If-Match": '"2"'}).json()
    (caution,) = later["cautions"]
    assert caution.startswith(f"The calibration of T1 was valid until {days[1]:%Y-%m-%d} ")
    assert "certificate C-2026-118" in caution
    assert later["chain"] == yesterday
    assert client.get(path).json() == later


def test_a_refused_chain_names_field_and_limit_and_stores_nothing(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = add_bench(client) + "/measuring-chain"
    body = {**CHAIN, "logger_accuracy_k": 21, "corrections": [{"channel": "T1"}]}
    answer = client.put(path, json=body, headers={"If-Match": '"1"'})
    assert answer.status_code == 422
    assert [fault["field"] for fault in answer.json()["faults"]] == [
        "logger_accuracy_k",
        "corrections.0.correction_k",
        "corrections.0.expanded_k",
        "corrections.0.certificate",
    ]
    assert answer.json()["faults"][0]["sentence"] == "must be at most 20, not 21"
    assert look(select(Bench.measuring_chain)) == [None]


def test_a_bench_that_does_not_exist_has_no_chain(signed_in: SignedIn, ada: Person) -> None:
    answer = signed_in(ada).get("/api/v1/benches/999/measuring-chain")
    assert (answer.status_code, answer.json()["code"]) == (404, "plant.bench_unknown")


def test_the_reference_shows_a_chain_that_is_taken_as_it_stands(
    signed_in: SignedIn, ada: Person
) -> None:
    client = signed_in(ada)
    schemas = client.get("/api/v1/openapi.json").json()["components"]["schemas"]
    example = schemas["MeasuringChain"]["examples"][0]
    path = add_bench(client) + "/measuring-chain"
    assert client.put(path, json=example, headers={"If-Match": '"1"'}).status_code == 200
