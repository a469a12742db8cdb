"""Links designators to the parts that stand there."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.boards.queries import list_placements
from app.boards.tables import Assembly, Placement
from app.materials.queries import find_part, get_part, map_parts
from app.materials.rules import PartUnknown


def link_parts(session: Session, assembly: Assembly, *, person: Person, now: datetime) -> int:
    """Link every designator without a part to the part of its part number; return how many."""
    waiting = [
        row
        for row in list_placements(session, assembly.id)
        if row.part_id is None and row.part_number
    ]
    part_ids = map_parts(session, {row.part_number for row in waiting})
    linked = [row for row in waiting if row.part_number in part_ids]
    for row in linked:
        row.part_id = part_ids[row.part_number]
    if linked:
        session.flush()
        audit.append(
            session,
            action="boards.link_parts",
            subject=Subject("assembly", assembly.id),
            actor=person.actor,
            now=now,
            details={
                "part_number": assembly.part_number,
                "revision": assembly.revision,
                "linked": {
                    number: [row.designator for row in linked if row.part_number == number]
                    for number in sorted({row.part_number for row in linked})
                },
            },
        )
    return len(linked)


def link_part(
    session: Session,
    placement: Placement,
    part_number: str | None,
    *,
    person: Person,
    now: datetime,
) -> Placement:
    """Say which part stands at a designator, or with None that no known part does.

    What the bill wrote stays beside it. PartUnknown when no part has the number.
    """
    part = None
    if part_number is not None:
        part = find_part(session, part_number)
        if part is None:
            raise PartUnknown(
                f"No part has the part number {part_number}; add it under Materials first.",
                field="part_number",
            )
    part_id = part.id if part is not None else None
    if placement.part_id == part_id:
        return placement
    before = get_part(session, placement.part_id).part_number if placement.part_id else None
    placement.part_id, placement.part = part_id, part
    session.flush()
    audit.append(
        session,
        action="boards.link_part",
        subject=Subject("placement", placement.id),
        actor=person.actor,
        now=now,
        details={
            "assembly_id": placement.assembly_id,
            "designator": placement.designator,
            "before": before,
            "after": part_number,
        },
    )
    return placement
