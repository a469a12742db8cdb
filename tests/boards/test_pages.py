"""The screens of assemblies, layouts and boards, without a browser."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.boards.tables import Assembly, Board, LayoutDraft, Placement
from app.files.tables import StoredFile
from app.materials.tables import Part
from tests.boards.layout_files import ASSEMBLY, BILL, CORRECTED, PLACEMENT, PNG
from tests.conftest import Look, SignedIn

FIELDS = {name: str(value) for name, value in ASSEMBLY.items()}
PART = {"part_number": "PLIQUA-C49", "title": "Clock", "package_type": "CSP"}


def add_assembly(client: TestClient) -> str:
    """Add the assembly over its form and return its address."""
    answer = client.post("/boards/assemblies/new", data=FIELDS)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].partition("?")[0]


def upload(client: TestClient, path: str, **files: bytes) -> str:
    """Upload files for a layout and return the draft's address."""
    sent = {kind: (f"{kind}.csv", content) for kind, content in files.items()}
    answer = client.post(f"{path}/layouts", files=sent)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].partition("?")[0]


@pytest.fixture
def client(signed_in: SignedIn, ines: Person) -> TestClient:
    return signed_in(ines)


@pytest.fixture
def laid_out(client: TestClient) -> str:
    path = add_assembly(client)
    draft = upload(client, path, placement=PLACEMENT, bill=BILL)
    assert client.post(f"{draft}/taking", data={"version": "1"}).status_code == 303
    return path


def test_the_start_says_how_to_begin_and_takes_a_scan(
    client: TestClient, signed_in: SignedIn, odile: Person
) -> None:
    page = client.get("/boards").text
    assert "data-scan-here" in page
    assert "No assembly yet" in page
    assert "Add an assembly" in page
    assert "Add an assembly" not in signed_in(odile).get("/boards").text


def test_an_upload_is_shown_as_read_and_taken_when_asked(client: TestClient, look: Look) -> None:
    path = add_assembly(client)
    draft = upload(client, path, placement=PLACEMENT, bill=BILL)
    page = client.get(draft).text
    assert "The bill names 1 designator that the placement lacks: U3." in page
    assert "as read: 4: PosX" in page
    assert "C_0402_1005Metric" in page
    assert "Bottom side as seen from below, 1 part." in page
    assert look(select(Placement)) == []
    assert "A layout is on its way in" in client.get(path).text
    answer = client.post(f"{draft}/taking", data={"version": "1"})
    assert answer.headers["location"].startswith(path)
    page = client.get(answer.headers["location"]).text
    assert "The layout was taken." in page
    assert "1 named by the bill and not placed" in page
    assert len(look(select(Placement))) == 4
    assert client.get(draft).status_code == 303


def test_a_picture_and_an_empty_upload_are_refused_beside_their_field(
    client: TestClient, look: Look
) -> None:
    path = add_assembly(client)
    for files, told in (
        ({"placement": ("top.csv", PNG)}, "it looks like a PNG picture"),
        ({"placement": ("top.csv", PLACEMENT), "bill": ("b.csv", b"")}, "The file is empty"),
        ({"placement": ("", b"")}, "Choose a placement file or a bill"),
    ):
        answer = client.post(f"{path}/layouts", files=files)
        assert answer.status_code == 422
        assert told in answer.text
    assert client.post(f"{path}/layouts").status_code == 422
    assert client.post(f"{path}/layouts", data={"placement": "text"}).status_code == 422
    assert look(select(StoredFile)) == []


def test_a_choice_is_previewed_again_and_a_wrong_one_keeps_what_was_chosen(
    client: TestClient, look: Look
) -> None:
    draft = upload(client, add_assembly(client), placement=PLACEMENT)
    form = {"version": "1", "unit": "inch", "columns.value": "none", "mirror_bottom_x": "yes"}
    assert client.post(f"{draft}/placement-choices", data=form).status_code == 303
    [row] = look(select(LayoutDraft))
    assert row.placement_choices == {
        "unit": "inch",
        "mirror_bottom_x": True,
        "columns": {"value": None},
    }
    page = client.get(draft).text
    assert '<option value="inch" selected>' in page
    assert '<option value="none" selected>leave it out</option>' in page
    wrong = {"version": "2", "columns.x": "3", "columns.y": "3"}
    answer = client.post(f"{draft}/placement-choices", data=wrong)
    assert answer.status_code == 422
    assert "Column 4 was chosen for x and for y." in answer.text
    for text in ("many", "-1", "9" * 40):
        form = {"version": "2", "columns.x": text, "header_line": text}
        assert client.post(f"{draft}/placement-choices", data=form).status_code == 422


