"""Assemblies, layouts and boards over the wire."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.boards.tables import Assembly, Board, LayoutDraft, Placement
from app.files.tables import StoredFile
from tests.boards.layout_files import ASSEMBLY, BILL, CORRECTED, PLACEMENT, PNG
from tests.conftest import Look, SignedIn

CSV = {"Content-Type": "text/csv"}


def add_assembly(client: TestClient, **other: object) -> int:
    answer = client.post("/api/v1/assemblies", json={**ASSEMBLY, **other})
    assert answer.status_code == 201, answer.text
    return int(answer.json()["id"])


def start_draft(client: TestClient, assembly_id: int, content: bytes = PLACEMENT) -> int:
    path = f"/api/v1/assemblies/{assembly_id}/layout-drafts?kind=placement&name=top.csv"
    answer = client.post(path, content=content, headers=CSV)
    assert answer.status_code == 201, answer.text
    return int(answer.json()["id"])


def take(client: TestClient, draft_id: int, version: int, **fields: object) -> dict[str, object]:
    answer = client.post(
        f"/api/v1/layout-drafts/{draft_id}/take",
        json=fields,
        headers={"If-Match": f'"{version}"'},
    )
    taken: dict[str, object] = answer.json()
    return taken


def test_a_layout_goes_from_file_to_placements_and_a_corrected_one_to_a_new_revision(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    client = signed_in(ines)
    assembly_id = add_assembly(client)
    draft_id = start_draft(client, assembly_id)
    path = f"/api/v1/layout-drafts/{draft_id}"
    put = client.put(f"{path}/files/bill", content=BILL, headers={**CSV, "If-Match": '"1"'})
    assert put.status_code == 200
    assert put.headers["etag"] == '"2"'
    preview = client.get(f"{path}/preview").json()
    assert preview["not_placed"] == ["U3"]
    assert preview["hindrances"] == []
    assert preview["placement"]["guesses"]["unit"]["value"] == "mm"
    assert preview["corrects_layout"] is False
    assert look(select(Placement)) == []
    assert take(client, draft_id, 2)["id"] == assembly_id
    found = client.get(f"/api/v1/assemblies/{assembly_id}/placements").json()["items"]
    assert {row["designator"]: row["side"] for row in found} == {
        "C1": "top",
        "R2": "bottom",
        "U1": "top",
        "U3": None,
    }
    corrected = start_draft(client, assembly_id, CORRECTED)
    preview = client.get(f"/api/v1/layout-drafts/{corrected}/preview").json()
    assert preview["suggested_revision"] == "B"
    assert preview["refused_count"] == 1
    assert preview["placement"]["refused"][0]["line_number"] == 5
    assert {"kind": "turned", "designator": "C1", "before": "90°", "after": "180°"} in preview[
        "changes"
    ]
    refused = take(client, corrected, 1, new_revision="B")
    assert refused["code"] == "boards.layout_not_ready"
    made = take(client, corrected, 1, new_revision="B", leave_out_refused=True)
    assert made["revision"] == "B"
    assert len(look(select(Assembly))) == 2


def test_two_people_with_one_draft_and_the_second_is_refused(
    signed_in: SignedIn, ines: Person, edda: Person, look: Look
) -> None:
    draft_id = start_draft(signed_in(ines), add_assembly(signed_in(ines)))
    path = f"/api/v1/layout-drafts/{draft_id}/placement-choices"
    seen = {"If-Match": '"1"'}
    first = signed_in(ines).put(path, json={"unit": "mil"}, headers=seen)
    assert first.status_code == 200
    second = signed_in(edda).put(path, json={"unit": "inch"}, headers=seen)
    assert second.status_code == 412
    [draft] = look(select(LayoutDraft))
    assert draft.placement_choices["unit"] == "mil"
    assert signed_in(edda).put(path, json={"unit": "inch"}).status_code == 428


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (PNG, "boards.file_not_text"),
        (b"", "boards.file_empty"),
        (b"\x00" * 100, "boards.file_not_text"),
        (b"Ref,Qty,Value,PosX,PosY\n", "boards.file_header_only"),
        (b"C1,1,2\n" * 25_000, "boards.file_too_long"),
        (b"C1,1,2,3,4,5,6,7,8,9\n" * 500_000, "boards.file_too_large"),
        # Two million lines.
        (b"C,1,2\n" * 2_000_000, "boards.file_too_large"),
        (b"," * 300 + b"\n", "boards.file_too_wide"),
    ],
    ids=["picture", "empty", "zeros", "titles", "long", "large", "two-million", "wide"],
)
def test_what_is_no_layout_is_refused_by_file_and_limit_and_nothing_is_kept(
    signed_in: SignedIn, ines: Person, look: Look, content: bytes, code: str
) -> None:
    client = signed_in(ines)
    path = f"/api/v1/assemblies/{add_assembly(client)}/layout-drafts"
    for kind in ("placement", "bill"):
        answer = client.post(f"{path}?kind={kind}", content=content, headers=CSV)
        assert answer.json()["code"] == code
        assert answer.status_code in {413, 422}
        assert answer.json()["faults"][0]["field"] == kind
    assert look(select(StoredFile)) == []
    assert look(select(LayoutDraft)) == []


def test_a_form_is_no_file_and_an_unknown_kind_is_named(signed_in: SignedIn, ines: Person) -> None:
    client = signed_in(ines)
    path = f"/api/v1/assemblies/{add_assembly(client)}/layout-drafts"
    answer = client.post(f"{path}?kind=placement", data={"a": "b"})
    assert answer.json()["code"] == "boards.file_not_sent"
    answer = client.post(f"{path}?kind=photo", content=PLACEMENT, headers=CSV)
    assert answer.json()["faults"][0]["field"] == "kind"


def test_a_choice_that_does_not_fit_the_file_is_refused_by_its_field(
    signed_in: SignedIn, ines: Person
) -> None:
    client = signed_in(ines)
    path = f"/api/v1/layout-drafts/{start_draft(client, add_assembly(client))}"
    for choices, field in (
        ({"columns": {"x": 150}}, "columns.x"),
        ({"columns": {"x": 3, "y": 3}}, "columns.y"),
        ({"columns": {"x": 999}}, "columns.x"),
        ({"header_line": 900}, "header_line"),
        ({"unit": "furlong"}, "unit"),
        ({"speed": 1}, "speed"),
    ):
        answer = client.put(f"{path}/placement-choices", json=choices, headers={"If-Match": '"1"'})
        assert answer.status_code == 422
        assert answer.json()["faults"][0]["field"] == field
    assert client.get(path).headers["etag"] == '"1"'


def test_titles_whose_units_disagree_wait_for_a_choice(signed_in: SignedIn, ines: Person) -> None:
    client = signed_in(ines)
    content = b"Ref,PosX(mm),PosY(mil)\nC1,1,2\n"
    path = f"/api/v1/layout-drafts/{start_draft(client, add_assembly(client), content)}"
    preview = client.get(f"{path}/preview").json()
    assert preview["placement"]["refusal"]
    assert preview["hindrances"]
    chosen = client.put(
        f"{path}/placement-choices", json={"unit": "mm"}, headers={"If-Match": '"1"'}
    )
    assert chosen.status_code == 200
    assert client.get(f"{path}/preview").json()["hindrances"] == []


def test_a_dropped_draft_is_gone_and_the_log_keeps_its_files_digest(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    client = signed_in(ines)
    path = f"/api/v1/layout-drafts/{start_draft(client, add_assembly(client))}"
    assert client.delete(path).status_code == 428
    assert client.delete(path, headers={"If-Match": '"1"'}).status_code == 204
    assert client.get(path).status_code == 404
    last = look(select(AuditEntry).order_by(AuditEntry.seq.desc()))[0]
    assert last.action == "boards.drop_layout"
    assert b"placement_sha256" in last.body


def test_unknown_numbers_are_not_found(signed_in: SignedIn, ines: Person) -> None:
    client = signed_in(ines)
    for path in (
        "assemblies/9",
        "assemblies/9/placements",
        "assemblies/9/picture.svg",
        "assemblies/9/layout-drafts",
        "layout-drafts/9",
        "layout-drafts/9/preview",
        "boards/9",
    ):
        assert client.get(f"/api/v1/{path}").status_code == 404
    assert client.get("/api/v1/assemblies/99999999999").status_code == 422
    answer = client.put("/api/v1/placements/9/part", json={"part_number": None})
    assert answer.json()["code"] == "boards.placement_unknown"
    answer = client.post("/api/v1/assemblies/9/boards", json={"serials": ["1"]})
    assert answer.json()["code"] == "boards.assembly_unknown"


def test_boards_are_registered_once_for_one_key_and_found_by_serial(
    signed_in: SignedIn, ines: Person, odile: Person, look: Look
) -> None:
    assembly_id = add_assembly(signed_in(ines))
    client = signed_in(odile)
    path = f"/api/v1/assemblies/{assembly_id}/boards"
    headers = {"Idempotency-Key": "k1"}
    first = client.post(path, json={"serials": ["0417", "A/1"]}, headers=headers)
    again = client.post(path, json={"serials": ["0417", "A/1"]}, headers=headers)
    assert first.status_code == again.status_code == 201
    assert [board["serial"] for board in first.json()["items"]] == ["0417", "A/1"]
    assert look(select(Board.serial).order_by(Board.id)) == ["0417", "A/1"]
    refused = client.post(path, json={"serials": ["0500", "0417", "", "a\x00"]})
    assert refused.status_code == 422
    assert [fault["field"] for fault in refused.json()["faults"]] == ["serials.1", "serials.3"]
    found = client.get("/api/v1/boards", params={"serial": "0417"}).json()["items"]
    assert [board["serial"] for board in found] == ["0417"]
    assert client.get("/api/v1/boards", params={"serial": "\x00"}).status_code == 422
    many = client.post(path, json={"serials": [str(number) for number in range(501)]})
    assert many.status_code == 422
    assert many.json()["faults"][0]["field"] == "serials"


def test_a_boards_note_is_edited_with_its_version(
    signed_in: SignedIn, ines: Person, odile: Person, look: Look
) -> None:
    client = signed_in(odile)
    path = f"/api/v1/assemblies/{add_assembly(signed_in(ines))}/boards"
    board_id = client.post(path, json={"serials": ["0417"]}).json()["items"][0]["id"]
    path = f"/api/v1/boards/{board_id}"
    seen = {"If-Match": '"1"'}
    assert client.put(path, json={"note": "wet"}, headers=seen).status_code == 200
    assert client.put(path, json={"note": "dry"}, headers=seen).status_code == 412
    last = look(select(AuditEntry).order_by(AuditEntry.seq.desc()))[0]
    assert (last.action, last.board_id, last.board_number) == ("boards.edit_board", board_id, 2)


def test_each_role_does_what_it_may(
    signed_in: SignedIn, ines: Person, odile: Person, anselm: Person
) -> None:
    assembly_id = add_assembly(signed_in(ines))
    assert signed_in(odile).post("/api/v1/assemblies", json=ASSEMBLY).status_code == 403
    path = f"/api/v1/assemblies/{assembly_id}"
    draft = f"{path}/layout-drafts?kind=bill"
    assert signed_in(odile).post(draft, content=BILL, headers=CSV).status_code == 403
    serials = {"serials": ["1"]}
    assert signed_in(anselm).post(f"{path}/boards", json=serials).status_code == 403
    assert signed_in(anselm).get(path).status_code == 200


def test_a_picture_is_safe_whatever_a_file_called_its_parts(
    signed_in: SignedIn, ines: Person
) -> None:
    client = signed_in(ines)
    assembly_id = add_assembly(client)
    evil = b'Ref,PosX,PosY,Side,Package\nU<SCRIPT>,1,2,top,"<script>x</script>"\n'
    take(client, start_draft(client, assembly_id, evil), 1)
    for path in (f"/api/v1/assemblies/{assembly_id}", f"/boards/assemblies/{assembly_id}"):
        answer = client.get(f"{path}/picture.svg", params={"site": "u<script>"})
        assert answer.headers["content-type"] == "image/svg+xml"
        assert answer.text.startswith("<svg ")
        assert "<script" not in answer.text.lower()
    assert client.get(f"/boards/assemblies/{assembly_id}/picture.svg?side=edge").status_code == 422
    page = client.get(f"/boards/assemblies/{assembly_id}?site=U<SCRIPT>").text
    assert "<script>x" not in page
    assert "&lt;script&gt;x" in page


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("length_mm", 0),
        ("length_mm", 2001),
        ("thickness_mm", 20.1),
        ("layers", 101),
        ("layers", 1.5),
        ("alloy", "x" * 65),
        ("revision", " "),
        ("title", "a\x00"),
        ("notes", "x" * 4001),
    ],
)
def test_a_fact_out_of_range_is_refused_by_field(
    signed_in: SignedIn, ines: Person, field: str, value: object
) -> None:
    answer = signed_in(ines).post("/api/v1/assemblies", json={**ASSEMBLY, field: value})
    assert answer.status_code == 422
    assert [fault["field"] for fault in answer.json()["faults"]] == [field]
