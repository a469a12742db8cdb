"""What several screens of boards show alike."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from markupsafe import Markup

from app.boards.rules import Side
from app.boards.tables import Assembly, Board
from app.core.clock import spell_minute
from app.core.numbers import spell_number
from app.core.refusals import Refusal, Unreadable
from app.web.forms import map_faults

_FAULTS_SHOWN: Final = 12


@dataclass(frozen=True)
class BoardLine:
    """One board in a list."""

    href: str
    serial: str
    assembly: str
    assembly_href: str
    registered: str
    shape: str
    word: str
    note: str


@dataclass(frozen=True)
class Picture:
    """One side of a layout; `svg` is empty where nothing is placed on it."""

    side: str
    svg: Markup


def spell_board(board: Board, zone: ZoneInfo) -> BoardLine:
    """Spell a board, which comes with its assembly, for a list."""
    return BoardLine(
        href=f"/boards/{board.id}/history",
        serial=board.serial,
        assembly=spell_assembly(board.assembly),
        assembly_href=f"/boards/assemblies/{board.assembly_id}",
        registered=spell_minute(board.registered_at, zone),
        shape="stop" if board.scrapped_at else "go",
        word="scrapped" if board.scrapped_at else "in use",
        note=board.note,
    )


def spell_assembly(assembly: Assembly) -> str:
    """Spell an assembly by part number and revision."""
    return f"{assembly.part_number} rev. {assembly.revision}"


def spell_size(sizes: Sequence[float | None]) -> str:
    """Spell sizes in mm, `120 × 80 × 1.6`; a question mark for each that is not known."""
    if not any(sizes):
        return ""
    return " × ".join(spell_number(size) or "?" for size in sizes)


def make_picture(side: Side, svg: str, *, is_empty: bool) -> Picture:
    """Return a side's picture for a page.

    The SVG is of figures.py, which escapes every text from outside.
    """
    return Picture(str(side), Markup("" if is_empty else svg))  # noqa: S704


def map_faults_beside(refusal: Refusal, field: str) -> Mapping[str, str]:
    """Return field → sentence as map_faults, the faults of a field's entries joined beside it."""
    if not isinstance(refusal, Unreadable):
        return map_faults(refusal)
    entries = [f.sentence for f in refusal.faults if f.field.startswith(f"{field}.")]
    more = len(entries) - _FAULTS_SHOWN
    told = " ".join(entries[:_FAULTS_SHOWN]) + (f" And {more} more lines." if more > 0 else "")
    others = {f.field: f.sentence for f in refusal.faults if not f.field.startswith(f"{field}.")}
    return {**others, **({field: told} if entries else {})}
