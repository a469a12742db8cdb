"""Whose each limit of a recipe is, and which thermocouples no limit holds for."""

import re
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.audit.rules import read_body
from app.audit.tables import AuditEntry
from app.recipes.body.describe import OWN_LIMIT
from app.recipes.body.forms import parse_body
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import default_body
from app.recipes.form_values import read_form, spell_fields
from app.recipes.limit_origins import carry_origins
from app.recipes.queries import get_body
from app.recipes.rules import canonical_bytes, digest_of
from app.recipes.tables import RecipeRevision
from app.recipes.unheld import list_unheld
from tests.conftest import Look, SignedIn
from tests.form_reader import read_fields
from tests.recipes.conftest import BODY, Make

API = "/api/v1"
JOINTS = "joints-sn96-5ag3-0cu0-5-sac305"
TOLD = "from memory; confirm against your copy; common practice"


def change(**window: Any) -> RecipeBody:
    raw = BODY.model_dump(mode="json")
    raw["window"] |= window
    return parse_body(raw)


def with_thermocouple(role: str, channel: str = "T5") -> RecipeBody:
    raw = BODY.model_dump(mode="json")
    raw["thermocouples"].append(
        {
            "channel": channel,
            "role": role,
            "designator": "Y2" if role == "adjacent" else "",
            "required": False,
        }
    )
    return parse_body(raw)


def put_joints(client: TestClient, revision_id: int) -> dict[str, Any]:
    """Put the built-in window of the joints into a draft and return the draft."""
    fields = {"recipe_revision_id": revision_id, "limits": "add", "temperatures": "draft"}
    answer = client.post(
        f"{API}/built-in-windows/{JOINTS}/uses", json=fields, headers={"If-Match": '"1"'}
    )
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = client.get(f"{API}/recipe-revisions/{revision_id}").json()
    return told


def test_a_recipe_without_windows_is_stored_as_it_always_was() -> None:
    assert b"taken_from" not in canonical_bytes(BODY)
    assert digest_of(parse_body(BODY.model_dump(mode="json"))) == digest_of(BODY)


def test_each_limit_says_in_words_whose_it_is(
    signed_in: SignedIn, ines: Person, make: Make
) -> None:
    told = put_joints(signed_in(ines), make())
    whose = {one["limit"]: one["whose"] for one in told["limits"]}
    assert whose["230 to 245 °C"].startswith(f"window {JOINTS}, version 1 (digest ")
    assert whose["230 to 245 °C"].endswith(TOLD)
    assert whose["at most 250 °C"] == OWN_LIMIT
    taken = [one.get("taken_from") for one in told["body"]["window"]["limits"]]
    told_first = next(one["status"] for one in taken if one)
    assert told_first == "from memory; confirm against your copy"


def test_page_form_and_comparison_say_it_too(signed_in: SignedIn, ines: Person, make: Make) -> None:
    client = signed_in(ines)
    revision_id = make()
    path = f"/recipes/revisions/{revision_id}"
    assert "All limits are the recipe's own" in client.get(path).text
    preview = client.get(f"/windows/built-in/{JOINTS}/put?draft={revision_id}").text
    assert f"window {JOINTS}, version 1" in preview
    put_joints(client, revision_id)
    page = unescape(client.get(path).text)
    assert TOLD in page
    assert OWN_LIMIT in page
    assert "All limits are the recipe's own" not in page
    form = unescape(client.get(f"{path}/edit").text)
    assert f"window {JOINTS}, version 1" in form
    assert form.count(OWN_LIMIT) == page.count(OWN_LIMIT)


