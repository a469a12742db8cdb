"""Assemblies, layouts and boards through their services."""

import json
from collections.abc import Mapping
from datetime import datetime

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.boards import queries, service
from app.boards.files import PlacementChoices
from app.boards.rules import (
    AssemblyTaken,
    DraftClosed,
    FileKind,
    FileNotText,
    LayoutNotReady,
    PlacementUnknown,
    RevisionNotSaid,
    SerialsUnusable,
)
from app.boards.schemas.assemblies import AssemblyFields
from app.boards.tables import Assembly, LayoutDraft, Placement
from app.core.refusals import Unreadable
from app.files.tables import StoredFile
from app.materials import service as materials
from app.materials.rules import PackageType, PartUnknown
from app.materials.schemas import PartFields
from app.materials.tables import Part
from tests.boards.layout_files import ASSEMBLY, BILL, CORRECTED, PLACEMENT, PNG

BOTH = {FileKind.PLACEMENT: ("top.csv", PLACEMENT), FileKind.BILL: ("bill.csv", BILL)}


@pytest.fixture
def assembly(db: Session, ines: Person, now: datetime) -> Assembly:
    fields = AssemblyFields.model_validate(ASSEMBLY)
    return service.add_assembly(db, fields, person=ines, now=now)


def take(db: Session, draft: LayoutDraft, person: Person, now: datetime) -> Assembly:
    return service.take_layout(
        db, draft, leave_out_refused=False, new_revision=None, person=person, now=now
    )


@pytest.fixture
def laid_out(db: Session, assembly: Assembly, ines: Person, now: datetime) -> Assembly:
    draft = service.start_draft(db, assembly, BOTH, person=ines, now=now)
    return take(db, draft, ines, now)


def add_part(db: Session, number: str, person: Person, now: datetime) -> Part:
    fields = PartFields(
        part_number=number,
        title="Level processor",
        package_type=PackageType.BGA,
        length_mm=11,
        width_mm=11,
    )
    return materials.add_part(db, fields, person=person, now=now)


def read_last_details(db: Session) -> Mapping[str, object]:
    db.commit()
    body = db.scalars(select(AuditEntry.body).order_by(AuditEntry.seq.desc()).limit(1)).one()
    details: Mapping[str, object] = json.loads(body)["details"]
    return details


def test_a_taken_layout_has_what_both_files_name_and_the_log_tells_how_they_were_read(
    db: Session, laid_out: Assembly, now: datetime
) -> None:
    rows = {row.designator: row for row in queries.list_placements(db, laid_out.id)}
    assert list(rows) == ["C1", "R2", "U1", "U3"]
    assert (rows["C1"].x_mm, rows["C1"].y_mm, rows["C1"].rotation_deg) == (10.5, 20.25, 90)
    assert rows["C1"].part_number == "CHIP-1"
    assert rows["U3"].side is None
    assert rows["U3"].x_mm is None
    assert rows["U3"].part_number == "PLIQUA-C49"
    assert laid_out.layout_at == now
    details = read_last_details(db)
    assert details["not_placed"] == ["U3"]
    assert details["corrects"] is None
    assert json.loads(json.dumps(details["files"]))["placement"]["read_as"]["unit"] == "mm"


def test_part_numbers_of_the_bill_are_linked_at_taking_and_by_asking_later(
    db: Session, assembly: Assembly, ines: Person, now: datetime
) -> None:
    known = add_part(db, "VRYLO-B100", ines, now)
    draft = service.start_draft(db, assembly, BOTH, person=ines, now=now)
    take(db, draft, ines, now)
    u1 = queries.get_placement(db, assembly_id=assembly.id, designator="u1")
    u3 = queries.get_placement(db, assembly_id=assembly.id, designator="U3")
    assert (u1.part_id, u3.part_id) == (known.id, None)
    assert service.link_parts(db, assembly, person=ines, now=now) == 0
    later = add_part(db, "PLIQUA-C49", ines, now)
    assert service.link_parts(db, assembly, person=ines, now=now) == 1
    assert u3.part_id == later.id
    assert read_last_details(db)["linked"] == {"PLIQUA-C49": ["U3"]}


