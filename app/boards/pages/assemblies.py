"""The screens of one assembly: its facts, its layout, its boards; and of a new one."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Annotated, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import AfterValidator

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards import service
from app.boards.pages.assembly import AskedView, show_assembly_page
from app.boards.pages.lines import spell_assembly
from app.boards.queries import draw_side, get_assembly, get_placement_by_id, list_placements
from app.boards.rules import Side
from app.boards.schemas.assemblies import AssemblyFields, NewRevision, PartLink
from app.boards.tables import Assembly
from app.core.conditional import EditedMeanwhile, check_version
from app.core.numbers import spell_number
from app.core.refusals import Refusal
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.text import parse_line
from app.web.forms import PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render
from app.web.versions import VersionLine, compare_versions

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Editor = Annotated[Person, Depends(needs(Action.ASSEMBLIES_EDIT))]
Word = Annotated[str, Query(max_length=100), AfterValidator(parse_line)]
Cursor = Annotated[str | None, Query(max_length=60)]

LABELS: Final = {
    "part_number": "Part number",
    "revision": "Revision",
    "title": "What it is",
    "length_mm": "Length, mm",
    "width_mm": "Width, mm",
    "thickness_mm": "Thickness, mm",
    "layers": "Layers",
    "alloy": "Alloy of the joints",
    "finish": "Finish",
    "notes": "Notes",
}

add_notices(
    {
        "assembly-added": "The assembly was added. Import its layout next.",
        "assembly-changed": "The assembly was changed.",
        "revision-added": "The revision was added as a copy; the one before stays as it was.",
        "parts-linked": "The designators whose part numbers are known are linked to their parts.",
        "no-parts-linked": "No further part number of the bill is among the parts in Materials.",
        "part-linked": "The part at this designator was set.",
    }
)


@dataclass(frozen=True)
class AssemblyForm:
    """The fields of an assembly as the form holds them."""

    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class NewAssemblyPage:
    """All that assembly_new.html can see."""

    shell: Shell
    form: AssemblyForm


@dataclass(frozen=True)
class AssemblyEditPage:
    """All that assembly_edit.html can see."""

    shell: Shell
    href: str
    version: int
    form: AssemblyForm
    versions: tuple[VersionLine, ...] = ()


@router.get("/boards/assemblies/new")
def show_new_assembly(request: Request, person: Editor) -> HTMLResponse:
    """Show the empty form of an assembly."""
    return _show_new(request, person, AssemblyForm())


@router.post("/boards/assemblies/new")
def add_assembly(
    request: Request, session: RequestSession, now: Now, person: Editor, form: PostedForm
) -> Response:
    """Add an assembly, or show the form again with what was wrong."""
    try:
        fields = form.parse(AssemblyFields)
        assembly = service.add_assembly(session, fields, person=person, now=now)
    except Refusal as refusal:
        return _show_new(request, person, AssemblyForm(form.texts, map_faults(refusal)))
    return go_to(f"/boards/assemblies/{assembly.id}", said="assembly-added")


@router.get("/boards/assemblies/{assembly_id}")
def show_assembly(
    assembly_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Reader,
    site: Word = "",
    q: Word = "",
    after: Word = "",
    boards: Cursor = None,
) -> HTMLResponse:
    """Show an assembly with its layout; `site` is marked in the pictures."""
    assembly = get_assembly(session, assembly_id)
    view = AskedView(site=site, text=q, after=after, boards=boards)
    return show_assembly_page(request, session, settings, person, assembly, view)


@router.get("/boards/assemblies/{assembly_id}/picture.svg")
def show_picture(
    assembly_id: PathId,
    session: RequestSession,
    _: Reader,
    side: Side = Side.TOP,
    site: Word = "",
) -> Response:
    """Show one side of an assembly as a picture of its own."""
    assembly = get_assembly(session, assembly_id)
    marked = (site.upper(),) if site else ()
    picture = draw_side(assembly, list_placements(session, assembly.id), side=side, marked=marked)
    return Response(picture, media_type="image/svg+xml")


@router.get("/boards/assemblies/{assembly_id}/edit")
def show_edit(
    assembly_id: PathId, request: Request, session: RequestSession, person: Editor
) -> HTMLResponse:
    """Show the form of an assembly."""
    assembly = get_assembly(session, assembly_id)
    return _show_edit(request, person, assembly, AssemblyForm(_spell_values(assembly)))


@router.post("/boards/assemblies/{assembly_id}/edit")
def edit_assembly(
    assembly_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Editor,
    form: PostedForm,
) -> Response:
    """Change an assembly, or show what was wrong; a stale edit shows both versions."""
    assembly = get_assembly(session, assembly_id)
    try:
        check_version(form.text("version"), assembly.version)
        fields = form.parse(AssemblyFields)
        service.edit_assembly(session, assembly, fields, person=person, now=now)
    except EditedMeanwhile:
        return _show_edit(request, person, assembly, AssemblyForm(form.texts), is_stale=True)
    except Refusal as refusal:
        faulty = AssemblyForm(form.texts, map_faults(refusal))
        return _show_edit(request, person, assembly, faulty)
    return go_to(f"/boards/assemblies/{assembly.id}", said="assembly-changed")


@router.post("/boards/assemblies/{assembly_id}/revisions")
def add_revision(
    assembly_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Editor,
    form: PostedForm,
) -> Response:
    """Add a revision that begins as a copy, or show what was wrong."""
    assembly = get_assembly(session, assembly_id)
    try:
        code = form.parse(NewRevision).revision
        copy = service.add_revision(session, assembly, code, person=person, now=now)
    except Refusal as refusal:
        faults = {name or "revision": told for name, told in map_faults(refusal).items()}
        if "new_revision" in faults:
            faults["revision"] = faults.pop("new_revision")
        view = AskedView(values=form.texts, faults=faults)
        return show_assembly_page(request, session, settings, person, assembly, view)
    return go_to(f"/boards/assemblies/{copy.id}", said="revision-added")


@router.post("/boards/assemblies/{assembly_id}/part-links")
def link_parts(assembly_id: PathId, session: RequestSession, now: Now, person: Editor) -> Response:
    """Link every designator without a part to the part of its part number."""
    assembly = get_assembly(session, assembly_id)
    linked = service.link_parts(session, assembly, person=person, now=now)
    said = "parts-linked" if linked else "no-parts-linked"
    return go_to(f"/boards/assemblies/{assembly.id}", said=said)


@router.post("/boards/placements/{placement_id}/part")
def link_part(
    placement_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Editor,
    form: PostedForm,
) -> Response:
    """Say which part stands at a designator, or show what was wrong."""
    placement = get_placement_by_id(session, placement_id)
    try:
        link = form.parse(PartLink, part_number=form.text("part_number").strip() or None)
        service.link_part(session, placement, link.part_number, person=person, now=now)
    except Refusal as refusal:
        view = AskedView(site=placement.designator, values=form.texts, faults=map_faults(refusal))
        assembly = get_assembly(session, placement.assembly_id)
        return show_assembly_page(request, session, settings, person, assembly, view)
    path = f"/boards/assemblies/{placement.assembly_id}?site={quote(placement.designator)}"
    return go_to(path, said="part-linked")


def _show_new(request: Request, person: Person, form: AssemblyForm) -> HTMLResponse:
    page = NewAssemblyPage(make_shell(request, person, title="A new assembly"), form)
    return render("boards/assembly_new.html", page, status=422 if form.faults else 200)


def _show_edit(
    request: Request,
    person: Person,
    assembly: Assembly,
    form: AssemblyForm,
    *,
    is_stale: bool = False,
) -> HTMLResponse:
    stored = _spell_values(assembly)
    page = AssemblyEditPage(
        shell=make_shell(request, person, title=f"Edit {spell_assembly(assembly)}"),
        href=f"/boards/assemblies/{assembly.id}",
        version=assembly.version,
        form=form,
        versions=compare_versions(LABELS, yours=form.values, stored=stored) if is_stale else (),
    )
    status = HTTPStatus.OK
    if form.faults:
        status = HTTPStatus.UNPROCESSABLE_ENTITY
    if is_stale:
        status = HTTPStatus.PRECONDITION_FAILED
    return render("boards/assembly_edit.html", page, status=status)


def _spell_values(assembly: Assembly) -> dict[str, str]:
    return {
        "part_number": assembly.part_number,
        "revision": assembly.revision,
        "title": assembly.title,
        "length_mm": spell_number(assembly.length_mm),
        "width_mm": spell_number(assembly.width_mm),
        "thickness_mm": spell_number(assembly.thickness_mm),
        "layers": str(assembly.layers or ""),
        "alloy": assembly.alloy,
        "finish": assembly.finish,
        "notes": assembly.notes,
    }
