"""A layout on its way in as its screen shows it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Final

from fastapi import Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.accounts.access import make_shell
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards.figures import draw_placement_svg
from app.boards.files import LayoutJoin, guess_body_mm
from app.boards.pages.lines import Picture, make_picture, spell_assembly
from app.boards.pages.readings import FileSheet, list_choices, make_bill_sheet, make_placement_sheet
from app.boards.queries import get_assembly, list_revisions, read_preview
from app.boards.rules import Side, suggest_next_revision
from app.boards.tables import Assembly, LayoutDraft
from app.web.shell import Shell
from app.web.templates import render
from app.web.versions import VersionLine, compare_versions

CHANGES_SHOWN: Final = 200


@dataclass(frozen=True)
class ChangeLine:
    """One difference from the stored layout."""

    designator: str
    kind: str
    before: str
    after: str


@dataclass(frozen=True)
class NameList:
    """All designators that one file names and the other lacks."""

    title: str
    designators: tuple[str, ...]


@dataclass(frozen=True)
class PreviewPage:
    """All that layout_draft.html can see."""

    shell: Shell
    href: str
    assembly: str
    assembly_href: str
    version: int
    can_edit: bool
    counts: str
    hindrances: tuple[str, ...]
    findings: tuple[str, ...]
    names: tuple[NameList, ...]
    refused_count: int
    corrects: str
    changes: tuple[ChangeLine, ...]
    changes_more: int
    next_revision: str
    pictures: tuple[Picture, ...]
    sheets: tuple[FileSheet, ...]
    absent: tuple[str, ...]
    versions: tuple[VersionLine, ...]
    faults: Mapping[str, str]
    taking: Mapping[str, str] = field(default_factory=dict)


def show_preview_page(
    request: Request,
    session: Session,
    person: Person,
    draft: LayoutDraft,
    *,
    faults: Mapping[str, str] | None = None,
    chosen: Mapping[str, Mapping[str, str]] | None = None,
    taking: Mapping[str, str] | None = None,
    is_stale: bool = False,
) -> HTMLResponse:
    """Render a draft's preview; `chosen` is what a refused form of choices held, by file."""
    assembly = get_assembly(session, draft.assembly_id)
    preview = read_preview(session, draft)
    typed = chosen or {}
    sheets = []
    if preview.placement is not None:
        sheets.append(make_placement_sheet(draft, preview.placement, typed.get("placement")))
    if preview.bill is not None:
        sheets.append(make_bill_sheet(draft, preview.bill, typed.get("bill")))
    page = PreviewPage(
        shell=make_shell(request, person, title=f"Layout for {spell_assembly(assembly)}"),
        href=f"/boards/layouts/{draft.id}",
        assembly=spell_assembly(assembly),
        assembly_href=f"/boards/assemblies/{assembly.id}",
        version=draft.version,
        can_edit=person.may(Action.ASSEMBLIES_EDIT),
        counts=_spell_counts(preview.join),
        hindrances=preview.hindrances,
        findings=preview.join.findings,
        names=tuple(
            NameList(f"{title} ({len(names):,})", names)
            for title, names in (
                ("Named by the bill, not placed", preview.join.not_placed),
                ("Placed, not named by the bill", preview.join.not_billed),
            )
            if names
        ),
        refused_count=len(preview.refused),
        corrects=spell_assembly(assembly) if preview.corrects_layout else "",
        changes=tuple(
            ChangeLine(one.designator, str(one.kind), one.before, one.after)
            for one in preview.changes[:CHANGES_SHOWN]
        ),
        changes_more=max(0, len(preview.changes) - CHANGES_SHOWN),
        next_revision=suggest_next_revision(
            assembly.revision,
            taken={row.revision for row in list_revisions(session, assembly.part_number)},
        ),
        pictures=_draw(assembly, preview.join),
        sheets=tuple(sheets),
        absent=tuple(
            kind
            for kind, file in (("placement", preview.placement), ("bill", preview.bill))
            if file is None
        ),
        versions=_compare(draft, typed) if is_stale else (),
        faults={} if is_stale and typed else faults or {},
        taking=taking or {},
    )
    status = HTTPStatus.OK
    if faults:
        status = HTTPStatus.UNPROCESSABLE_ENTITY
    if is_stale:
        status = HTTPStatus.PRECONDITION_FAILED
    return render("boards/layout_draft.html", page, status=status)


def _compare(draft: LayoutDraft, typed: Mapping[str, Mapping[str, str]]) -> tuple[VersionLine, ...]:
    lines: list[VersionLine] = []
    for kind, yours in typed.items():
        stored = draft.placement_choices if kind == "placement" else draft.bill_choices
        labels = {name: f"{kind}: {label}" for name, label in list_choices(kind).items()}
        columns = {
            f"columns.{name}": "none" if index is None else str(index)
            for name, index in stored.get("columns", {}).items()
        }
        now_stored = {name: _spell_choice(value) for name, value in stored.items()} | columns
        lines += compare_versions(labels, yours=yours, stored=now_stored)
    return tuple(lines)


def _spell_choice(value: object) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _spell_counts(join: LayoutJoin) -> str:
    places = [part.placement for part in join.parts]
    top = sum(place is not None and place.side is Side.TOP for place in places)
    bottom = sum(place is not None and place.side is Side.BOTTOM for place in places)
    billed = sum(place is None for place in places)
    told = f"{len(places):,} designators: {top:,} on top, {bottom:,} on the bottom side"
    return told + (f", {billed:,} named by the bill and not placed" if billed else "")


def _draw(assembly: Assembly, join: LayoutJoin) -> tuple[Picture, ...]:
    lines = [part.placement for part in join.parts if part.placement is not None]
    sizes = {}
    for part in join.parts:
        size = guess_body_mm(part.package)
        if size is not None:
            sizes[part.designator] = size
    outline_mm = None
    if assembly.length_mm is not None and assembly.width_mm is not None:
        outline_mm = (assembly.length_mm, assembly.width_mm)
    return tuple(
        make_picture(
            side,
            draw_placement_svg(lines, side=side, outline_mm=outline_mm, sizes=sizes),
            is_empty=not any(line.side is side for line in lines),
        )
        for side in Side
    )
