"""Recipes over the wire."""

from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.audit.tables import AuditEntry
from app.recipes.body.forms import parse_body
from app.recipes.body.template import default_body
from app.recipes.rules import digest_of
from app.recipes.tables import Recipe, RecipeRevision
from tests.conftest import Look, SignedIn
from tests.recipes.conftest import BODY, Make, hotter

API = "/api/v1"
NEW: dict[str, Any] = {
    "code": "LIM-U3",
    "title": "Remove and place U3",
    "reason": "First issue.",
    "body": BODY.model_dump(mode="json"),
}
TEXT = {name: NEW[name] for name in ("title", "reason", "body")}


def create(client: TestClient, **changes: object) -> dict[str, Any]:
    answer = client.post(f"{API}/recipes", json={**NEW, **changes})
    assert answer.status_code == 201, answer.text
    made: dict[str, Any] = answer.json()
    return made


def test_a_recipe_goes_from_draft_to_published_and_is_superseded(
    signed_in: SignedIn, ines: Person, edda: Person
) -> None:
    writer, approver = signed_in(ines), signed_in(edda)
    made = create(writer)
    assert made["body"] == NEW["body"]
    assert made["digest"] == digest_of(BODY)
    path = f"{API}/recipe-revisions/{made['id']}"
    assert writer.post(f"{path}/proposal").json()["state"] == "proposed"
    assert writer.post(f"{path}/publication", json={"digest": made["digest"]}).json()["code"] == (
        "recipes.author_cannot_approve"
    )
    published = approver.post(f"{path}/publication", json={"digest": made["digest"]})
    assert published.status_code == 200
    assert published.json()["approved_by"]["name"] == edda.name
    again = writer.post(
        f"{API}/recipes/{made['recipe_id']}/revisions",
        json={"copy_of": made["id"], "reason": "Hotter."},
    )
    assert (again.status_code, again.json()["number"]) == (201, 2)
    line = writer.get(f"{API}/recipes/{made['recipe_id']}").json()
    assert (line["published"]["number"], line["open"]["number"]) == (1, 2)
    listed = writer.get(f"{API}/recipes/{made['recipe_id']}/revisions").json()["items"]
    assert [one["number"] for one in listed] == [2, 1]


def test_the_same_key_creates_one_recipe(signed_in: SignedIn, ines: Person, look: Look) -> None:
    client = signed_in(ines)
    headers = {"Idempotency-Key": "k1"}
    first = client.post(f"{API}/recipes", json=NEW, headers=headers)
    second = client.post(f"{API}/recipes", json=NEW, headers=headers)
    assert first.json() == second.json()
    assert len(look(select(Recipe))) == 1


def test_a_draft_is_edited_with_the_version_that_was_read(
    signed_in: SignedIn, ines: Person, make: Make
) -> None:
    client, path = signed_in(ines), f"{API}/recipe-revisions/{make()}"
    shown = client.get(path)
    assert shown.headers["etag"] == '"1"'
    changed = {**TEXT, "body": hotter().model_dump(mode="json")}
    assert client.put(path, json=changed).status_code == 428
    saved = client.put(path, json=changed, headers={"If-Match": '"1"'})
    assert (saved.status_code, saved.headers["etag"]) == (200, '"2"')
    assert saved.json()["digest"] == digest_of(hotter())
    stale = client.put(path, json=TEXT, headers={"If-Match": '"1"'})
    assert (stale.status_code, stale.json()["code"]) == (412, "core.edited_meanwhile")


