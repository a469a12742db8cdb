"""Reads assemblies."""

from collections.abc import Collection, Mapping, Sequence

from sqlalchemy import Select, and_, func, or_, select
from sqlalchemy.orm import Session

from app.boards.rules import AssemblyUnknown
from app.boards.tables import Assembly, Board


def get_assembly(session: Session, assembly_id: int) -> Assembly:
    """Return an assembly; AssemblyUnknown if there is none."""
    assembly = session.get(Assembly, assembly_id)
    if assembly is None:
        raise AssemblyUnknown(f"There is no assembly number {assembly_id}.", field="assembly_id")
    return assembly


def find_assembly(session: Session, *, part_number: str, revision: str) -> Assembly | None:
    """Return the assembly of a part number and revision, or None."""
    return session.scalar(
        select(Assembly).where(Assembly.part_number == part_number, Assembly.revision == revision)
    )


def select_assemblies(text: str = "") -> Select[Assembly]:
    """Return the select of assemblies whose part number or title holds a text."""
    rows = select(Assembly)
    if not text:
        return rows
    return rows.where(
        or_(
            Assembly.part_number.icontains(text, autoescape=True),
            Assembly.title.icontains(text, autoescape=True),
        )
    )


def list_assemblies(
    session: Session, *, text: str = "", after: Assembly | None = None, limit: int = 200
) -> Sequence[Assembly]:
    """Return assemblies by part number and revision, those behind `after`, at most `limit`."""
    rows = select_assemblies(text)
    if after is not None:
        rows = rows.where(
            or_(
                Assembly.part_number > after.part_number,
                and_(Assembly.part_number == after.part_number, Assembly.revision > after.revision),
            )
        )
    return session.scalars(
        rows.order_by(Assembly.part_number, Assembly.revision).limit(limit)
    ).all()


def list_revisions(session: Session, part_number: str) -> Sequence[Assembly]:
    """Return all revisions of a part number, the first one first."""
    rows = select(Assembly).where(Assembly.part_number == part_number).order_by(Assembly.id)
    return session.scalars(rows).all()


def count_boards(session: Session, assembly_ids: Collection[int]) -> Mapping[int, int]:
    """Return assembly id → number of its boards; assemblies without boards are absent."""
    rows = session.execute(
        select(Board.assembly_id, func.count())
        .where(Board.assembly_id.in_(assembly_ids))
        .group_by(Board.assembly_id)
    ).all()
    return {row[0]: row[1] for row in rows}