def test_a_designator_is_given_another_part_by_hand_and_the_bill_stays_beside_it(
    db: Session, laid_out: Assembly, ines: Person, now: datetime
) -> None:
    u3 = queries.get_placement(db, assembly_id=laid_out.id, designator="U3")
    with pytest.raises(PartUnknown):
        service.link_part(db, u3, "PLIQUA-X", person=ines, now=now)
    other = add_part(db, "PLIQUA-X", ines, now)
    service.link_part(db, u3, "PLIQUA-X", person=ines, now=now)
    assert (u3.part_id, u3.part_number) == (other.id, "PLIQUA-C49")
    assert read_last_details(db)["after"] == "PLIQUA-X"
    service.link_part(db, u3, None, person=ines, now=now)
    assert u3.part_id is None


def test_a_file_that_is_no_text_keeps_nothing_of_the_other_file_either(
    db: Session, assembly: Assembly, ines: Person, now: datetime
) -> None:
    files = {**BOTH, FileKind.BILL: ("photo.csv", PNG)}
    with pytest.raises(FileNotText) as refused:
        service.start_draft(db, assembly, files, person=ines, now=now)
    assert refused.value.field == "bill"
    db.commit()
    assert db.scalars(select(StoredFile)).all() == []
    assert db.scalars(select(LayoutDraft)).all() == []


def test_a_corrected_file_makes_a_new_revision_and_leaves_the_old_one_alone(
    db: Session, laid_out: Assembly, ines: Person, now: datetime
) -> None:
    corrected = {FileKind.PLACEMENT: ("corrected.csv", CORRECTED)}
    draft = service.start_draft(db, laid_out, corrected, person=ines, now=now)
    assert draft.bill_sha256 == laid_out.bill_sha256
    preview = queries.read_preview(db, draft)
    assert [(one.designator, str(one.kind), one.after) for one in preview.changes] == [
        ("C1", "turned", "180°"),
        ("C9", "added", "(5, 5) mm, top"),
        ("R2", "moved", "not placed"),
        ("R2", "value changed", "mixed"),
        ("R2", "package changed", ""),
        ("U1", "moved", "(31, 25) mm"),
    ]
    with pytest.raises(LayoutNotReady, match="line 5 of the placement") as refused:
        service.take_layout(
            db, draft, leave_out_refused=False, new_revision="B", person=ines, now=now
        )
    assert refused.value.field == "leave_out_refused"
    with pytest.raises(RevisionNotSaid):
        service.take_layout(
            db, draft, leave_out_refused=True, new_revision=None, person=ines, now=now
        )
    with pytest.raises(AssemblyTaken):
        service.take_layout(
            db, draft, leave_out_refused=True, new_revision="A", person=ines, now=now
        )
    before = [(row.designator, row.x_mm) for row in queries.list_placements(db, laid_out.id)]
    made = service.take_layout(
        db, draft, leave_out_refused=True, new_revision="B", person=ines, now=now
    )
    assert (made.part_number, made.revision, made.layers) == ("BRELNA-120", "B", 6)
    assert [row.designator for row in queries.list_placements(db, made.id)] == [
        "C1",
        "C9",
        "R2",
        "U1",
        "U3",
    ]
    after = [(row.designator, row.x_mm) for row in queries.list_placements(db, laid_out.id)]
    assert after == before
    details = read_last_details(db)
    assert details["left_out_count"] == 1
    assert details["left_out"] == [
        {"file": "placement", "line": 5, "reason": "y: “here” is no number"}
    ]
    assert details["corrects"] == {"assembly_id": laid_out.id, "revision": "A"}
    with pytest.raises(DraftClosed):
        take(db, draft, ines, now)


def test_the_same_files_again_change_nothing_and_cannot_be_taken(
    db: Session, laid_out: Assembly, ines: Person, now: datetime
) -> None:
    draft = service.start_draft(db, laid_out, BOTH, person=ines, now=now)
    assert queries.read_preview(db, draft).changes == ()
    with pytest.raises(LayoutNotReady, match="say the same"):
        service.take_layout(
            db, draft, leave_out_refused=False, new_revision="B", person=ines, now=now
        )