def test_the_second_of_two_people_sees_both_choices(
    client: TestClient, signed_in: SignedIn, edda: Person, look: Look
) -> None:
    draft = upload(client, add_assembly(client), placement=PLACEMENT)
    assert client.post(
        f"{draft}/placement-choices", data={"version": "1", "unit": "inch"}
    ).is_redirect
    answer = signed_in(edda).post(
        f"{draft}/placement-choices", data={"version": "1", "unit": "mil"}
    )
    assert answer.status_code == 412
    assert '<td>mil</td><td class="changed">inch</td>' in answer.text
    assert look(select(LayoutDraft))[0].placement_choices["unit"] == "inch"
    stale = signed_in(edda).post(f"{draft}/taking", data={"version": "1"})
    assert stale.status_code == 412
    assert look(select(Placement)) == []


def test_a_bill_is_added_to_a_draft_that_has_none(client: TestClient) -> None:
    draft = upload(client, add_assembly(client), placement=PLACEMENT)
    assert "Add the bill" in client.get(draft).text
    answer = client.post(
        f"{draft}/files", data={"version": "1"}, files={"bill": ("bill.csv", BILL)}
    )
    assert answer.status_code == 303
    assert "Bill of materials: bill.csv" in client.get(draft).text
    answer = client.post(f"{draft}/files", data={"version": "2"}, files={"bill": ("b.csv", PNG)})
    assert answer.status_code == 422
    assert "Bill of materials: bill.csv" in answer.text


def test_a_corrected_file_shows_the_difference_and_becomes_a_new_revision(
    client: TestClient, laid_out: str, look: Look
) -> None:
    draft = upload(client, laid_out, placement=CORRECTED)
    page = client.get(draft).text
    assert "What changes against BRELNA-120 rev. A" in page
    assert "<td>turned</td><td>90°</td><td>180°</td>" in page
    assert 'name="new_revision" type="text" value="B"' in page
    refused = client.post(f"{draft}/taking", data={"version": "1", "new_revision": "B"})
    assert refused.status_code == 422
    assert "are to be left out" in refused.text
    assert len(look(select(Assembly))) == 1
    form = {"version": "1", "new_revision": "B", "leave_out_refused": "yes"}
    answer = client.post(f"{draft}/taking", data=form)
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "BRELNA-120 rev. B" in page
    assert f'<a href="{laid_out}">A</a>' in page


def test_a_draft_is_dropped_and_the_assembly_stays_as_it_was(
    client: TestClient, look: Look
) -> None:
    path = add_assembly(client)
    draft = upload(client, path, placement=PLACEMENT)
    assert client.post(f"{draft}/dropping", data={"version": "7"}).status_code == 412
    assert client.post(f"{draft}/dropping", data={"version": "1"}).status_code == 303
    assert look(select(LayoutDraft)) == []
    assert "No layout yet" in client.get(path).text


def test_a_site_is_marked_and_one_that_was_never_placed_is_told(
    client: TestClient, laid_out: str
) -> None:
    assert 'class="pl-site"' in client.get(f"{laid_out}?site=u1").text
    page = client.get(f"{laid_out}?site=U3").text
    assert 'class="pl-site"' not in page
    assert "named by the bill, not placed" in page
    assert "has no designator U77" in client.get(f"{laid_out}?site=U77").text
    page = client.get(f"{laid_out}?q=vrylo").text
    assert "1 of 4 designators" in page
    assert "No designator fits" in client.get(f"{laid_out}?q=nothing").text
    assert client.get(f"{laid_out}?site=%00").status_code == 422
    assert client.get(f"{laid_out}?boards=nonsense").status_code == 422


def test_parts_are_linked_by_number_and_by_hand(
    client: TestClient, laid_out: str, look: Look
) -> None:
    nothing = client.post(f"{laid_out}/part-links")
    assert "said=no-parts-linked" in nothing.headers["location"]
    client.post("/materials/parts/new", data=PART)
    assert "said=parts-linked" in client.post(f"{laid_out}/part-links").headers["location"]
    [part_id] = look(select(Part.id))
    assert look(select(Placement.part_id).where(Placement.designator == "U3")) == [part_id]
    [u1] = look(select(Placement.id).where(Placement.designator == "U1"))
    refused = client.post(f"/boards/placements/{u1}/part", data={"part_number": "NONE-1"})
    assert refused.status_code == 422
    assert "No part has the part number NONE-1" in refused.text
    linked = client.post(f"/boards/placements/{u1}/part", data={"part_number": "PLIQUA-C49"})
    assert linked.status_code == 303
    assert look(select(Placement.part_id).where(Placement.id == u1)) == [part_id]
    assert client.post(f"/boards/placements/{u1}/part", data={"part_number": ""}).is_redirect
    assert look(select(Placement.part_id).where(Placement.id == u1)) == [None]


