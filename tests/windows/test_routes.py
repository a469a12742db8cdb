"""Windows over the wire."""

import json
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.windows.built_in import compute_text_digest, list_built_ins
from app.windows.files import spell_window_json
from app.windows.schemas import FILE_EXAMPLE, NewWindow
from app.windows.tables import PlantWindow, WindowVersion
from tests.conftest import Look, SignedIn
from tests.recipes.conftest import BODY
from tests.windows.conftest import TEXT, Make, narrower, spell_raw
from tests.windows.test_files import STATED

API = "/api/v1"
NEW: dict[str, Any] = {
    "code": "OWN-SAC",
    "title": "Joints, our boards",
    "reason": "Our trials.",
    "text": spell_raw(),
}
HEAD = {"title": NEW["title"], "reason": NEW["reason"]}
LEAD_FREE = f"{API}/built-in-windows/classification-pb-free"
SIZE = {"thickness_mm": 1.6, "volume_mm3": 350}


def create(client: TestClient, **changes: object) -> dict[str, Any]:
    answer = client.post(f"{API}/windows", json={**NEW, **changes})
    assert answer.status_code == 201, answer.text
    made: dict[str, Any] = answer.json()
    return made


def create_recipe(client: TestClient) -> dict[str, Any]:
    fields = {"code": "LIM-U3", "title": "U3", "reason": "x", "body": BODY.model_dump(mode="json")}
    answer = client.post(f"{API}/recipes", json=fields)
    assert answer.status_code == 201, answer.text
    made: dict[str, Any] = answer.json()
    return made


def test_a_window_goes_from_draft_to_published_and_is_superseded(
    signed_in: SignedIn, ines: Person, edda: Person
) -> None:
    writer, approver = signed_in(ines), signed_in(edda)
    made = create(writer)
    assert made["digest"] == compute_text_digest(TEXT)
    assert made["cautions"] == ["from memory; confirm against your copy"]
    path = f"{API}/window-versions/{made['id']}"
    assert writer.post(f"{path}/proposal").json()["state"] == "proposed"
    own = writer.post(f"{path}/publication", json={"digest": made["digest"]})
    assert (own.status_code, own.json()["code"]) == (403, "windows.author_cannot_approve")
    published = approver.post(f"{path}/publication", json={"digest": made["digest"]})
    assert published.json()["approved_by"]["name"] == edda.name
    again = writer.post(
        f"{API}/windows/{made['window_id']}/versions",
        json={"copy_of": made["id"], "reason": "Narrower."},
    )
    assert (again.status_code, again.json()["number"]) == (201, 2)
    line = writer.get(f"{API}/windows/{made['window_id']}").json()
    assert (line["published"]["number"], line["open"]["number"]) == (1, 2)
    listed = writer.get(f"{API}/windows/{made['window_id']}/versions").json()["items"]
    assert [one["number"] for one in listed] == [2, 1]
    compared = writer.get(f"{path}/comparison?with={again.json()['id']}").json()
    assert compared["changes"] == []
    retired = approver.post(f"{path}/retirement", json={"reason": "Too wide."}).json()
    assert (retired["state"], retired["retire_reason"]) == ("retired", "Too wide.")


def test_the_same_key_creates_one_window(signed_in: SignedIn, ines: Person, look: Look) -> None:
    client, headers = signed_in(ines), {"Idempotency-Key": "k1"}
    first = client.post(f"{API}/windows", json=NEW, headers=headers)
    second = client.post(f"{API}/windows", json=NEW, headers=headers)
    assert first.json() == second.json()
    assert len(look(select(PlantWindow))) == 1


def test_a_draft_is_edited_with_the_version_that_was_read(
    signed_in: SignedIn, ines: Person, make: Make
) -> None:
    client, path = signed_in(ines), f"{API}/window-versions/{make()}"
    assert client.get(path).headers["etag"] == '"1"'
    changed = {**HEAD, "text": spell_raw(narrower())}
    assert client.put(path, json=changed).status_code == 428
    saved = client.put(path, json=changed, headers={"If-Match": '"1"'})
    assert (saved.status_code, saved.headers["etag"]) == (200, '"2"')
    stale = client.put(path, json=changed, headers={"If-Match": '"1"'})
    assert (stale.status_code, stale.json()["code"]) == (412, "core.edited_meanwhile")
    assert client.delete(path, headers={"If-Match": '"2"'}).status_code == 204
    assert client.get(path).json()["code"] == "windows.version_unknown"


@pytest.mark.parametrize("state", ["proposed", "published", "retired"])
def test_a_frozen_text_is_not_written(
    signed_in: SignedIn, ines: Person, make: Make, state: str
) -> None:
    client, path = signed_in(ines), f"{API}/window-versions/{make(RevisionState(state))}"
    etag = client.get(path).headers["etag"]
    refused = client.put(
        path, json={**HEAD, "text": spell_raw(narrower())}, headers={"If-Match": etag}
    )
    assert (refused.status_code, refused.json()["code"]) == (409, "windows.version_frozen")