def test_a_limit_changed_afterwards_never_passes_for_the_windows(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client = signed_in(ines)
    revision_id = make()
    before = put_joints(client, revision_id)
    path = f"/recipes/revisions/{revision_id}/edit"
    fields = read_fields(client.get(path).text, path)
    unchanged = client.post(path, data={**fields, "do": "save"})
    assert unchanged.status_code == 303, re.findall(r"■[^<]*", unchanged.text)
    assert look(select(RecipeRevision.version)) == [before["version"]]
    place = next(
        place
        for place, one in enumerate(before["body"]["window"]["limits"])
        if one["metric"] == "peak_c" and one.get("taken_from")
    )
    fields[f"window.limits.{place}.upper"] = ["248"]
    assert client.post(path, data={**fields, "do": "save"}).status_code == 303
    told = client.get(f"{API}/recipe-revisions/{revision_id}").json()["limits"][place]
    assert told["limit"] == "230 to 248 °C"
    assert told["whose"].startswith(f"the recipe's own; was 230 to 245 °C in window {JOINTS}")
    form = unescape(client.get(path).text)
    assert "the recipe's own; was 230 to 245 °C in window" in form


def test_nobody_claims_a_window_that_was_not_put_there(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client = signed_in(ines)
    body = get_body(look(select(RecipeRevision).where(RecipeRevision.id == make()))[0])
    raw = body.model_dump(mode="json")
    raw["window"]["limits"][0]["taken_from"] = {
        "window": "A-STANDARD", "version": 1, "digest": "0" * 64, "upper": 245, "lower": 230,
        "status": "seen",
    }  # fmt: skip
    fields = {"title": "T", "reason": "R", "body": raw}
    saved = client.put(f"{API}/recipe-revisions/1", json=fields, headers={"If-Match": '"1"'}).json()
    assert saved["limits"][0]["whose"] == OWN_LIMIT
    made = client.post(f"{API}/recipes", json={**fields, "code": "NEW"}).json()
    assert "taken_from" not in made["body"]["window"]["limits"][0]


def test_an_origin_goes_on_with_fewer_channels_and_not_with_more() -> None:
    taken = {
        "window": "W", "version": 2, "digest": "a" * 64, "upper": 250, "status": "seen",
    }  # fmt: skip
    limit = {"metric": "peak_c", "roles": ["body"], "upper": 250, "taken_from": taken}
    stored = change(limits=[limit])
    assert read_form(spell_fields(stored)) == stored
    given = change(limits=[{"metric": "peak_c", "roles": ["body"], "upper": 250}])
    assert carry_origins(stored, given) == stored
    wider = change(limits=[{**limit, "roles": ["body", "board"]}])
    assert carry_origins(stored, wider).window.limits[0].taken_from is None


@pytest.mark.parametrize(
    ("role", "keys"),
    [
        ("adjacent", ["adjacent-bodies", "adjacent-joints-sn96-5ag3-0cu0-5-sac305"]),
        ("air", []),
    ],
)
def test_a_thermocouple_that_no_limit_holds_for_is_told_with_what_would(
    role: str, keys: list[str]
) -> None:
    found = list_unheld(with_thermocouple(role))
    assert [one.channel for one in found] == ["T4", "T5"]
    assert [window.key for window in found[-1].windows] == keys
    assert "no limit of this recipe holds for it" in found[-1].sentence


def test_a_body_without_a_limit_is_told_of_its_classification_profile() -> None:
    limits = [{"metric": "peak_c", "roles": ["joint_centre"], "upper": 245}]
    found = {one.channel: one for one in list_unheld(change(limits=limits))}
    assert [one.key for one in found["T3"].windows] == ["classification-pb-free"]
    assert [one.key for one in found["T2"].windows] == [JOINTS]
    tin_lead = {one.channel: one for one in list_unheld(change(limits=limits, alloy="Sn63Pb37"))}
    assert [one.key for one in tin_lead["T3"].windows] == ["classification-snpb"]


def test_the_draft_page_links_the_window_that_would_hold_and_proposing_is_not_refused(
    signed_in: SignedIn, ines: Person, edda: Person, make: Make, look: Look
) -> None:
    client = signed_in(ines)
    revision_id = make(body=with_thermocouple("adjacent"))
    path = f"/recipes/revisions/{revision_id}"
    page = client.get(path).text
    assert "T5 (adjacent part Y2): no limit of this recipe holds for it." in page
    link = f"/windows/built-in/adjacent-bodies/put?draft={revision_id}"
    assert f'href="{link}"' in page
    assert client.get(link).status_code == 200
    assert "no limit of the recipe holds for T4, T5." in page
    assert "?draft=" not in signed_in(edda).get(path).text
    proposed = client.post(f"{API}/recipe-revisions/{revision_id}/proposal").json()
    assert proposed["state"] == RevisionState.PROPOSED
    assert [one["channel"] for one in proposed["without_limit"]] == ["T4", "T5"]
    assert proposed["without_limit"][1]["built_in_windows"][0] == "adjacent-bodies"
    entry = look(select(AuditEntry).where(AuditEntry.action == "recipes.propose"))[0]
    details = read_body(entry.body)["details"]
    assert isinstance(details, dict)
    assert details["without_limit"] == ["T4", "T5"]


def test_a_refused_proposal_names_each_open_value_by_its_label(
    signed_in: SignedIn, ines: Person, make: Make
) -> None:
    open_body = default_body(assembly_part_number="LIMNET-07", designators=["U3"])
    path = f"/recipes/revisions/{make(body=open_body)}"
    refused = signed_in(ines).post(f"{path}/proposal")
    assert refused.status_code == 422
    for anchor, label in (
        ("tooling.nozzle", "Nozzle"),
        ("tooling.vacuum_cup", "Vacuum cup"),
        ("deposit.flux", "Flux"),
    ):
        told = f'<a href="{path}/edit#f-{anchor}">{label}</a> is still “to be chosen”'
        assert told in refused.text
    assert ">tooling.nozzle<" not in refused.text
