"""The screens of windows, without a browser."""

import json
import re
from html import unescape

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.recipes.tables import RecipeRevision
from app.windows.built_in import Package, get_built_in
from app.windows.files import spell_window_json
from app.windows.queries import get_text
from app.windows.tables import PlantWindow, WindowVersion
from tests.conftest import Look, SignedIn
from tests.form_reader import read_fields
from tests.recipes.conftest import Make as MakeRecipe
from tests.recipes.conftest import make as make_recipe_fixture
from tests.windows.conftest import TEXT, Make, narrower
from tests.windows.test_files import STATED

make_recipe = make_recipe_fixture
NEVER = "/windows/built-in/classification-pb-free"


def open_form(client: TestClient, version_id: int) -> tuple[str, dict[str, list[str]]]:
    path = f"/windows/versions/{version_id}/edit"
    return path, read_fields(client.get(path).text, path)


def test_the_list_says_how_to_begin_and_shows_what_is_built_in(
    signed_in: SignedIn, ines: Person, odile: Person
) -> None:
    page = signed_in(ines).get("/windows").text
    assert "No window of the plant's own yet" in page
    assert 'href="/windows/new"' in page
    assert "from memory; confirm against your copy" in page
    of_odile = signed_in(odile).get("/windows").text
    assert "/windows/new" not in of_odile
    assert NEVER in of_odile
    assert 'href="/windows"' in signed_in(odile).get("/recipes").text


def test_the_list_filters_by_state_and_goes_on_in_pieces(
    signed_in: SignedIn, odile: Person, make: Make
) -> None:
    make(RevisionState.PUBLISHED)
    make(code="OWN-BI")
    client = signed_in(odile)
    page = client.get("/windows?state=draft").text
    assert "OWN-BI" in page
    assert "OWN-SAC" not in page
    assert NEVER not in page
    assert "OWN-BI" not in client.get("/windows?state=built+in").text
    first = client.get("/windows?limit=2").text
    assert "OWN-SAC" in first
    more = re.search(r'href="(/windows\?[^"]*cursor=[^"]*)"', first)
    assert more is not None
    assert NEVER in client.get(unescape(more[1])).text
    assert "No window here" in client.get("/windows?text=nowhere").text
    assert client.get("/windows?state=nonsense").status_code == 422