def test_a_stale_edit_of_an_assembly_shows_both_versions(
    client: TestClient, signed_in: SignedIn, edda: Person, look: Look
) -> None:
    path = add_assembly(client)
    mine = {**FIELDS, "version": "1", "layers": "8"}
    assert client.post(f"{path}/edit", data=mine).status_code == 303
    answer = signed_in(edda).post(f"{path}/edit", data={**FIELDS, "version": "1", "layers": "4"})
    assert answer.status_code == 412
    assert '<td>4</td><td class="changed">8</td>' in answer.text
    assert look(select(Assembly.layers)) == [8]
    faulty = client.post(f"{path}/edit", data={**FIELDS, "version": "2", "layers": "many"})
    assert faulty.status_code == 422
    assert "Layers must be a whole number, not many" in faulty.text


def test_a_revision_is_copied_and_a_code_that_is_taken_is_refused(
    client: TestClient, laid_out: str, look: Look
) -> None:
    assert client.post(f"{laid_out}/revisions", data={"revision": "A"}).status_code == 422
    assert client.post(f"{laid_out}/revisions", data={"revision": ""}).status_code == 422
    answer = client.post(f"{laid_out}/revisions", data={"revision": "B"})
    assert answer.status_code == 303
    assert len(look(select(Placement))) == 8


def test_serials_are_scanned_line_by_line_and_wrong_lines_are_named(
    signed_in: SignedIn, odile: Person, client: TestClient, look: Look
) -> None:
    path = add_assembly(client)
    scanner = signed_in(odile)
    assert scanner.get(f"{path}/register").status_code == 200
    form = {"serials": "0417\r\n\r\n0418\r\n0417\r\n", "note": "first lot"}
    refused = scanner.post(f"{path}/register", data=form)
    assert refused.status_code == 422
    assert "Line 4: the serial “0417” stands on line 1 already." in refused.text
    assert "first lot" in refused.text
    assert look(select(Board)) == []
    form["serials"] = "0417\r\n0418\r\n"
    assert scanner.post(f"{path}/register", data=form).status_code == 303
    assert look(select(Board.serial).order_by(Board.id)) == ["0417", "0418"]
    page = scanner.get("/boards").text
    assert "first lot" in page
    many = "\n".join(str(number) for number in range(501))
    refused = scanner.post(f"{path}/register", data={"serials": many})
    assert refused.status_code == 422
    assert "at most 500 are registered at once" in refused.text


def test_a_stale_note_shows_both_versions(
    client: TestClient, signed_in: SignedIn, odile: Person, look: Look
) -> None:
    path = add_assembly(client)
    client.post(f"{path}/register", data={"serials": "0417"})
    [board_id] = look(select(Board.id))
    note = f"/boards/{board_id}/note"
    assert client.get(note).status_code == 200
    assert client.post(note, data={"version": "1", "note": "wet"}).status_code == 303
    answer = signed_in(odile).post(note, data={"version": "1", "note": "dry"})
    assert answer.status_code == 412
    assert '<td>dry</td><td class="changed">wet</td>' in answer.text
    assert look(select(Board.note)) == ["wet"]
    assert signed_in(odile).post(note, data={"version": "2", "note": "dry"}).is_redirect
    assert client.post(note, data={"version": "3", "note": "a\x00"}).status_code == 422


def test_pages_of_unknown_things_are_not_found(client: TestClient) -> None:
    for path in (
        "/boards/assemblies/9",
        "/boards/assemblies/9/edit",
        "/boards/assemblies/9/register",
        "/boards/assemblies/9/picture.svg",
        "/boards/layouts/9",
        "/boards/9/note",
        "/boards?after=9",
    ):
        assert client.get(path).status_code == 404


def test_an_operator_reads_a_draft_and_finds_no_form_in_it(
    client: TestClient, signed_in: SignedIn, odile: Person
) -> None:
    draft = upload(client, add_assembly(client), placement=PLACEMENT)
    page = signed_in(odile).get(draft).text
    assert "Take it" not in page
    assert signed_in(odile).post(f"{draft}/taking", data={"version": "1"}).status_code == 403