def test_a_choice_changes_how_the_file_is_read_and_is_kept(
    db: Session, assembly: Assembly, ines: Person, now: datetime
) -> None:
    files = {FileKind.PLACEMENT: ("top.csv", PLACEMENT)}
    draft = service.start_draft(db, assembly, files, person=ines, now=now)
    choices = PlacementChoices.model_validate({"unit": "mil", "columns": {"value": None}})
    service.choose_placement_reading(db, draft, choices, person=ines, now=now)
    take(db, draft, ines, now)
    c1 = queries.get_placement(db, assembly_id=assembly.id, designator="C1")
    # 10.5 mil at 0.0254 mm each.
    assert c1.x_mm == pytest.approx(0.2667, abs=1e-12)
    assert c1.value == ""


def test_a_new_revision_copies_the_layout_and_later_edits_stay_apart(
    db: Session, laid_out: Assembly, ines: Person, now: datetime
) -> None:
    copy = service.add_revision(db, laid_out, "B", person=ines, now=now)
    assert [row.designator for row in queries.list_placements(db, copy.id)] == [
        row.designator for row in queries.list_placements(db, laid_out.id)
    ]
    add_part(db, "VRYLO-B100", ines, now)
    service.link_parts(db, copy, person=ines, now=now)
    assert queries.get_placement(db, assembly_id=laid_out.id, designator="U1").part_id is None
    with pytest.raises(AssemblyTaken):
        service.add_revision(db, laid_out, "B", person=ines, now=now)


def test_boards_are_registered_all_or_none_each_with_its_own_entry(
    db: Session, assembly: Assembly, odile: Person, now: datetime
) -> None:
    boards = service.register_boards(db, assembly, ["0417", "0418"], person=odile, now=now)
    db.commit()
    with pytest.raises(SerialsUnusable, match="Line 2"):
        service.register_boards(db, assembly, ["0419", "0418"], person=odile, now=now)
    db.commit()
    assert queries.find_boards(db, "0419") == []
    assert queries.find_boards(db, " 0417 ") == [boards[0]]
    assert queries.find_boards(db, "\x00") == []
    numbers = db.scalars(
        select(AuditEntry.board_number).where(AuditEntry.action == "boards.register")
    ).all()
    assert numbers == [1, 1]


def test_a_serial_may_stand_on_two_assemblies_and_both_are_found(
    db: Session, assembly: Assembly, ines: Person, odile: Person, now: datetime
) -> None:
    other = service.add_revision(db, assembly, "B", person=ines, now=now)
    for one in (assembly, other):
        service.register_boards(db, one, ["0417"], person=odile, now=now)
    found = queries.find_boards(db, "0417")
    assert [board.assembly.revision for board in found] == ["B", "A"]


def test_a_site_is_made_once_also_for_a_part_that_only_the_bill_names(
    db: Session, laid_out: Assembly, odile: Person, now: datetime
) -> None:
    [board] = service.register_boards(db, laid_out, ["0417"], person=odile, now=now)
    site = service.get_or_create_site(db, board, "u3")
    assert service.get_or_create_site(db, board, "U3") is site
    assert [one.placement.designator for one in queries.list_sites(db, board.id)] == ["U3"]
    for absent in ("U9", "", "U 3", "\ud800"):
        with pytest.raises(PlacementUnknown):
            service.get_or_create_site(db, board, absent)


def test_a_long_value_of_a_file_fits_its_column(
    db: Session, assembly: Assembly, ines: Person, now: datetime
) -> None:
    value = "x" * 200
    content = PLACEMENT.replace(b"100nF", value.encode())
    files = {FileKind.PLACEMENT: ("top.csv", content)}
    draft = service.start_draft(db, assembly, files, person=ines, now=now)
    take(db, draft, ines, now)
    db.commit()
    assert db.scalars(select(Placement.value).where(Placement.designator == "C1")).one() == value


def test_a_refusal_of_serials_has_one_fault_a_line(
    db: Session, assembly: Assembly, odile: Person, now: datetime
) -> None:
    with pytest.raises(Unreadable) as refused:
        service.register_boards(db, assembly, ["1", "1", "1"], person=odile, now=now)
    assert [fault.field for fault in refused.value.faults] == ["serials.1", "serials.2"]
