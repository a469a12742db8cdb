"""A citation does not stand beside a number that its source does not print."""

from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select, update

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.core.db import Sessions
from app.recipes.body.window import Metric
from app.windows.body import LineStatus, WindowLine, WindowText, spell_text
from app.windows.built_in import Package, get_built_in, list_sizes
from app.windows.citations import Copied, settle_citations
from app.windows.describe import spell_was
from app.windows.queries import get_text
from app.windows.tables import WindowVersion
from tests.conftest import Look, SignedIn
from tests.form_reader import read_fields
from tests.windows.conftest import TEXT, Make, spell_raw

JOINTS = get_built_in("joints-sn96-5ag3-0cu0-5-sac305")
COPIED = Copied("built-in joints, version 1", JOINTS.text)
RAMP = next(
    place for place, row in enumerate(JOINTS.text.rows) if row.metric is Metric.AVERAGE_RAMP_K_PER_S
)
CSV = "was at most 3 K/s in J-STD-020 rev D, Table 5-2"


def change(text: WindowText, place: int, **values: Any) -> WindowText:
    raw = spell_raw(text)
    raw["rows"][place] |= values
    return WindowText.model_validate(raw)


def settle(place: int, **values: Any) -> WindowLine:
    return settle_citations(change(JOINTS.text, place, **values), copied=COPIED).rows[place]


def test_a_copy_that_is_not_changed_keeps_every_source() -> None:
    assert settle_citations(JOINTS.text, copied=COPIED) == JOINTS.text


def test_a_changed_number_is_the_plants_own_and_says_what_it_was() -> None:
    row = settle(RAMP, upper=4.5)
    assert (row.status, row.document, row.clause, row.seen_in) == (LineStatus.OWN, "", "", "")
    assert row.was is not None
    assert (row.was.upper, row.was.status) == (3.0, LineStatus.SEEN)
    assert spell_was(row) == (
        "was at most 3 K/s in J-STD-020 rev D, Table 5-2 (public restatement of J-STD-020 rev D, "
        "Table 5-2) (seen; built-in joints, version 1)"
    )


@pytest.mark.parametrize(
    "claim",
    [
        {"status": "from_memory"},
        {"status": "plants_own"},
        {"document": "j-std-020  Rev. D"},
        {"clause": "Table 5-3"},
        {"seen_in": "our copy"},
        {"status": "from_memory", "document": "", "clause": "", "seen_in": ""},
    ],
)
def test_no_other_spelling_of_the_same_source_keeps_it(claim: dict[str, str]) -> None:
    row = settle(RAMP, upper=4.5, **claim)
    assert (row.status, row.document) == (LineStatus.OWN, "")
    assert row.was is not None


def test_common_practice_is_held_against_what_was_copied_alone() -> None:
    row = settle(0, upper=250)
    assert (row.status, row.document) == (LineStatus.OWN, "")
    assert spell_was(row).startswith("was 230 to 245 °C in common practice (from memory;")
    assert settle_citations(TEXT) == TEXT
    assert TEXT.rows[1].document == "common practice"


def test_another_source_that_is_stated_for_the_new_number_stands() -> None:
    row = settle(RAMP, upper=4.5, document="Maker's sheet 7", clause="4", seen_in="")
    assert (row.status, row.source, row.was) == (LineStatus.SEEN, "Maker's sheet 7, 4", None)
    own = settle(RAMP, upper=4.5, status="plants_own", document="Work instruction 12", clause="")
    assert own.source.startswith("Work instruction 12")
    assert spell_was(own).startswith(CSV)


def test_a_number_that_is_put_back_has_its_source_again() -> None:
    own = settle_citations(change(JOINTS.text, RAMP, upper=4.5), copied=COPIED)
    assert settle_citations(change(own, RAMP, upper=3), copied=COPIED, stored=own) == JOINTS.text


def test_what_it_was_goes_on_to_the_next_version_and_cannot_be_left_out() -> None:
    own = settle_citations(change(JOINTS.text, RAMP, upper=4.5), copied=COPIED)
    next_one = Copied("OWN, version 1", own)
    assert settle_citations(own, copied=next_one) == own
    without = change(own, RAMP, upper=5, was=None)
    row = settle_citations(without, copied=next_one).rows[RAMP]
    assert spell_was(row).startswith(CSV)
    assert "built-in joints, version 1" in spell_was(row)


def test_nobody_says_of_a_limit_what_it_never_was() -> None:
    forged = {"upper": 3, "status": "seen", "document": "A standard", "of": "built-in, version 1"}
    given = change(TEXT, 0, was=forged)
    assert given.rows[0].was is not None
    assert settle_citations(given, stored=TEXT).rows[0].was is None


def test_a_built_in_windows_document_is_not_cited_for_what_it_does_not_print() -> None:
    raw = spell_raw()
    raw["rows"] = [spell_raw(JOINTS.text)["rows"][RAMP] | {"upper": 4.5}]
    row = settle_citations(WindowText.model_validate(raw)).rows[0]
    assert row.status is LineStatus.OWN
    assert spell_was(row).startswith(CSV)


@pytest.mark.parametrize("key", ["classification-pb-free", "classification-snpb"])
def test_every_classification_profile_is_printed_as_it_is(key: str) -> None:
    for size in list_sizes(key):
        text = get_built_in(key, size).text
        assert settle_citations(text) == text


def test_the_profile_of_another_body_is_no_source_for_this_one() -> None:
    thick = get_built_in("classification-pb-free", Package(3.0, 400.0)).text
    row = settle_citations(change(thick, 0, upper=260), copied=Copied("it", thick)).rows[0]
    assert (row.status, row.document) == (LineStatus.OWN, "")


