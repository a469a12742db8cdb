"""The page of a built-in window: its rows, the body it goes by, its files, and a start from it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Path, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, ConfigDict, ValidationError
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.faults import faults_of
from app.core.numbers import spell_number
from app.core.refusals import Fault, Refusal
from app.core.request import Now, RequestSession
from app.core.text import Code, Line
from app.materials.queries import find_part, list_parts
from app.recipes.body.fields import FROM_FORM, Number
from app.recipes.schemas import Reason
from app.recipes.windows.classification import SOURCES, TABLES
from app.web.forms import PostedForm, map_faults
from app.web.shell import Shell, go_to
from app.web.templates import render
from app.windows import service
from app.windows.built_in import (
    PROCESSES,
    BuiltIn,
    Package,
    get_built_in,
    get_built_in_line,
)
from app.windows.downloads import answer_csv, answer_json, state_built_in
from app.windows.pages.words import TextWords, spell_text
from app.windows.rules import PackageNotStated
from app.windows.standing import read_part
from app.windows.views import spell_cell

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]
Key = Annotated[str, Path(max_length=80)]
Asked = Annotated[str, Query(max_length=80)]

PARTS_SUGGESTED: Final = 200


class SizeFields(BaseModel):
    """Thickness in mm and volume in mm³ as they are typed."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    thickness_mm: Number
    volume_mm3: Number


class OwnFields(BaseModel):
    """What the own window that begins here is called."""

    model_config = ConfigDict(extra="forbid")

    code: Code
    title: Line
    reason: Reason


@dataclass(frozen=True)
class AskedSize:
    """A package as an address asks for it."""

    thickness_mm: str = ""
    volume_mm3: str = ""
    part_number: str = ""

    @property
    def is_given(self) -> bool:
        """Whether anything was asked at all."""
        return bool(self.thickness_mm or self.volume_mm3 or self.part_number)


@dataclass(frozen=True)
class Classified:
    """How a body was classified, spelt."""

    value: str
    package: str
    cells: tuple[str, ...]
    is_edge_decided: bool
    source: str
    note: str


@dataclass(frozen=True)
class BuiltInPage:
    """All that built_in.html can see; `text` is None until the body is stated."""

    shell: Shell
    href: str
    key: str
    version: int
    name: str
    cautions: tuple[str, ...]
    needs_package: bool
    asked: AskedSize
    faults: Mapping[str, str]
    table: tuple[str, ...]
    table_source: str
    parts: tuple[str, ...]
    classified: Classified | None
    text: TextWords | None
    digest: str
    query: str
    size: Mapping[str, str]
    can_write: bool
    values: Mapping[str, str] = field(default_factory=dict)
    own_faults: Mapping[str, str] = field(default_factory=dict)


def find_size(
    thickness_mm: Asked = "", volume_mm3: Asked = "", part_number: Asked = ""
) -> AskedSize:
    """Return what an address asks for, not read yet."""
    return AskedSize(thickness_mm.strip(), volume_mm3.strip(), part_number.strip())


Size = Annotated[AskedSize, Depends(find_size)]


def read_package(session: Session, size: AskedSize) -> Package | None:
    """Return the package that is asked for, of a part or of two numbers; None where none is.

    PackageNotStated with one fault a field.
    """
    if size.part_number:
        part = find_part(session, size.part_number)
        if part is None:
            raise _refuse("part_number", "is no part of the materials")
        package = read_part(part).package
        if package is None:
            raise _refuse("part_number", "has no length, width and height in the materials")
        return package
    if not size.is_given:
        return None
    typed = {"thickness_mm": size.thickness_mm, "volume_mm3": size.volume_mm3}
    try:
        read = SizeFields.model_validate(
            {name: text for name, text in typed.items() if text}, context=dict(FROM_FORM)
        )
    except ValidationError as error:
        raise PackageNotStated(faults_of(error)) from None
    return Package(read.thickness_mm, read.volume_mm3)


def get_asked(session: Session, key: str, size: AskedSize) -> BuiltIn:
    """Return the built-in window of an address, for its package where it goes by one."""
    needs_package = get_built_in_line(key).needs_package
    return get_built_in(key, read_package(session, size) if needs_package else None)


def spell_query(found: BuiltIn) -> str:
    """Spell what an address adds for the package; empty for a window that needs none."""
    size = list_size(found)
    return f"?{urlencode(size)}" if size else ""


