"""Reads the designators of an assembly."""

from collections.abc import Sequence

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, joinedload

from app.boards.rules import (
    DesignatorUnusable,
    PlacementUnknown,
    parse_designator,
    sort_key_of_designator,
    spell_cut,
)
from app.boards.tables import Placement


def get_placement(session: Session, *, assembly_id: int, designator: str) -> Placement:
    """Return a designator of an assembly with its part; PlacementUnknown if it has none such."""
    placement = find_placement(session, assembly_id=assembly_id, designator=designator)
    if placement is None:
        raise PlacementUnknown(
            f"This assembly has no designator {spell_cut(designator)}.", field="designator"
        )
    return placement


def find_placement(session: Session, *, assembly_id: int, designator: str) -> Placement | None:
    """Return a designator of an assembly with its part, or None."""
    try:
        spelt = parse_designator(designator)
    except DesignatorUnusable:
        return None
    return session.scalar(
        select(Placement)
        .where(Placement.assembly_id == assembly_id, Placement.designator == spelt)
        .options(joinedload(Placement.part))
    )


def get_placement_by_id(session: Session, placement_id: int) -> Placement:
    """Return a designator by its row's number; PlacementUnknown if there is none."""
    placement = session.get(Placement, placement_id, options=[joinedload(Placement.part)])
    if placement is None:
        raise PlacementUnknown(
            f"There is no designator with the number {placement_id}.", field="placement_id"
        )
    return placement


def list_placements(session: Session, assembly_id: int) -> Sequence[Placement]:
    """Return all designators of an assembly with their parts, C2 before C10."""
    rows = session.scalars(select_placements(assembly_id).options(joinedload(Placement.part))).all()
    return sorted(rows, key=lambda row: sort_key_of_designator(row.designator))


def select_placements(assembly_id: int) -> Select[Placement]:
    """Return the select of an assembly's designators, for reading in pieces."""
    return select(Placement).where(Placement.assembly_id == assembly_id)