def test_a_row_beyond_its_range_is_refused_with_row_field_and_limit(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    raw = spell_raw()
    raw["rows"][1]["upper"] = 9001
    refused = signed_in(ines).post(f"{API}/windows", json={**NEW, "text": raw})
    assert refused.status_code == 422
    fault = refused.json()["faults"][0]
    assert fault["field"] == "text.rows.1.upper"
    assert fault["sentence"] == "must be at most 9000 s, not 9001"
    assert look(select(PlantWindow)) == []


def test_own_and_built_in_windows_are_one_list_in_pieces(
    signed_in: SignedIn, odile: Person, make: Make
) -> None:
    for code in ("B", "A", "C"):
        make(code=code)
    client = signed_in(odile)
    keys: list[str] = []
    cursor = ""
    while True:
        piece = client.get(f"{API}/windows?limit=2{cursor}").json()
        keys += [one.get("code") or one["key"] for one in piece["items"]]
        if piece["next_cursor"] is None:
            break
        cursor = f"&cursor={piece['next_cursor']}"
    assert keys == ["A", "B", "C", *(one.key for one in list_built_ins())]
    drafts = client.get(f"{API}/windows?state=draft").json()["items"]
    assert [one["code"] for one in drafts] == ["A", "B", "C"]
    found = client.get(f"{API}/windows?text=neighbours").json()["items"]
    assert [one["key"] for one in found] == ["adjacent-bodies"]


def test_a_file_becomes_a_draft_and_nothing_is_overwritten(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    client = signed_in(ines)
    fields = {"code": "IN", "reason": "From elsewhere.", "file": FILE_EXAMPLE}
    made = client.post(f"{API}/window-imports", json=fields)
    assert made.status_code == 201, made.text
    assert (made.json()["state"], made.json()["title"]) == ("draft", "Joints of SAC305, our boards")
    again = client.post(f"{API}/window-imports", json=fields)
    assert (again.status_code, again.json()["code"]) == (409, "windows.code_taken")
    assert len(look(select(WindowVersion))) == 1


def test_an_import_names_row_field_and_limit(signed_in: SignedIn, ines: Person) -> None:
    assert isinstance(FILE_EXAMPLE, dict)
    file: dict[str, Any] = {
        **FILE_EXAMPLE, "rows": [{"metric": "peak_c", "upper": 451, "status": "plants_own"}],
    }  # fmt: skip
    fields = {"code": "IN", "reason": "From elsewhere.", "file": file}
    refused = signed_in(ines).post(f"{API}/window-imports", json=fields).json()
    assert refused["code"] == "windows.text_unreadable"
    assert refused["faults"][0] == {
        "field": "rows.0.upper", "sentence": "must be at most 450 °C, not 451",
    }  # fmt: skip


def test_a_version_is_handed_out_as_a_file_and_as_a_table(
    signed_in: SignedIn, odile: Person, make: Make
) -> None:
    client, path = signed_in(odile), f"{API}/window-versions/{make(RevisionState.PUBLISHED)}"
    file = client.get(f"{path}/file")
    assert file.headers["content-disposition"] == (
        'attachment; filename="window-OWN-SAC-version-1.json"'
    )
    told = file.json()
    assert (told["state"], told["digest"]) == ("published", compute_text_digest(TEXT))
    assert told["rows"] == json.loads(spell_window_json(STATED))["rows"]
    table = client.get(f"{path}/table")
    assert table.headers["content-type"] == "text/csv; charset=utf-8"
    assert "from memory; confirm against your copy" in table.text


def test_a_built_in_profile_is_shown_for_a_body_and_says_when_an_edge_was_decided(
    signed_in: SignedIn, odile: Person
) -> None:
    client = signed_in(odile)
    assert len(client.get(f"{API}/built-in-windows").json()) == len(list_built_ins())
    shown = client.get(LEAD_FREE, params=SIZE).json()
    assert shown["classified"]["classification_c"] == 250
    assert shown["classified"]["is_edge_decided"] is True
    assert len(shown["classified"]["cells"]) == 4
    assert "lower" in shown["classified"]["note"]
    assert shown["cautions"] == ["sources differ, the stricter holds; confirm against your copy"]
    file = client.get(f"{LEAD_FREE}/file", params=SIZE).json()
    assert (file["classification_c"], file["cautions"]) == (250, shown["cautions"])
    assert "confirm against your copy" in client.get(f"{LEAD_FREE}/table", params=SIZE).text


@pytest.mark.parametrize(
    ("params", "status", "field"),
    [
        ({}, 422, "thickness_mm"),
        ({"thickness_mm": 1.6}, 422, "volume_mm3"),
        ({"thickness_mm": 0, "volume_mm3": 1}, 422, "thickness_mm"),
        ({"thickness_mm": "nan", "volume_mm3": 1}, 422, "thickness_mm"),
        ({"thickness_mm": 51, "volume_mm3": 1}, 422, "thickness_mm"),
    ],
)
def test_a_body_that_cannot_be_is_refused_at_its_field(
    signed_in: SignedIn, odile: Person, params: dict[str, Any], status: int, field: str
) -> None:
    refused = signed_in(odile).get(LEAD_FREE, params=params)
    assert refused.status_code == status
    assert refused.json()["faults"][0]["field"] == field


def test_an_own_window_starts_from_a_built_in_one_with_every_source(
    signed_in: SignedIn, ines: Person
) -> None:
    fields = {"code": "OWN-BODY", "reason": "Our copy says the same.", **SIZE}
    made = signed_in(ines).post(f"{LEAD_FREE}/copies", json=fields)
    assert made.status_code == 201, made.text
    shown = signed_in(ines).get(LEAD_FREE, params=SIZE).json()
    assert made.json()["text"] == shown["text"]
    assert made.json()["state"] == "draft"


def test_a_window_goes_into_ones_own_draft_with_the_version_that_was_read(
    signed_in: SignedIn, ines: Person, edda: Person, make: Make
) -> None:
    client = signed_in(ines)
    recipe = create_recipe(client)
    path = f"{API}/window-versions/{make(RevisionState.PUBLISHED)}/uses"
    fields = {"recipe_revision_id": recipe["id"], "limits": "add", "temperatures": "window"}
    assert client.post(path, json=fields).status_code == 428
    other = signed_in(edda).post(path, json=fields, headers={"If-Match": '"1"'})
    assert (other.status_code, other.json()["code"]) == (403, "windows.not_your_draft")
    put = client.post(path, json=fields, headers={"If-Match": '"1"'})
    assert put.status_code == 200, put.text
    assert put.headers["etag"] == '"2"'
    told = put.json()
    assert told["caution"].startswith("Limits from window OWN-SAC, version 1 (digest ")
    assert compute_text_digest(TEXT) in told["caution"]
    assert any("Peak temperature" in one["label"] for one in told["changes"])
    stale = client.post(path, json=fields, headers={"If-Match": '"1"'})
    assert stale.json()["code"] == "core.edited_meanwhile"
    draft = client.get(f"{API}/recipe-revisions/{recipe['id']}").json()
    assert draft["digest"] == told["digest"]
    assert told["caution"] in draft["body"]["cautions"]


def test_a_draft_or_retired_window_goes_into_no_recipe(
    signed_in: SignedIn, ines: Person, make: Make
) -> None:
    client = signed_in(ines)
    recipe = create_recipe(client)
    for state in (RevisionState.DRAFT, RevisionState.PROPOSED, RevisionState.RETIRED):
        path = f"{API}/window-versions/{make(state, code=state)}/uses"
        fields = {"recipe_revision_id": recipe["id"]}
        refused = client.post(path, json=fields, headers={"If-Match": '"1"'})
        assert (refused.status_code, refused.json()["code"]) == (409, "windows.not_in_force")


def test_a_built_in_profile_goes_into_a_recipe_for_its_body(
    signed_in: SignedIn, ines: Person
) -> None:
    client = signed_in(ines)
    recipe = create_recipe(client)
    fields = {"recipe_revision_id": recipe["id"], "temperatures": "draft", **SIZE}
    put = client.post(f"{LEAD_FREE}/uses", json=fields, headers={"If-Match": '"1"'})
    assert put.status_code == 200, put.text
    draft = client.get(f"{API}/recipe-revisions/{recipe['id']}").json()
    assert draft["body"]["window"]["classification_c"] == 250
    assert "confirm against your copy" in put.json()["caution"]


def test_what_stands_for_a_part_is_listed_with_why(signed_in: SignedIn, ines: Person) -> None:
    client = signed_in(ines)
    part = client.post(
        f"{API}/parts",
        json={
            "part_number": "P-1", "title": "Processor", "package_type": "BGA",
            "length_mm": 15, "width_mm": 15, "height_mm": 1.7,
        },
    )  # fmt: skip
    assert part.status_code == 201, part.text
    listed = client.get(
        f"{API}/standing-windows", params={"part_id": part.json()["id"], "alloy": "Sn63Pb37"}
    ).json()
    # 1.7 mm and 382.5 mm³: 220 °C (J-STD-020 Table 4-1, public restatement of rev D).
    assert [(one["key"], one["text"]["rows"][0]["upper"]) for one in listed["windows"]] == [
        ("classification-snpb", 220),
        ("adjacent-bodies", 200),
        ("adjacent-joints-sn63pb37", 183),
    ]
    unknown = client.get(f"{API}/standing-windows", params={"alloy": "x"}).json()
    assert len(unknown["not_known"]) == 2
    gone = client.get(f"{API}/standing-windows", params={"alloy": "x", "part_id": 999})
    assert gone.status_code == 404


def test_the_examples_of_the_reference_are_taken(signed_in: SignedIn, ines: Person) -> None:
    client = signed_in(ines)
    config = NewWindow.model_config["json_schema_extra"]
    assert isinstance(config, dict)
    example = config["examples"]
    assert isinstance(example, list)
    made = client.post(f"{API}/windows", json=example[0])
    assert made.status_code == 201, made.text
