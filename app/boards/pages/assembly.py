"""One assembly as its screen shows it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.accounts.access import make_shell
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards.pages.lines import (
    BoardLine,
    Picture,
    make_picture,
    spell_assembly,
    spell_board,
    spell_size,
)
from app.boards.queries import (
    draw_side,
    find_body_mm,
    list_open_drafts,
    list_placements,
    list_revisions,
    select_boards,
)
from app.boards.rules import Side, sort_key_of_designator, suggest_next_revision
from app.boards.tables import Assembly, Board, Placement
from app.core.clock import spell_minute
from app.core.numbers import spell_number
from app.core.paging import Paging, take_piece
from app.core.settings import Settings
from app.web.shell import Shell
from app.web.templates import render

PLACEMENTS_AT_ONCE: Final = 50
BOARDS_AT_ONCE: Final = 20


@dataclass(frozen=True)
class AskedView:
    """What of an assembly was asked for, and what a refused form held."""

    site: str = ""
    text: str = ""
    after: str = ""
    boards: str | None = None
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class PlacementRow:
    """One designator in the table."""

    href: str
    designator: str
    part_number: str
    part_href: str
    value: str
    package: str
    side: str
    x_mm: str
    y_mm: str
    rotation_deg: str
    is_marked: bool


@dataclass(frozen=True)
class SiteBox:
    """The marked designator by itself."""

    designator: str
    href: str
    is_placed: bool
    billed_as: str
    part_number: str
    part_href: str
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Way:
    """A line that leads on: another revision, an open draft."""

    href: str
    label: str


@dataclass(frozen=True)
class AssemblyPage:
    """All that assembly.html can see."""

    shell: Shell
    href: str
    can_edit: bool
    can_register: bool
    facts: tuple[tuple[str, str], ...]
    revisions: tuple[Way, ...]
    drafts: tuple[Way, ...]
    next_revision: str
    has_layout: bool
    pictures: tuple[Picture, ...]
    counts: str
    site: str
    box: SiteBox | None
    text: str
    rows: tuple[PlacementRow, ...]
    found: str
    more_rows: str
    waiting: int
    boards: tuple[BoardLine, ...]
    older_boards: str
    values: Mapping[str, str]
    faults: Mapping[str, str]


def show_assembly_page(
    request: Request,
    session: Session,
    settings: Settings,
    person: Person,
    assembly: Assembly,
    view: AskedView,
) -> HTMLResponse:
    """Render an assembly's screen; with faults as the answer to a refused form."""
    href = f"/boards/assemblies/{assembly.id}"
    placements = list_placements(session, assembly.id)
    site = view.site.upper()
    marked = next((row for row in placements if row.designator == site), None)
    matching = [row for row in placements if _matches(row, view.text)]
    behind = [row for row in matching if _is_behind(row, view.after)]
    shown = behind[:PLACEMENTS_AT_ONCE]
    boards, cursor = take_piece(
        session,
        select_boards(assembly_id=assembly.id),
        key=Board.id,
        paging=Paging(cursor=view.boards, limit=BOARDS_AT_ONCE),
        newest_first=True,
    )
    revisions = list_revisions(session, assembly.part_number)
    page = AssemblyPage(
        shell=make_shell(request, person, title=spell_assembly(assembly)),
        href=href,
        can_edit=person.may(Action.ASSEMBLIES_EDIT),
        can_register=person.may(Action.BOARDS_REGISTER),
        facts=_spell_facts(assembly, settings),
        revisions=tuple(
            Way(f"/boards/assemblies/{other.id}", other.revision)
            for other in revisions
            if other.id != assembly.id
        ),
        drafts=tuple(
            Way(
                f"/boards/layouts/{draft.id}",
                f"{draft.placement_name or draft.bill_name},"
                f" {spell_minute(draft.at, settings.zone)}",
            )
            for draft in list_open_drafts(session, assembly.id)
        ),
        next_revision=suggest_next_revision(
            assembly.revision, taken={other.revision for other in revisions}
        ),
        has_layout=assembly.layout_at is not None,
        pictures=_draw(assembly, placements, site=site),
        counts=_spell_counts(placements),
        site=site,
        box=_make_box(marked) if marked else None,
        text=view.text,
        rows=tuple(_spell_row(href, row, site=site) for row in shown),
        found=f"{len(matching):,} of {len(placements):,}" if view.text else f"{len(placements):,}",
        more_rows=(
            f"{href}?" + urlencode({"q": view.text, "after": shown[-1].designator}) + "#designators"
            if len(behind) > len(shown)
            else ""
        ),
        waiting=sum(row.part_id is None and bool(row.part_number) for row in placements),
        boards=tuple(spell_board(row, settings.zone) for row in boards),
        older_boards=f"{href}?" + urlencode({"boards": cursor}) + "#boards" if cursor else "",
        values=view.values,
        faults=view.faults,
    )
    return render("boards/assembly.html", page, status=422 if view.faults else 200)


