"""The screens of materials: the list of parts, and one part."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import AfterValidator

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.conditional import EditedMeanwhile, check_version
from app.core.numbers import spell_number
from app.core.refusals import Refusal
from app.core.request import Now, PathId, RequestSession
from app.core.text import parse_line
from app.materials import service
from app.materials.queries import get_part, list_parts
from app.materials.rules import REFLOW_CYCLES_USUAL, MoistureLevel, PackageType
from app.materials.schemas import PartFields
from app.materials.tables import Part
from app.web.forms import PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render
from app.web.versions import VersionLine, compare_versions

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Editor = Annotated[Person, Depends(needs(Action.PARTS_EDIT))]
SearchText = Annotated[str, Query(max_length=100), AfterValidator(parse_line)]

PARTS_AT_ONCE: Final = 50
LABELS: Final = {
    "part_number": "Part number",
    "title": "What it is",
    "package_type": "Package",
    "length_mm": "Body length, mm",
    "width_mm": "Body width, mm",
    "height_mm": "Body height, mm",
    "pitch_mm": "Pitch, mm",
    "ball_alloy": "Ball alloy",
    "moisture_level": "Moisture level",
    "classification_c": "Classification temperature, °C",
    "max_body_c": "Maximum body temperature, °C",
    "reflow_cycles_allowed": "Reflow cycles allowed",
    "notes": "Notes",
}

add_notices(
    {
        "part-added": "The part was added.",
        "part-changed": "The part was changed.",
    }
)


@dataclass(frozen=True)
class PartLine:
    """One part in the list."""

    href: str
    part_number: str
    title: str
    package: str
    body_mm: str
    moisture_level: str
    classification_c: str
    max_body_c: str
    cycles: str


@dataclass(frozen=True)
class PartsPage:
    """All that parts.html can see."""

    shell: Shell
    lines: tuple[PartLine, ...]
    text: str
    more: str
    can_edit: bool


@dataclass(frozen=True)
class PartForm:
    """The fields of a part as the form holds them."""

    values: Mapping[str, str]
    faults: Mapping[str, str] = field(default_factory=dict)
    package_types: tuple[tuple[str, str], ...] = tuple((str(t), str(t)) for t in PackageType)
    moisture_levels: tuple[tuple[str, str], ...] = tuple((str(m), str(m)) for m in MoistureLevel)


@dataclass(frozen=True)
class NewPartPage:
    """All that part_new.html can see."""

    shell: Shell
    form: PartForm


@dataclass(frozen=True)
class PartPage:
    """All that part.html can see."""

    shell: Shell
    href: str
    version: int
    can_edit: bool
    facts: tuple[tuple[str, str], ...]
    form: PartForm
    versions: tuple[VersionLine, ...] = ()


@router.get("/materials")
def show_parts(
    request: Request,
    session: RequestSession,
    person: Reader,
    q: SearchText = "",
    after: SearchText = "",
) -> HTMLResponse:
    """Show the parts by part number, all or those that hold a text."""
    found = list_parts(session, text=q, after=after, limit=PARTS_AT_ONCE + 1)
    shown = found[:PARTS_AT_ONCE]
    more = ""
    if len(found) > len(shown):
        more = "/materials?" + urlencode({"q": q, "after": shown[-1].part_number})
    page = PartsPage(
        shell=make_shell(request, person, title="Materials"),
        lines=tuple(_spell_line(part) for part in shown),
        text=q,
        more=more,
        can_edit=person.may(Action.PARTS_EDIT),
    )
    return render("materials/parts.html", page)


@router.get("/materials/parts/new")
def show_new_part(request: Request, person: Editor) -> HTMLResponse:
    """Show the empty form of a part."""
    usual = {"reflow_cycles_allowed": str(REFLOW_CYCLES_USUAL)}
    return _show_new(request, person, PartForm(values=usual))


@router.post("/materials/parts/new")
def add_part(
    request: Request, session: RequestSession, now: Now, person: Editor, form: PostedForm
) -> Response:
    """Add a part, or show the form again with what was wrong."""
    try:
        part = service.add_part(session, form.parse(PartFields), person=person, now=now)
    except Refusal as refusal:
        return _show_new(request, person, PartForm(form.texts, map_faults(refusal)))
    return go_to(f"/materials/parts/{part.id}", said="part-added")


@router.get("/materials/parts/{part_id}")
def show_part(
    part_id: PathId, request: Request, session: RequestSession, person: Reader
) -> HTMLResponse:
    """Show one part and, to an engineer, its form."""
    part = get_part(session, part_id)
    return _show_part(request, person, part, PartForm(values=_spell_values(part)))


@router.post("/materials/parts/{part_id}")
def edit_part(
    part_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Editor,
    form: PostedForm,
) -> Response:
    """Change a part, or show what was wrong; a stale edit shows both versions."""
    part = get_part(session, part_id)
    try:
        check_version(form.text("version"), part.version)
        service.edit_part(session, part, form.parse(PartFields), person=person, now=now)
    except EditedMeanwhile:
        return _show_part(request, person, part, PartForm(form.texts), is_stale=True)
    except Refusal as refusal:
        return _show_part(request, person, part, PartForm(form.texts, map_faults(refusal)))
    return go_to(f"/materials/parts/{part.id}", said="part-changed")


def _show_new(request: Request, person: Person, form: PartForm) -> HTMLResponse:
    page = NewPartPage(make_shell(request, person, title="A new part"), form)
    return render("materials/part_new.html", page, status=422 if form.faults else 200)


def _show_part(
    request: Request, person: Person, part: Part, form: PartForm, *, is_stale: bool = False
) -> HTMLResponse:
    stored = _spell_values(part)
    page = PartPage(
        shell=make_shell(request, person, title=f"Part {part.part_number}"),
        href=f"/materials/parts/{part.id}",
        version=part.version,
        can_edit=person.may(Action.PARTS_EDIT),
        facts=tuple((label, stored[name]) for name, label in LABELS.items()),
        form=form,
        versions=compare_versions(LABELS, yours=form.values, stored=stored) if is_stale else (),
    )
    status = HTTPStatus.OK
    if form.faults:
        status = HTTPStatus.UNPROCESSABLE_ENTITY
    if is_stale:
        status = HTTPStatus.PRECONDITION_FAILED
    return render("materials/part.html", page, status=status)


def _spell_line(part: Part) -> PartLine:
    body = [spell_number(size) for size in (part.length_mm, part.width_mm, part.height_mm)]
    return PartLine(
        href=f"/materials/parts/{part.id}",
        part_number=part.part_number,
        title=part.title,
        package=str(part.package_type),
        body_mm=" × ".join(size or "?" for size in body) if any(body) else "",
        moisture_level=str(part.moisture_level or ""),
        classification_c=spell_number(part.classification_c),
        max_body_c=spell_number(part.max_body_c),
        cycles=str(part.reflow_cycles_allowed),
    )


def _spell_values(part: Part) -> dict[str, str]:
    return {
        "part_number": part.part_number,
        "title": part.title,
        "package_type": str(part.package_type),
        "length_mm": spell_number(part.length_mm),
        "width_mm": spell_number(part.width_mm),
        "height_mm": spell_number(part.height_mm),
        "pitch_mm": spell_number(part.pitch_mm),
        "ball_alloy": part.ball_alloy or "",
        "moisture_level": str(part.moisture_level or ""),
        "classification_c": spell_number(part.classification_c),
        "max_body_c": spell_number(part.max_body_c),
        "reflow_cycles_allowed": str(part.reflow_cycles_allowed),
        "notes": part.notes,
    }
