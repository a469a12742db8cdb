"""Takes a layout draft over: all of it, or nothing."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.boards.files import JoinedPart
from app.boards.queries import LayoutPreview, get_assembly, read_preview
from app.boards.rules import LayoutNotReady, RevisionNotSaid
from app.boards.service.assemblies import copy_facts
from app.boards.service.drafts import lock_open
from app.boards.tables import Assembly, LayoutDraft, Placement
from app.core.canonical_json import JsonValue
from app.materials.queries import map_parts

_NAMED_IN_TALE_MAX: Final = 200


def take_layout(
    session: Session,
    draft: LayoutDraft,
    *,
    leave_out_refused: bool,
    new_revision: str | None,
    person: Person,
    now: datetime,
) -> Assembly:
    """Write a draft's layout to its assembly, or to a new revision where it corrects a layout.

    Raises DraftClosed; LayoutNotReady while something stands in the way or refused lines are
    there and are not to be left out; RevisionNotSaid and AssemblyTaken about `new_revision`.
    """
    lock_open(session, draft)
    assembly = get_assembly(session, draft.assembly_id)
    preview = read_preview(session, draft)
    _check_takeable(preview, leave_out_refused=leave_out_refused)
    base = assembly
    if preview.corrects_layout:
        if not new_revision:
            raise RevisionNotSaid(
                f"{base.part_number} {base.revision} has its layout already, and it stays: say"
                " the revision that the corrected layout is for.",
                field="new_revision",
            )
        assembly = copy_facts(session, base, new_revision, now=now)
        session.add(assembly)
    assembly.layout_at = now
    assembly.placement_sha256 = draft.placement_sha256
    assembly.bill_sha256 = draft.bill_sha256
    session.flush()
    part_ids = map_parts(session, {part.part_number for part in preview.join.parts})
    session.add_all(_make_row(assembly.id, part, part_ids) for part in preview.join.parts)
    draft.taken_at = now
    session.flush()
    audit.append(
        session,
        action="boards.take_layout",
        subject=Subject("assembly", assembly.id),
        actor=person.actor,
        now=now,
        details={
            "part_number": assembly.part_number,
            "revision": assembly.revision,
            "corrects": (
                {"assembly_id": base.id, "revision": base.revision}
                if preview.corrects_layout
                else None
            ),
            "draft_id": draft.id,
            **_spell_preview(preview),
            "linked_to_parts": sum(p.part_number in part_ids for p in preview.join.parts),
        },
    )
    return assembly


def _check_takeable(preview: LayoutPreview, *, leave_out_refused: bool) -> None:
    if preview.hindrances:
        raise LayoutNotReady(" ".join(preview.hindrances))
    count = len(preview.refused)
    if count and not leave_out_refused:
        kind, first = preview.refused[0]
        lines = "1 line is" if count == 1 else f"{count:,} lines are"
        raise LayoutNotReady(
            f"{lines} refused, the first is line {first.line_number} of the {kind}:"
            f" {first.reason}. Correct the file, or say that they are to be left out.",
            field="leave_out_refused",
        )


def _make_row(assembly_id: int, part: JoinedPart, part_ids: Mapping[str, int]) -> Placement:
    place = part.placement
    return Placement(
        assembly_id=assembly_id,
        designator=part.designator,
        part_id=part_ids.get(part.part_number),
        part_number=part.part_number,
        value=part.value,
        package=part.package,
        x_mm=float(place.x_mm) if place else None,
        y_mm=float(place.y_mm) if place else None,
        rotation_deg=float(place.rotation_deg) if place else None,
        side=place.side if place else None,
    )


def _spell_preview(preview: LayoutPreview) -> dict[str, JsonValue]:
    refused = preview.refused
    files: dict[str, JsonValue] = {}
    for kind, file in (("placement", preview.placement), ("bill", preview.bill)):
        if file is not None and file.reading is not None:
            files[kind] = {
                "name": file.name,
                "sha256": file.sha256,
                "read_as": file.reading.choices.model_dump(mode="json"),
            }
    return {
        "files": files,
        "designators": len(preview.join.parts),
        "not_placed": list(preview.join.not_placed[:_NAMED_IN_TALE_MAX]),
        "not_placed_count": len(preview.join.not_placed),
        "changes": len(preview.changes),
        "left_out": [
            {"file": kind, "line": line.line_number, "reason": line.reason}
            for kind, line in refused[:_NAMED_IN_TALE_MAX]
        ],
        "left_out_count": len(refused),
    }