def test_a_text_without_changed_limits_is_stored_as_it_always_was() -> None:
    assert b'"was"' not in spell_text(TEXT)


def start_own(client: TestClient) -> dict[str, Any]:
    fields = {"code": "OWN", "reason": "Ours."}
    answer = client.post(f"/api/v1/built-in-windows/{JOINTS.key}/copies", json=fields)
    assert answer.status_code == 201, answer.text
    told: dict[str, Any] = answer.json()
    return told


def put(client: TestClient, told: dict[str, Any]) -> dict[str, Any]:
    fields = {name: told[name] for name in ("title", "reason", "text")}
    answer = client.put(
        f"/api/v1/window-versions/{told['id']}",
        json=fields,
        headers={"If-Match": f'"{told["version"]}"'},
    )
    assert answer.status_code == 200, answer.text
    saved: dict[str, Any] = answer.json()
    return saved


def test_json_cannot_keep_the_citation_either_and_names_the_origin(
    signed_in: SignedIn, ines: Person
) -> None:
    client = signed_in(ines)
    told = start_own(client)
    assert told["copied_from"] == {
        "key": JOINTS.key, "version": 1, "is_built_in": True, "digest": JOINTS.digest,
        "changes": [],
    }  # fmt: skip
    told["text"]["rows"][RAMP] |= {"upper": 4.5}
    saved = put(client, told)
    row = saved["text"]["rows"][RAMP]
    assert (row["status"], row["document"], row["was"]["upper"]) == ("plants_own", "", 3)
    assert row["was"]["of"] == f"built-in {JOINTS.key}, version 1"
    labels = [one["label"] for one in saved["copied_from"]["changes"]]
    assert "Average ramp, liquidus to peak (joint, centre; joint, corner)" in labels
    table = client.get(f"/api/v1/window-versions/{told['id']}/table").text
    assert CSV in table
    file = client.get(f"/api/v1/window-versions/{told['id']}/file").json()
    assert file["rows"][RAMP]["was"]["document"] == "J-STD-020 rev D"
    again = {"code": "AGAIN", "reason": "From a file.", "file": file}
    taken = client.post("/api/v1/window-imports", json=again).json()
    assert taken["text"]["rows"][RAMP]["was"] == row["was"]
    assert taken["copied_from"] is None


def test_the_form_says_what_the_limit_was_and_the_approver_sees_both_sides(
    signed_in: SignedIn, ines: Person, edda: Person, look: Look
) -> None:
    client = signed_in(ines)
    version_id = start_own(client)["id"]
    path = f"/windows/versions/{version_id}"
    fields = read_fields(client.get(f"{path}/edit").text, f"{path}/edit")
    fields[f"rows.{RAMP}.upper"] = ["4.5"]
    answer = client.post(f"{path}/edit", data={**fields, "do": "save"})
    assert answer.status_code == 303, answer.text
    assert "are the plant&#39;s own now" in client.get(answer.headers["location"]).text
    form = client.get(f"{path}/edit").text
    assert CSV.replace("was", "Was", 1) in form
    kept = read_fields(form, f"{path}/edit")
    assert client.post(f"{path}/edit", data={**kept, "do": "save"}).status_code == 303
    assert look(select(WindowVersion.version)) == [2]
    client.post(f"{path}/proposal")
    page = signed_in(edda).get(path).text
    assert "Beside what it was copied from" in page
    assert f"Built-in {JOINTS.key}, version 1" in page
    assert '<td class="note">at most 3 K/s</td><td class="note changed">at most 4.5 K/s' in page
    assert CSV in page


def test_a_new_source_in_the_form_takes_the_place_of_what_it_was(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    client = signed_in(ines)
    told = start_own(client)
    told["text"]["rows"][RAMP] |= {"upper": 4.5}
    put(client, told)
    path = f"/windows/versions/{told['id']}/edit"
    fields = read_fields(client.get(path).text, path)
    fields |= {f"rows.{RAMP}.status": ["seen"], f"rows.{RAMP}.document": ["Maker's sheet 7"]}
    answer = client.post(path, data={**fields, "do": "save"})
    assert answer.status_code == 303, answer.text
    row = get_text(look(select(WindowVersion))[0]).rows[RAMP]
    assert (row.status, row.source, row.was) == (LineStatus.SEEN, "Maker's sheet 7", None)


def test_a_draft_that_was_saved_with_a_wrong_citation_is_not_proposed(
    signed_in: SignedIn, ines: Person, make: Make, sessions: Sessions
) -> None:
    version_id = make()
    wrong = change(JOINTS.text, RAMP, upper=4.5)
    with sessions.engine.begin() as connection:
        connection.execute(update(WindowVersion).values(body=spell_text(wrong)))
    client = signed_in(ines)
    refused = client.post(f"/api/v1/window-versions/{version_id}/proposal")
    assert refused.status_code == 409
    assert refused.json()["code"] == "windows.citation_not_printed"
    assert CSV in refused.text


def test_a_version_copied_from_an_earlier_one_is_held_against_it(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    old_id = make(RevisionState.PUBLISHED)
    client = signed_in(ines)
    window_id = look(select(WindowVersion.window_id))[0]
    fields = {"copy_of": old_id, "reason": "Shorter."}
    told = client.post(f"/api/v1/windows/{window_id}/versions", json=fields).json()
    told["text"]["rows"][1]["lower"] = 50
    row = put(client, told)["text"]["rows"][1]
    assert (row["status"], row["was"]["lower"], row["was"]["of"]) == (
        "plants_own", 55, "OWN-SAC, version 1",
    )  # fmt: skip
    page = client.get(f"/windows/versions/{told['id']}").text
    assert f'<a href="/windows/versions/{old_id}">OWN-SAC, version 1</a>' in page
