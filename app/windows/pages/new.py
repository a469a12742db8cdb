"""A new window: begun from a built-in one, or brought in from a file."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, ConfigDict

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.refusals import Refusal, Unreadable
from app.core.request import Now, RequestSession
from app.core.text import Code, Line
from app.recipes.schemas import Reason
from app.web.forms import PostedForm, list_faults, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render
from app.windows import service
from app.windows.built_in import get_built_in, list_built_ins
from app.windows.files import parse_window_file, read_json
from app.windows.schemas import FILE_EXAMPLE, NewWindow

router = APIRouter()

Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]

USUAL_START: Final = "joints-sn96-5ag3-0cu0-5-sac305"

add_notices(
    {
        "window-created": "The window was created. This is its first draft.",
        "window-imported": "The file became a draft; nothing else was changed.",
    }
)


class BeginFields(BaseModel):
    """What a new window is called, why it is made, and the built-in one it begins from."""

    model_config = ConfigDict(extra="forbid")

    code: Code
    title: Line
    reason: Reason
    start: Line


class BringInFields(BaseModel):
    """What the window of a file is called here; its own name where no title is given."""

    model_config = ConfigDict(extra="forbid")

    code: Code
    title: Line | None = None
    reason: Reason


@dataclass(frozen=True)
class NewWindowPage:
    """All that new.html can see."""

    shell: Shell
    starts: tuple[tuple[str, str], ...]
    values: Mapping[str, str]
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class FaultLine:
    """One thing wrong with the file: the field inside it, and the sentence."""

    field: str
    sentence: str


@dataclass(frozen=True)
class ImportPage:
    """All that import.html can see."""

    shell: Shell
    example: str
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    file_faults: tuple[FaultLine, ...] = ()


@router.get("/windows/new")
def show_new_window(request: Request, person: Writer) -> HTMLResponse:
    """Show the short form that a new window starts with."""
    return _show_new(request, person, {"start": USUAL_START})


@router.post("/windows/new")
def create_window(
    request: Request, session: RequestSession, now: Now, person: Writer, form: PostedForm
) -> Response:
    """Create a window with its first draft, or show the form again with what was wrong."""
    try:
        fields = form.parse(BeginFields)
        version = service.start_from_built_in(
            session,
            get_built_in(fields.start),
            code=fields.code,
            title=fields.title,
            reason=fields.reason,
            person=person,
            now=now,
        )
    except Refusal as refusal:
        faults = map_faults(refusal)
        if "key" in faults:
            faults["start"] = faults.pop("key")
        return _show_new(request, person, form.texts, faults)
    return go_to(f"/windows/versions/{version.id}/edit", said="window-created")


@router.get("/windows/import")
def show_import(request: Request, person: Writer) -> HTMLResponse:
    """Show the form that takes a window's file."""
    return render("windows/import.html", _make_import(request, person))


@router.post("/windows/import")
def import_window(
    request: Request, session: RequestSession, now: Now, person: Writer, form: PostedForm
) -> Response:
    """Make a draft of a file, or show the form again with every row and field that is wrong."""
    faults: dict[str, str] = {}
    in_file: tuple[FaultLine, ...] = ()
    fields: BringInFields | None = None
    try:
        fields = form.parse(BringInFields)
    except Unreadable as refusal:
        faults = map_faults(refusal)
    try:
        name, content = form.get_file("file")
        read = parse_window_file(read_json(content))
        if fields is not None:
            new = NewWindow(
                code=fields.code,
                title=fields.title or read.name or fields.code,
                reason=fields.reason,
                text=read.text,
            )
            version = service.create_window(
                session, new, person=person, now=now, origin={"file": _show_name(name)}
            )
            return go_to(f"/windows/versions/{version.id}", said="window-imported")
    except Unreadable as refusal:
        in_file = tuple(FaultLine(one.field, one.sentence) for one in list_faults(refusal))
    except Refusal as refusal:
        faults |= map_faults(refusal)
    page = _make_import(request, person, form.texts, faults, in_file)
    return render("windows/import.html", page, status=422)


def _show_new(
    request: Request,
    person: Person,
    values: Mapping[str, str],
    faults: Mapping[str, str] | None = None,
) -> HTMLResponse:
    starts = tuple((one.key, one.name) for one in list_built_ins() if not one.needs_package)
    shell = make_shell(request, person, title="New window")
    page = NewWindowPage(shell, starts, values, faults or {})
    return render("windows/new.html", page, status=422 if faults else 200)


def _make_import(
    request: Request,
    person: Person,
    values: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    file_faults: tuple[FaultLine, ...] = (),
) -> ImportPage:
    return ImportPage(
        shell=make_shell(request, person, title="Bring in a window"),
        example=_spell_example(),
        values=values or {},
        faults=faults or {},
        file_faults=file_faults,
    )


def _spell_example() -> str:
    return json.dumps(FILE_EXAMPLE, ensure_ascii=False, indent=2)


def _show_name(name: str) -> str:
    return "".join(c if c.isprintable() else "_" for c in name)
