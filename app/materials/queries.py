"""Reads parts."""

from collections.abc import Collection, Mapping, Sequence
from typing import Final

from sqlalchemy import Select, or_, select
from sqlalchemy.orm import Session

from app.materials.rules import PartUnknown
from app.materials.tables import Part

# SQLite takes at most 32,766 values in one statement; far fewer keep a statement short.
_NUMBERS_AT_ONCE: Final = 500


def get_part(session: Session, part_id: int) -> Part:
    """Return a part; PartUnknown if there is none."""
    part = session.get(Part, part_id)
    if part is None:
        raise PartUnknown(f"There is no part number {part_id}.", field="part_id")
    return part


def find_part(session: Session, part_number: str) -> Part | None:
    """Return the part with exactly this part number, or None."""
    return session.scalar(select(Part).where(Part.part_number == part_number))


def map_parts(session: Session, part_numbers: Collection[str]) -> Mapping[str, int]:
    """Return part number → id for those of the given numbers that are known."""
    wanted = sorted(number for number in set(part_numbers) if number)
    found: dict[str, int] = {}
    for start in range(0, len(wanted), _NUMBERS_AT_ONCE):
        some = wanted[start : start + _NUMBERS_AT_ONCE]
        rows = session.execute(
            select(Part.part_number, Part.id).where(Part.part_number.in_(some))
        ).all()
        found.update((number, part_id) for number, part_id in rows)
    return found


def select_parts(text: str = "") -> Select[Part]:
    """Return the select of parts whose number or title holds a text, for reading in pieces."""
    rows = select(Part)
    if not text:
        return rows
    return rows.where(
        or_(
            Part.part_number.icontains(text, autoescape=True),
            Part.title.icontains(text, autoescape=True),
        )
    )


def list_parts(
    session: Session, *, text: str = "", after: str = "", limit: int = 200
) -> Sequence[Part]:
    """Return parts by part number, those after the part number `after`, at most `limit`."""
    rows = select_parts(text).order_by(Part.part_number).limit(limit)
    return session.scalars(rows.where(Part.part_number > after) if after else rows).all()