def test_a_draft_is_discarded_with_the_version_that_was_read(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client, path = signed_in(ines), f"{API}/recipe-revisions/{make()}"
    assert client.delete(path).status_code == 428
    assert client.delete(path, headers={"If-Match": '"1"'}).status_code == 204
    assert client.get(path).status_code == 404
    assert look(select(RecipeRevision)) == []


def test_a_published_revision_refuses_its_put(
    signed_in: SignedIn, ines: Person, make: Make
) -> None:
    client = signed_in(ines)
    path = f"{API}/recipe-revisions/{make(RevisionState.PUBLISHED)}"
    tag = client.get(path).headers["etag"]
    answer = client.put(path, json=TEXT, headers={"If-Match": tag})
    assert (answer.status_code, answer.json()["code"]) == (409, "recipes.revision_frozen")


def test_a_revision_is_withdrawn_sent_back_and_retired_with_reasons(
    signed_in: SignedIn, ines: Person, edda: Person, make: Make
) -> None:
    path = f"{API}/recipe-revisions/{make(RevisionState.PROPOSED)}"
    writer, approver = signed_in(ines), signed_in(edda)
    assert writer.post(f"{path}/withdrawal").json()["state"] == "draft"
    writer.post(f"{path}/proposal")
    assert approver.post(f"{path}/return", json={"reason": " "}).status_code == 422
    assert approver.post(f"{path}/return", json={"reason": "No."}).json()["state"] == "draft"
    writer.post(f"{path}/proposal")
    approver.post(f"{path}/publication", json={"digest": digest_of(BODY)})
    retired = approver.post(f"{path}/retirement", json={"reason": "Soak too long."}).json()
    assert (retired["state"], retired["retire_reason"]) == ("retired", "Soak too long.")


def test_two_revisions_are_compared(signed_in: SignedIn, anselm: Person, make: Make) -> None:
    old, new = make(), make(code="LIM-U4", body=hotter())
    path = f"{API}/recipe-revisions/{old}/comparison"
    found = signed_in(anselm).get(path, params={"with": new}).json()
    assert found["changes"] == [
        {
            "path": "zones.3.top_c",
            "label": "Zone 4: reflow: Top",
            "old": "290 °C",
            "new": "293 °C",
        }
    ]
    assert signed_in(anselm).get(path, params={"with": old}).json()["changes"] == []


def test_what_fits_a_site_is_listed_with_reasons(
    signed_in: SignedIn, odile: Person, make: Make
) -> None:
    make(RevisionState.PUBLISHED)
    asked = {"assembly_part_number": "LIMNET-07", "assembly_revision": "B", "designator": "U4"}
    found = signed_in(odile).get(f"{API}/recipe-fits", params=asked).json()
    assert [(one["fits"], one["reason"]) for one in found] == [(False, "it is for U3, not U4")]


def test_the_list_is_filtered_and_comes_in_pieces(
    signed_in: SignedIn, odile: Person, make: Make
) -> None:
    make(RevisionState.PUBLISHED)
    make(code="LIM-U4")
    client = signed_in(odile)
    found = client.get(f"{API}/recipes", params={"state": "published"}).json()
    assert [one["code"] for one in found["items"]] == ["LIM-U3"]
    piece = client.get(f"{API}/recipes", params={"limit": 1}).json()
    rest = client.get(f"{API}/recipes", params={"cursor": piece["next_cursor"]}).json()
    assert [one["code"] for one in rest["items"]] == ["LIM-U4"]


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("post", "/recipes", NEW),
        ("post", "/recipes/1/revisions", {"copy_of": 1, "reason": "x"}),
        ("put", "/recipe-revisions/1", TEXT),
        ("delete", "/recipe-revisions/1", None),
        ("post", "/recipe-revisions/1/proposal", None),
        ("post", "/recipe-revisions/1/withdrawal", None),
        ("post", "/recipe-revisions/1/return", {"reason": "x"}),
        ("post", "/recipe-revisions/1/publication", {"digest": "0" * 64}),
        ("post", "/recipe-revisions/1/retirement", {"reason": "x"}),
    ],
)
def test_operators_and_auditors_change_nothing(
    signed_in: SignedIn,
    odile: Person,
    anselm: Person,
    make: Make,
    look: Look,
    method: str,
    path: str,
    body: object,
) -> None:
    make()
    before = len(look(select(AuditEntry)))
    for person in (odile, anselm):
        answer = signed_in(person).request(method, f"{API}{path}", json=body)
        assert (answer.status_code, answer.json()["code"]) == (403, "accounts.not_permitted")
    assert len(look(select(AuditEntry))) == before


@pytest.mark.parametrize("number", ["4711", "0", "-1", "99999999999999999999", "x", "1.5"])
def test_unknown_numbers_are_refused(
    signed_in: SignedIn, ines: Person, edda: Person, number: str
) -> None:
    client = signed_in(ines)
    for method, path, body in (
        ("get", f"/recipes/{number}", None),
        ("get", f"/recipes/{number}/revisions", None),
        ("post", f"/recipes/{number}/revisions", {"copy_of": 1, "reason": "x"}),
        ("get", f"/recipe-revisions/{number}", None),
        ("post", f"/recipe-revisions/{number}/proposal", None),
        ("get", f"/recipe-revisions/{number}/comparison?with=1", None),
    ):
        assert client.request(method, f"{API}{path}", json=body).status_code in {404, 422}


@pytest.mark.parametrize(
    ("path", "value", "field", "sentence"),
    [
        (("zones", 0, "time_s"), 9999, "body.zones.0.time_s", "must be at most 1800, not 9999"),
        (("zones", 0, "time_s"), "90", "body.zones.0.time_s", "must be a number, not"),
        (("zones", 0, "time_s"), True, "body.zones.0.time_s", "must be a number, not yes"),
        (("head_heights", "reflow", "value"), "x", "body.head_heights.reflow.value", ""),
        (("tooling", "nozzle"), "a\x00b", "body.tooling.nozzle", "U+0000"),
        (("cleaning", "remarks"), "x" * 4001, "body.cleaning.remarks", "4000"),
        (("deposit",), {"kind": "none", "flux": "x"}, "body.deposit.flux", "not a field"),
    ],
)
def test_what_is_out_of_range_is_named_with_its_limit(
    signed_in: SignedIn,
    ines: Person,
    look: Look,
    path: tuple[str | int, ...],
    value: object,
    field: str,
    sentence: str,
) -> None:
    body: Any = BODY.model_dump(mode="json")
    here = body
    for step in path[:-1]:
        here = here[step]
    here[path[-1]] = value
    answer = signed_in(ines).post(f"{API}/recipes", json={**NEW, "body": body})
    assert answer.status_code == 422
    faults = {one["field"]: one["sentence"] for one in answer.json()["faults"]}
    assert sentence in faults[field]
    assert look(select(Recipe)) == []


@pytest.mark.parametrize(
    "content",
    [b'{"code": "\\ud800"}', b'{"code": NaN}', b"[" * 5000, b'"x"', b"", b"\xff", b"1e999"],
)
def test_what_is_no_recipe_at_all_is_refused(
    signed_in: SignedIn, ines: Person, content: bytes
) -> None:
    headers = {"Content-Type": "application/json"}
    answer = signed_in(ines).post(f"{API}/recipes", content=content, headers=headers)
    assert answer.status_code in {400, 422}


def test_the_schema_holds_the_whole_body_with_an_example(nobody: TestClient) -> None:
    schemas = nobody.get(f"{API}/openapi.json").json()["components"]["schemas"]
    for name in ("RecipeBody", "Zone", "TypedLength", "Aperture", "Window", "Limit", "LiftRule"):
        assert name in schemas
    example = schemas["NewRecipe"]["examples"][0]["body"]
    # The framework leaves null out of a schema's examples.
    assert parse_body(example) == default_body(assembly_part_number="LIMNET-07", designators=["U3"])