def _spell_facts(assembly: Assembly, settings: Settings) -> tuple[tuple[str, str], ...]:
    layout = "none yet"
    if assembly.layout_at is not None:
        layout = f"taken {spell_minute(assembly.layout_at, settings.zone)}"
    size = spell_size([assembly.length_mm, assembly.width_mm, assembly.thickness_mm])
    return (
        ("What it is", assembly.title),
        ("Size, mm", size),
        ("Layers", str(assembly.layers or "")),
        ("Alloy of the joints", assembly.alloy),
        ("Finish", assembly.finish),
        ("Layout", layout),
        ("Notes", assembly.notes),
    )


def _spell_counts(placements: Sequence[Placement]) -> str:
    top = sum(row.side is Side.TOP for row in placements)
    bottom = sum(row.side is Side.BOTTOM for row in placements)
    billed = sum(row.side is None for row in placements)
    told = f"{len(placements):,} designators: {top:,} on top, {bottom:,} on the bottom side"
    return told + (f", {billed:,} named by the bill and not placed" if billed else "")


def _draw(assembly: Assembly, placements: Sequence[Placement], *, site: str) -> tuple[Picture, ...]:
    pictures = []
    for side in Side:
        is_empty = not any(row.side is side for row in placements)
        svg = draw_side(assembly, placements, side=side, marked=(site,) if site else ())
        pictures.append(make_picture(side, svg, is_empty=is_empty))
    return tuple(pictures)


def _matches(row: Placement, text: str) -> bool:
    words = [row.designator, row.value, row.package, row.part_number]
    if row.part is not None:
        words.append(row.part.part_number)
    return any(text.casefold() in word.casefold() for word in words)


def _is_behind(row: Placement, after: str) -> bool:
    return not after or sort_key_of_designator(row.designator) > sort_key_of_designator(after)


def _spell_row(href: str, row: Placement, *, site: str) -> PlacementRow:
    return PlacementRow(
        href=f"{href}?" + urlencode({"site": row.designator}) + "#layout",
        designator=row.designator,
        part_number=row.part.part_number if row.part else row.part_number,
        part_href=f"/materials/parts/{row.part_id}" if row.part_id else "",
        value=row.value,
        package=row.package,
        side=str(row.side or ""),
        x_mm=spell_number(row.x_mm),
        y_mm=spell_number(row.y_mm),
        rotation_deg=spell_number(row.rotation_deg),
        is_marked=row.designator == site,
    )


def _make_box(row: Placement) -> SiteBox:
    body = find_body_mm(row)
    facts = [
        ("Value", row.value),
        ("Package", row.package),
        ("Body, mm", spell_size(body) if body else ""),
    ]
    if row.side is not None:
        place = f"{spell_number(row.x_mm)}, {spell_number(row.y_mm)}"
        facts += [
            ("Side", str(row.side)),
            ("Centre x, y, mm", place),
            ("Rotation, °", spell_number(row.rotation_deg)),
        ]
    return SiteBox(
        designator=row.designator,
        href=f"/boards/placements/{row.id}/part",
        is_placed=row.side is not None,
        billed_as=row.part_number,
        part_number=row.part.part_number if row.part else "",
        part_href=f"/materials/parts/{row.part_id}" if row.part_id else "",
        facts=tuple(facts),
    )
