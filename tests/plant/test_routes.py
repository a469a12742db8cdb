"""Benches over the wire."""

import pytest
from sqlalchemy import select

from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.plant.tables import Bench
from tests.conftest import Look, SignedIn

BENCH = {"code": "B1", "title": "Hot gas bench by the window", "has_nitrogen": True}


def test_a_bench_is_stored_with_its_audit_entry_before_the_answer_leaves(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    answer = signed_in(ada).post("/api/v1/benches", json=BENCH)
    assert answer.status_code == 201
    assert answer.headers["etag"] == '"1"'
    assert look(select(Bench.code)) == ["B1"]
    last = look(select(AuditEntry).order_by(AuditEntry.seq.desc()))[0]
    assert last.action == "plant.add_bench"
    assert last.actor_id == ada.account_id


def test_the_same_key_with_the_same_body_adds_one_bench(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    headers = {"Idempotency-Key": "a1"}
    first = client.post("/api/v1/benches", json=BENCH, headers=headers)
    again = client.post("/api/v1/benches", json=BENCH, headers=headers)
    assert again.json() == first.json()
    assert again.headers["idempotency-replayed"] == "true"
    assert len(look(select(Bench))) == 1
    other = client.post("/api/v1/benches", json={**BENCH, "code": "B2"}, headers=headers)
    assert other.status_code == 422
    assert other.json()["code"] == "core.idempotency_key_used"


def test_a_code_can_be_used_once(signed_in: SignedIn, ada: Person) -> None:
    client = signed_in(ada)
    client.post("/api/v1/benches", json=BENCH)
    answer = client.post("/api/v1/benches", json=BENCH)
    assert answer.status_code == 409
    assert answer.json()["faults"] == [
        {"field": "code", "sentence": "Another bench has the code B1 already."}
    ]


def test_an_edit_without_or_with_an_old_version_is_refused(
    signed_in: SignedIn, ada: Person
) -> None:
    client = signed_in(ada)
    bench_id = client.post("/api/v1/benches", json=BENCH).json()["id"]
    path = f"/api/v1/benches/{bench_id}"
    assert client.put(path, json=BENCH).status_code == 428
    changed = {**BENCH, "title": "By the door"}
    assert client.put(path, json=changed, headers={"If-Match": '"1"'}).status_code == 200
    stale = client.put(path, json=BENCH, headers={"If-Match": '"1"'})
    assert stale.status_code == 412
    assert "you saw version 1, it is now 2" in stale.json()["detail"]
    assert client.get(path).headers["etag"] == '"2"'


@pytest.mark.parametrize("code", ["", " ", "x" * 65, "a\x00b", 5, None])
def test_a_code_that_no_label_could_carry_is_refused_by_field(
    signed_in: SignedIn, ada: Person, code: object
) -> None:
    answer = signed_in(ada).post("/api/v1/benches", json={**BENCH, "code": code})
    assert answer.status_code == 422
    assert [fault["field"] for fault in answer.json()["faults"]] == ["code"]


def test_an_unpaired_surrogate_is_refused_and_not_a_crash(signed_in: SignedIn, ada: Person) -> None:
    body = b'{"code": "\\ud800", "title": "x"}'
    headers = {"Content-Type": "application/json"}
    answer = signed_in(ada).post("/api/v1/benches", content=body, headers=headers)
    assert answer.status_code == 422


def test_only_an_administrator_adds_benches(signed_in: SignedIn, ines: Person) -> None:
    answer = signed_in(ines).post("/api/v1/benches", json=BENCH)
    assert answer.status_code == 403
    assert answer.json()["code"] == "accounts.not_permitted"


def test_the_list_comes_in_pieces(signed_in: SignedIn, ada: Person) -> None:
    client = signed_in(ada)
    for number in range(5):
        client.post("/api/v1/benches", json={**BENCH, "code": f"B{number}"})
    first = client.get("/api/v1/benches?limit=3").json()
    rest = client.get("/api/v1/benches", params={"cursor": first["next_cursor"]}).json()
    assert [bench["code"] for bench in first["items"]] == ["B0", "B1", "B2"]
    assert [bench["code"] for bench in rest["items"]] == ["B3", "B4"]
    assert rest["next_cursor"] is None
    assert client.get("/api/v1/benches?cursor=nonsense").status_code == 422
