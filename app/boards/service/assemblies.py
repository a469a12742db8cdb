"""Changes assemblies."""

from datetime import datetime
from typing import Final

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.boards.queries import find_assembly, list_placements
from app.boards.rules import AssemblyTaken
from app.boards.schemas.assemblies import AssemblyFields
from app.boards.tables import Assembly, Placement
from app.core.canonical_json import JsonValue
from app.core.races import wait_for_names

_FACTS: Final = tuple(name for name in AssemblyFields.model_fields if name != "revision")
_COPIED: Final = (
    "designator",
    "part_id",
    "part_number",
    "value",
    "package",
    "x_mm",
    "y_mm",
    "rotation_deg",
    "side",
)


def add_assembly(
    session: Session, fields: AssemblyFields, *, person: Person, now: datetime
) -> Assembly:
    """Add an assembly without a layout; AssemblyTaken when the revision exists."""
    check_revision_free(session, fields.part_number, fields.revision, field="revision")
    assembly = Assembly(**_spell_columns(fields), created_at=now)
    session.add(assembly)
    session.flush()
    audit.append(
        session,
        action="boards.add_assembly",
        subject=Subject("assembly", assembly.id),
        actor=person.actor,
        now=now,
        details=fields.model_dump(mode="json"),
    )
    return assembly


def edit_assembly(
    session: Session,
    assembly: Assembly,
    fields: AssemblyFields,
    *,
    person: Person,
    now: datetime,
) -> Assembly:
    """Change what is said of an assembly; its layout stays. An edit without change is no edit."""
    check_revision_free(
        session, fields.part_number, fields.revision, field="revision", but_id=assembly.id
    )
    after = _spell_columns(fields)
    before = {name: getattr(assembly, name) for name in after}
    if before == after:
        return assembly
    for name, value in after.items():
        setattr(assembly, name, value)
    session.flush()
    audit.append(
        session,
        action="boards.edit_assembly",
        subject=Subject("assembly", assembly.id),
        actor=person.actor,
        now=now,
        details={
            "part_number": assembly.part_number,
            "revision": assembly.revision,
            "before": {name: value for name, value in before.items() if value != after[name]},
            "after": {name: value for name, value in after.items() if value != before[name]},
        },
    )
    return assembly


def add_revision(
    session: Session, assembly: Assembly, revision: str, *, person: Person, now: datetime
) -> Assembly:
    """Add a revision that begins as a copy of another one, its layout included."""
    copy = copy_facts(session, assembly, revision, now=now)
    copy.layout_at = now if assembly.layout_at is not None else None
    copy.placement_sha256 = assembly.placement_sha256
    copy.bill_sha256 = assembly.bill_sha256
    session.add(copy)
    session.flush()
    placements = list_placements(session, assembly.id)
    session.add_all(
        Placement(assembly_id=copy.id, **{name: getattr(row, name) for name in _COPIED})
        for row in placements
    )
    session.flush()
    audit.append(
        session,
        action="boards.add_revision",
        subject=Subject("assembly", copy.id),
        actor=person.actor,
        now=now,
        details={
            "part_number": copy.part_number,
            "revision": copy.revision,
            "copied_from": {"assembly_id": assembly.id, "revision": assembly.revision},
            "placements": len(placements),
        },
    )
    return copy


def copy_facts(session: Session, assembly: Assembly, revision: str, *, now: datetime) -> Assembly:
    """Return a new assembly with another one's facts and no layout, not yet in the session.

    AssemblyTaken when the part number has the revision already.
    """
    check_revision_free(session, assembly.part_number, revision, field="new_revision")
    facts = {name: getattr(assembly, name) for name in _FACTS}
    return Assembly(**facts, revision=revision, created_at=now)


def check_revision_free(
    session: Session, part_number: str, revision: str, *, field: str, but_id: int | None = None
) -> None:
    """Refuse with AssemblyTaken when another assembly has this part number and revision."""
    wait_for_names(session, "boards.assembly_revision")
    other = find_assembly(session, part_number=part_number, revision=revision)
    if other is not None and other.id != but_id:
        raise AssemblyTaken(
            f"{part_number} has a revision {revision} already; choose another code.", field=field
        )


def _spell_columns(fields: AssemblyFields) -> dict[str, JsonValue]:
    return {**fields.model_dump(), "alloy": fields.alloy or "", "finish": fields.finish or ""}
