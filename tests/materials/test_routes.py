"""Parts over the wire."""

import pytest
from sqlalchemy import select

from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.materials.tables import Part
from tests.conftest import Look, SignedIn

PART = {
    "part_number": "VRYLO-B100",
    "title": "Level processor",
    "package_type": "BGA",
    "length_mm": 11,
    "width_mm": 11,
    "max_body_c": 260,
    "moisture_level": "3",
}


def test_a_part_is_stored_with_its_audit_entry_and_three_reflow_cycles_unless_said(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    answer = signed_in(ines).post("/api/v1/parts", json=PART)
    assert answer.status_code == 201
    assert answer.headers["etag"] == '"1"'
    assert answer.json()["reflow_cycles_allowed"] == 3
    last = look(select(AuditEntry).order_by(AuditEntry.seq.desc()))[0]
    assert last.action == "materials.add_part"
    assert b"VRYLO-B100" in last.body


def test_a_part_number_can_be_used_once(signed_in: SignedIn, ines: Person) -> None:
    client = signed_in(ines)
    client.post("/api/v1/parts", json=PART)
    answer = client.post("/api/v1/parts", json=PART)
    assert answer.status_code == 409
    assert answer.json()["code"] == "materials.part_number_taken"


@pytest.mark.parametrize(
    ("field", "value", "limit"),
    [
        ("length_mm", 0, "more than 0"),
        ("length_mm", 201, "at most 200"),
        ("pitch_mm", -1, "more than 0"),
        ("classification_c", 99.9, "at least 100"),
        ("max_body_c", 401, "at most 400"),
        ("reflow_cycles_allowed", 0, "at least 1"),
        ("reflow_cycles_allowed", 21, "at most 20"),
        ("moisture_level", "7", "'5a'"),
        ("package_type", "TO", "'QFN'"),
        ("height_mm", "1e999", "finite"),
    ],
)
def test_a_value_out_of_range_is_refused_by_field_and_limit(
    signed_in: SignedIn, ines: Person, field: str, value: object, limit: str
) -> None:
    answer = signed_in(ines).post("/api/v1/parts", json={**PART, field: value})
    assert answer.status_code == 422
    [fault] = answer.json()["faults"]
    assert fault["field"] == field
    assert limit in fault["sentence"]


def test_an_edit_tells_what_it_changed_and_an_edit_without_change_tells_nothing(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    client = signed_in(ines)
    path = f"/api/v1/parts/{client.post('/api/v1/parts', json=PART).json()['id']}"
    changed = {**PART, "max_body_c": 250}
    assert client.put(path, json=changed, headers={"If-Match": '"1"'}).status_code == 200
    assert client.put(path, json=changed, headers={"If-Match": '"2"'}).status_code == 200
    edits = look(select(AuditEntry).where(AuditEntry.action == "materials.edit_part"))
    assert len(edits) == 1
    assert b'"after":{"max_body_c":250},"before":{"max_body_c":260}' in edits[0].body
    assert client.put(path, json=PART, headers={"If-Match": '"1"'}).status_code == 412
    assert client.put(path, json=PART).status_code == 428


def test_the_list_holds_what_the_text_asks_for_and_takes_signs_as_they_are(
    signed_in: SignedIn, ines: Person
) -> None:
    client = signed_in(ines)
    for number, title in (("A-1", "Gauge 100%"), ("B-2", "Gauge 1000"), ("C-3", "Clock")):
        client.post("/api/v1/parts", json={**PART, "part_number": number, "title": title})

    def find(text: str) -> list[str]:
        found = client.get("/api/v1/parts", params={"q": text}).json()["items"]
        return [part["part_number"] for part in found]

    assert find("gauge") == ["A-1", "B-2"]
    assert find("100%") == ["A-1"]
    assert find("c-") == ["C-3"]
    assert find("_") == []
    assert client.get("/api/v1/parts", params={"q": "\x00"}).status_code == 422


def test_only_an_engineer_adds_parts_and_an_unknown_one_is_not_found(
    signed_in: SignedIn, odile: Person, look: Look
) -> None:
    client = signed_in(odile)
    assert client.post("/api/v1/parts", json=PART).status_code == 403
    assert client.get("/api/v1/parts/41").status_code == 404
    assert client.get("/api/v1/parts/41").json()["code"] == "materials.part_unknown"
    assert look(select(Part)) == []