def test_a_window_is_begun_from_a_built_in_one(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    client = signed_in(ines)
    fields = read_fields(client.get("/windows/new").text, "/windows/new")
    fields |= {"code": ["OWN"], "title": ["Ours"], "reason": ["Because."]}
    answer = client.post("/windows/new", data=fields)
    assert answer.status_code == 303
    assert "first draft" in client.get(answer.headers["location"]).text
    found = get_built_in("joints-sn96-5ag3-0cu0-5-sac305")
    assert get_text(look(select(WindowVersion))[0]) == found.text
    again = client.post("/windows/new", data=fields)
    assert again.status_code == 422
    assert "Another window has the code OWN already" in again.text
    nonsense = client.post("/windows/new", data={**fields, "code": "B", "start": "nonsense"})
    assert 'id="e-start"' in nonsense.text


def test_a_form_that_is_saved_as_it_was_shown_keeps_every_value(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client = signed_in(ines)
    found = get_built_in("classification-pb-free", Package(1.6, 350.0))
    for number, text in enumerate((TEXT, found.text)):
        path, fields = open_form(client, make(code=f"OWN-{number}", text=text))
        answer = client.post(path, data={**fields, "do": "save"})
        assert answer.status_code == 303, re.findall(r"■[^<]*", answer.text)
        version = look(select(WindowVersion).order_by(WindowVersion.id))[-1]
        assert (get_text(version), version.version) == (text, 1)


def test_rows_are_changed_added_and_left_out_without_any_script(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client = signed_in(ines)
    path, fields = open_form(client, make())
    fields |= {
        "rows.0.upper": ["241,5"],
        "rows.1.drop": ["yes"],
        "rows.2.metric": ["spread_k"],
        "rows.2.upper": ["6"],
        "rows.2.status": ["plants_own"],
    }
    answer = client.post(path, data={**fields, "do": "save"})
    assert answer.status_code == 303, re.findall(r"■[^<]*", answer.text)
    rows = get_text(look(select(WindowVersion))[0]).rows
    assert [(row.metric.value, row.upper) for row in rows] == [("peak_c", 241.5), ("spread_k", 6)]
    page = client.get(answer.headers["location"]).text
    assert "The draft was saved." in page
    assert "at most 6 K" in page


def test_a_refused_form_keeps_what_was_typed_and_names_each_field_with_its_limit(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client = signed_in(ines)
    path, fields = open_form(client, make())
    fields |= {
        "title": [""],
        "rows.0.upper": ["999"],
        "rows.1.lower": ["<b>long</b>"],
        "liquidus_c": ["20"],
    }
    answer = client.post(path, data={**fields, "do": "save"})
    assert answer.status_code == 422
    page = unescape(answer.text)
    assert 'id="e-title"' in page
    assert 'id="e-rows.0.upper"' in page
    assert "must be at most 450 °C, not 999" in page
    assert "must be at least 50, not 20" in page
    assert 'value="999"' in page
    assert "<b>long" not in answer.text
    assert look(select(WindowVersion.version)) == [1]


def test_the_second_of_two_editors_gets_both_versions_and_a_way_on(
    signed_in: SignedIn, ines: Person, edda: Person, make: Make, look: Look
) -> None:
    version_id = make()
    first, second = signed_in(edda), signed_in(ines)
    path, theirs = open_form(first, version_id)
    _, ours = open_form(second, version_id)
    first.post(path, data={**theirs, "rows.0.upper": ["240"], "do": "save"})
    refused = second.post(path, data={**ours, "rows.0.upper": ["242"], "do": "save"})
    assert refused.status_code == 412
    assert re.search(
        r'<td class="note">232 to 240 °C</td><td class="note changed">232 to 242 °C', refused.text
    )
    assert get_text(look(select(WindowVersion))[0]) == narrower()
    kept = read_fields(refused.text, path)
    assert 'value="242"' in second.post(path, data={**kept, "do": "edit"}).text
    assert second.post(path, data={**kept, "do": "save"}).status_code == 303
    assert get_text(look(select(WindowVersion))[0]) == narrower(upper_c=242)


def test_a_version_is_proposed_sent_back_approved_and_retired_with_reasons(
    signed_in: SignedIn, ines: Person, edda: Person, make: Make, look: Look
) -> None:
    path = f"/windows/versions/{make()}"
    writer, approver = signed_in(ines), signed_in(edda)
    writer.post(f"{path}/proposal")
    assert "somebody else has to approve it" in writer.get(path).text
    unsaid = approver.post(f"{path}/return", data={"reason": " "})
    assert (unsaid.status_code, 'id="e-reason"' in unsaid.text) == (422, True)
    approver.post(f"{path}/return", data={"reason": "Too hot."})
    assert "Too hot." in writer.get(path).text
    writer.post(f"{path}/proposal")
    digest = read_fields(approver.get(path).text, f"{path}/publication")["digest"]
    assert approver.post(f"{path}/publication", data={"digest": digest}).status_code == 303
    page = writer.get(path).text
    assert "● " in page or "published" in page
    assert f'href="{path}/put"' in page
    retired = approver.post(f"{path}/retirement", data={"reason": "Other boards."})
    assert retired.status_code == 303
    assert look(select(WindowVersion.state)) == [RevisionState.RETIRED]
    assert "Other boards." in writer.get(path).text


def test_every_page_of_a_window_says_what_is_in_doubt(
    signed_in: SignedIn, odile: Person, make: Make
) -> None:
    client = signed_in(odile)
    for path in (
        f"/windows/versions/{make(RevisionState.PUBLISHED)}",
        "/windows",
        "/windows/built-in/joints-sn63pb37",
        f"{NEVER}?thickness_mm=1.6&volume_mm3=350",
    ):
        assert "confirm against your copy" in client.get(path).text, path


def test_a_new_version_is_started_and_compared_with_what_changed_marked(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client = signed_in(ines)
    old_id = make(RevisionState.PUBLISHED)
    window_id = look(select(PlantWindow.id))[0]
    answer = client.post(
        f"/windows/{window_id}/versions", data={"copy_of": old_id, "reason": "Narrower."}
    )
    assert answer.status_code == 303
    new_id = int(answer.headers["location"].split("/")[3])
    path, fields = open_form(client, new_id)
    client.post(path, data={**fields, "rows.0.upper": ["240"], "do": "save"})
    page = client.get(f"/windows/versions/{old_id}/compare/{new_id}").text
    assert "1 value differs" in page
    assert re.search(r'232 to 243 °C</td><td class="note changed">232 to 240 °C', page)
    shown = client.get(f"/windows/{window_id}").text
    assert f"/windows/versions/{old_id}/compare/{new_id}" in shown
    again = client.post(f"/windows/{window_id}/versions", data={"copy_of": old_id, "reason": "x"})
    assert (again.status_code, "is draft; finish or discard it" in again.text) == (422, True)


def test_a_discarded_draft_is_gone(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    answer = signed_in(ines).post(f"/windows/versions/{make()}/discard")
    assert answer.headers["location"].startswith("/windows?")
    assert look(select(PlantWindow)) == []


def test_the_body_is_asked_for_and_an_edge_is_said(signed_in: SignedIn, odile: Person) -> None:
    client = signed_in(odile)
    assert "give thickness and volume, or a part" in client.get(NEVER).text
    page = client.get(f"{NEVER}?thickness_mm=1,6&volume_mm3=350").text
    assert "Classification temperature 250 °C" in page
    assert "on an edge: the lower value is taken" in page
    assert "thickness 1.6 to 2.5 mm, volume 350 to 2000 mm³: 250 °C" in page


@pytest.mark.parametrize(
    ("query", "field", "sentence"),
    [
        ("thickness_mm=thick&volume_mm3=1", "thickness_mm", "must be a number"),
        ("thickness_mm=1.6", "volume_mm3", "is missing"),
        ("thickness_mm=0&volume_mm3=1", "thickness_mm", "more than 0 and at most 50 mm"),
        ("thickness_mm=1&volume_mm3=1000001", "volume_mm3", "at most 1e+06 mm³"),
        ("part_number=NOWHERE", "part_number", "is no part of the materials"),
    ],
)
def test_a_body_that_cannot_be_is_refused_beside_its_field(
    signed_in: SignedIn, odile: Person, query: str, field: str, sentence: str
) -> None:
    answer = signed_in(odile).get(f"{NEVER}?{query}")
    assert answer.status_code == 422
    assert f'id="e-{field}"' in answer.text
    assert sentence in unescape(answer.text)


def test_a_known_part_gives_thickness_and_volume(
    signed_in: SignedIn, ines: Person, odile: Person
) -> None:
    part = {
        "part_number": "P-1", "title": "Processor", "package_type": "BGA",
        "length_mm": 15, "width_mm": 15, "height_mm": 1.7,
    }  # fmt: skip
    assert signed_in(ines).post("/api/v1/parts", json=part).status_code == 201
    flat = {**part, "part_number": "P-2", "height_mm": None}
    signed_in(ines).post("/api/v1/parts", json=flat)
    page = signed_in(odile).get(f"{NEVER}?part_number=P-1").text
    assert "1.7 mm thick, 382.5 mm³ (length × width × height of part P-1)" in page
    assert f"{NEVER}/window.json?thickness_mm=1.7&amp;volume_mm3=382.5" in page
    refused = signed_in(odile).get(f"{NEVER}?part_number=P-2")
    assert "has no length, width and height" in refused.text


def test_a_built_in_window_is_taken_as_a_start_for_its_body(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    client = signed_in(ines)
    page = client.get(f"{NEVER}?thickness_mm=1.7&volume_mm3=382.5").text
    fields = read_fields(page, f"{NEVER}/copies")
    fields |= {"code": ["OWN-BODY"], "reason": ["Our copy says the same."]}
    answer = client.post(f"{NEVER}/copies", data=fields)
    assert answer.status_code == 303, re.findall(r"■[^<]*", answer.text)
    assert get_text(look(select(WindowVersion))[0]).classification_c == 250
    again = client.post(f"{NEVER}/copies", data=fields)
    assert (again.status_code, 'value="OWN-BODY"' in again.text) == (422, True)


def test_files_come_and_go(signed_in: SignedIn, ines: Person, look: Look, make: Make) -> None:
    client = signed_in(ines)
    exported = client.get(f"/windows/versions/{make()}/window.json")
    assert exported.headers["content-type"] == "application/json"
    fields = {"code": "IN", "reason": "From a file."}
    files = {"file": ("w.json", exported.content, "application/json")}
    answer = client.post("/windows/import", data=fields, files=files)
    assert answer.status_code == 303, re.findall(r"■[^<]*", answer.text)
    page = client.get(answer.headers["location"]).text
    assert "Begun from a file: w.json." in page
    versions = look(select(WindowVersion).order_by(WindowVersion.id))
    assert versions[0].body == versions[1].body
    taken = client.post("/windows/import", data=fields, files=files)
    assert (taken.status_code, 'id="e-code"' in taken.text) == (422, True)
    table = client.get(f"{NEVER}/window.csv?thickness_mm=1.7&volume_mm3=382.5")
    assert "confirm against your copy" in table.text


def test_a_file_with_something_wrong_names_row_field_and_limit(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    told = json.loads(spell_window_json(STATED))
    told["rows"][1]["upper"] = 9001
    files = {"file": ("w.json", json.dumps(told).encode(), "application/json")}
    answer = signed_in(ines).post("/windows/import", data={"code": ""}, files=files)
    page = unescape(answer.text)
    assert answer.status_code == 422
    assert "<code>rows.1.upper</code> must be at most 9000 s, not 9001" in page
    assert 'id="e-code"' in page
    assert look(select(PlantWindow)) == []
    nothing = signed_in(ines).post("/windows/import", data={"code": "A", "reason": "x"})
    assert 'id="e-file"' in nothing.text
    odd = {"file": ("w.json", b"\x00\xff", "application/json")}
    refused = signed_in(ines).post("/windows/import", data={"code": "A", "reason": "x"}, files=odd)
    assert "The file is no JSON" in refused.text


def test_a_window_goes_into_a_draft_of_ones_own_after_a_look_at_what_changes(
    signed_in: SignedIn, ines: Person, edda: Person, make: Make, make_recipe: MakeRecipe, look: Look
) -> None:
    client = signed_in(ines)
    path = f"/windows/versions/{make(RevisionState.PUBLISHED)}/put"
    assert "You have no draft of a recipe" in client.get(path).text
    draft = make_recipe()
    assert "LIM-U3" in client.get(path).text
    assert "LIM-U3" not in signed_in(edda).get(path).text
    shown = client.get(f"{path}?draft={draft}").text
    assert re.search(r'230 to 245 °C</td><td class="note changed">232 to 243 °C', shown)
    fields = read_fields(shown, path)
    answer = client.post(path, data=fields)
    assert answer.headers["location"].startswith(f"/recipes/revisions/{draft}?")
    page = client.get(answer.headers["location"]).text
    assert "Limits from window OWN-SAC, version 1" in page
    assert look(select(RecipeRevision.version)) == [2]
    stale = client.post(path, data=fields)
    assert stale.status_code == 422
    assert "Somebody changed this meanwhile" in stale.text
    told = client.get(path.removesuffix("/put")).text
    assert "put into a recipe" in told
    assert "recipe LIM-U3, revision 1" in told
    others = client.get(f"{path}?draft=999")
    assert (others.status_code, "is no draft of yours" in others.text) == (422, True)


def test_a_built_in_window_that_the_draft_cannot_measure_is_refused_by_row(
    signed_in: SignedIn, ines: Person, make_recipe: MakeRecipe
) -> None:
    draft = make_recipe()
    client = signed_in(ines)
    page = client.get(f"/windows/built-in/adjacent-bodies/put?draft={draft}")
    assert page.status_code == 422
    assert "<code>rows.0.roles</code> names “adjacent part”, which no thermocouple" in page.text
    fits = client.get(f"{NEVER}/put?thickness_mm=1.7&volume_mm3=382.5&draft={draft}").text
    assert read_fields(fits, f"{NEVER}/put")["temperatures"] == ["draft"]


def test_what_stands_for_a_part_is_shown_with_why_and_what_is_in_doubt(
    signed_in: SignedIn, ines: Person, odile: Person
) -> None:
    part = {
        "part_number": "P-1", "title": "Processor", "package_type": "BGA",
        "length_mm": 15, "width_mm": 15, "height_mm": 1.7,
    }  # fmt: skip
    signed_in(ines).post("/api/v1/parts", json=part)
    client = signed_in(odile)
    assert "Name a part of the materials" in client.get("/windows/standing").text
    asked = {"part_number": "P-1", "alloy": "Sn63Pb37"}
    page = unescape(client.get("/windows/standing", params=asked).text)
    assert "Never exceed: classification profile, tin-lead" in page
    assert "Part P-1 is 1.7 mm thick: the tin-lead profile, by the alloy of the joints." in page
    assert "at most 200 °C" in page
    assert "confirm against your copy" in page
    unknown = client.get("/windows/standing", params={**asked, "part_number": "NOWHERE"})
    assert (unknown.status_code, 'id="e-part_number"' in unknown.text) == (422, True)
    odd = client.get("/windows/standing", params={**asked, "alloy": "unheard of"}).text
    assert "no tabled solidus" in unescape(odd)
