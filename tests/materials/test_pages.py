"""The screens of materials, without a browser."""

from sqlalchemy import select

from app.accounts.rules import Person
from app.materials.pages import PARTS_AT_ONCE
from app.materials.tables import Part
from tests.conftest import Look, SignedIn

PART = {
    "part_number": "VRYLO-B100",
    "title": "Level processor",
    "package_type": "BGA",
    "pitch_mm": "0.8",
    "reflow_cycles_allowed": "3",
}


def test_an_empty_list_says_how_to_begin_to_each_by_what_they_may(
    signed_in: SignedIn, ines: Person, odile: Person
) -> None:
    assert "Add a part" in signed_in(ines).get("/materials").text
    page = signed_in(odile).get("/materials").text
    assert "No part yet" in page
    assert "Add a part" not in page
    assert signed_in(odile).get("/materials/parts/new").status_code == 403


def test_an_engineer_adds_a_part_and_sees_it_in_the_list(signed_in: SignedIn, ines: Person) -> None:
    client = signed_in(ines)
    answer = client.post("/materials/parts/new", data=PART)
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "The part was added." in page
    assert 'value="0.8"' in page
    assert "VRYLO-B100" in client.get("/materials?q=level").text
    assert "No part's number or name holds" in client.get("/materials?q=other").text


def test_a_refused_form_keeps_what_was_typed_beside_what_was_wrong(
    signed_in: SignedIn, ines: Person, look: Look
) -> None:
    answer = signed_in(ines).post("/materials/parts/new", data={**PART, "pitch_mm": "0,8"})
    assert answer.status_code == 422
    assert 'value="0,8"' in answer.text
    assert "Pitch must be a number, not 0,8" in answer.text
    assert look(select(Part)) == []


def test_a_stale_edit_shows_both_versions_and_changes_nothing_until_it_is_sent_again(
    signed_in: SignedIn, ines: Person, edda: Person, look: Look
) -> None:
    path = signed_in(ines).post("/materials/parts/new", data=PART).headers["location"]
    path = path.partition("?")[0]
    first = {**PART, "version": "1", "title": "Processor of Edda"}
    assert signed_in(edda).post(path, data=first).status_code == 303
    second = {**PART, "version": "1", "title": "Processor of Ines"}
    answer = signed_in(ines).post(path, data=second)
    assert answer.status_code == 412
    assert "<td>Processor of Ines</td>" in answer.text
    assert '<td class="changed">Processor of Edda</td>' in answer.text
    assert 'name="version" value="2"' in answer.text
    assert look(select(Part.title)) == ["Processor of Edda"]
    assert signed_in(ines).post(path, data={**second, "version": "2"}).status_code == 303
    assert look(select(Part.title)) == ["Processor of Ines"]


def test_an_operator_sees_a_part_without_its_form(
    signed_in: SignedIn, ines: Person, odile: Person
) -> None:
    path = signed_in(ines).post("/materials/parts/new", data=PART).headers["location"]
    page = signed_in(odile).get(path.partition("?")[0]).text
    assert "<dt>Pitch, mm</dt>" in page
    assert "<button>Save</button>" not in page


def test_a_long_list_goes_on_behind_the_last_part_number(signed_in: SignedIn, ines: Person) -> None:
    client = signed_in(ines)
    for number in range(PARTS_AT_ONCE + 1):
        client.post("/materials/parts/new", data={**PART, "part_number": f"P-{number:03}"})
    page = client.get("/materials").text
    assert "P-049" in page
    assert "P-050" not in page
    rest = client.get("/materials", params={"after": "P-049"}).text
    assert "P-050" in rest
    assert "P-049<" not in rest
