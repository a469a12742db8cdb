"""Changes parts."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.core.races import wait_for_names
from app.materials.queries import find_part
from app.materials.rules import PartNumberTaken
from app.materials.schemas import PartFields
from app.materials.tables import Part


def add_part(session: Session, fields: PartFields, *, person: Person, now: datetime) -> Part:
    """Add a part; PartNumberTaken when its part number is known already."""
    _check_number_free(session, fields.part_number, part_id=None)
    part = Part(**fields.model_dump(), created_at=now)
    session.add(part)
    session.flush()
    audit.append(
        session,
        action="materials.add_part",
        subject=Subject("part", part.id),
        actor=person.actor,
        now=now,
        details=fields.model_dump(mode="json"),
    )
    return part


def edit_part(
    session: Session, part: Part, fields: PartFields, *, person: Person, now: datetime
) -> Part:
    """Change what is said of a part; an edit that changes nothing is no edit."""
    _check_number_free(session, fields.part_number, part_id=part.id)
    before = PartFields.model_validate(part, from_attributes=True).model_dump(mode="json")
    after = fields.model_dump(mode="json")
    if before == after:
        return part
    for name, value in fields.model_dump().items():
        setattr(part, name, value)
    session.flush()
    audit.append(
        session,
        action="materials.edit_part",
        subject=Subject("part", part.id),
        actor=person.actor,
        now=now,
        details={
            "part_number": part.part_number,
            "before": {name: value for name, value in before.items() if value != after[name]},
            "after": {name: value for name, value in after.items() if value != before[name]},
        },
    )
    return part


def _check_number_free(session: Session, part_number: str, *, part_id: int | None) -> None:
    wait_for_names(session, "materials.part_number")
    other = find_part(session, part_number)
    if other is not None and other.id != part_id:
        raise PartNumberTaken(
            f"Another part has the part number {part_number} already.", field="part_number"
        )