def list_size(found: BuiltIn) -> dict[str, str]:
    """Return the fields that state the package of a window; empty where it needs none."""
    if found.package is None:
        return {}
    return {
        "thickness_mm": spell_number(found.package.thickness_mm),
        "volume_mm3": spell_number(found.package.volume_mm3),
    }


@router.get("/windows/built-in/{key}")
def show_built_in(
    key: Key, request: Request, session: RequestSession, person: Reader, size: Size
) -> HTMLResponse:
    """Show a built-in window; a classification profile asks for the body first."""
    return _show(request, session, person, key, size)


@router.get("/windows/built-in/{key}/window.json")
def download_json(key: Key, session: RequestSession, _: Reader, size: Size) -> Response:
    """Download it as the file that the import and `wickbook analyse` read."""
    return answer_json(state_built_in(get_asked(session, key, size)))


@router.get("/windows/built-in/{key}/window.csv")
def download_csv(key: Key, session: RequestSession, _: Reader, size: Size) -> Response:
    """Download it as a table for people."""
    return answer_csv(state_built_in(get_asked(session, key, size)))


@router.post("/windows/built-in/{key}/copies")
def start_own(
    key: Key, request: Request, session: RequestSession, now: Now, person: Writer, form: PostedForm
) -> Response:
    """Start a window of the plant's own from it, or show it again with what was wrong."""
    size = AskedSize(form.text("thickness_mm")[:80], form.text("volume_mm3")[:80])
    found = get_asked(session, key, size)
    try:
        fields = form.parse(OwnFields)
        version = service.start_from_built_in(
            session,
            found,
            code=fields.code,
            title=fields.title,
            reason=fields.reason,
            person=person,
            now=now,
        )
    except Refusal as refusal:
        faults = map_faults(refusal)
        return _show(request, session, person, key, size, values=form.texts, own_faults=faults)
    return go_to(f"/windows/versions/{version.id}/edit", said="window-created")


def _show(
    request: Request,
    session: Session,
    person: Person,
    key: str,
    size: AskedSize,
    *,
    values: Mapping[str, str] | None = None,
    own_faults: Mapping[str, str] | None = None,
) -> HTMLResponse:
    line = get_built_in_line(key)
    found, faults = None, {}
    if size.is_given or not line.needs_package:
        try:
            found = get_asked(session, key, size)
        except Refusal as refusal:
            faults = map_faults(refusal)
    process = PROCESSES.get(key)
    page = BuiltInPage(
        shell=make_shell(request, person, title=line.name),
        href=f"/windows/built-in/{key}",
        key=key,
        version=line.version,
        name=line.name,
        cautions=line.cautions,
        needs_package=line.needs_package,
        asked=size,
        faults=faults,
        table=() if process is None else tuple(map(spell_cell, TABLES[process])),
        table_source="" if process is None else SOURCES[process].words,
        parts=_suggest_parts(session) if line.needs_package else (),
        classified=None if found is None else _spell_classified(found),
        text=None if found is None else spell_text(found.text),
        digest="" if found is None else found.digest,
        query="" if found is None else spell_query(found),
        size={} if found is None else list_size(found),
        can_write=person.may(Action.RECIPES_WRITE),
        values=values or {},
        own_faults=own_faults or {},
    )
    return render("windows/built_in.html", page, status=422 if faults or own_faults else 200)


def _suggest_parts(session: Session) -> tuple[str, ...]:
    return tuple(
        part.part_number
        for part in list_parts(session, limit=PARTS_SUGGESTED)
        if read_part(part).package is not None
    )


def _spell_classified(found: BuiltIn) -> Classified | None:
    if found.found is None or found.package is None:
        return None
    size = f"{spell_number(found.package.thickness_mm)} mm thick, "
    size += f"{spell_number(found.package.volume_mm3)} mm³"
    if found.package.of:
        size += f" (length × width × height of {found.package.of})"
    return Classified(
        value=f"{spell_number(found.found.value_c)} °C",
        package=size,
        cells=tuple(map(spell_cell, found.found.cells)),
        is_edge_decided=found.found.is_edge_decided,
        source=found.found.source.words,
        note=found.found.note,
    )


def _refuse(name: str, sentence: str) -> PackageNotStated:
    return PackageNotStated((Fault(name, sentence),))
