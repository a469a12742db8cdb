"""The form of a draft: save it, and what to do when somebody else saved first."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, ConfigDict

from app.accounts.access import CSRF_FIELD, make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.conditional import EditedMeanwhile
from app.core.refusals import Fault, Refusal, Unreadable
from app.core.request import Now, PathId, RequestSession
from app.core.text import Line
from app.recipes.form_fields import ALLOY_NAMES
from app.recipes.schemas import Reason
from app.recipes.side_by_side import PairRow, PairSection
from app.web.forms import Form, PostedForm, list_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render
from app.windows import service
from app.windows.body import WindowText
from app.windows.citations import list_settled
from app.windows.describe import compare_texts
from app.windows.form import WindowSheet, arrange, lay_out, read_form, spell_fields
from app.windows.queries import get_text, get_version
from app.windows.rules import VERSIONS
from app.windows.schemas import TextFields
from app.windows.tables import WindowVersion

router = APIRouter()

Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]

# Fields of the page that are no part of the text.
_OF_THE_PAGE: Final = frozenset({CSRF_FIELD, "version", "do", "title", "reason"})

add_notices(
    {
        "window-saved": "The draft was saved.",
        "window-settled": "The draft was saved. Limits whose number is not that of the source they "
        "named are the plant's own now, and say what they were.",
    }
)


class HeadFields(BaseModel):
    """What a draft says beside its text."""

    model_config = ConfigDict(extra="forbid")

    title: Line
    reason: Reason


@dataclass(frozen=True)
class Typed:
    """A draft as it was typed: nothing in it is checked yet."""

    title: str
    reason: str
    fields: Mapping[str, str]


@dataclass(frozen=True)
class EditPage:
    """All that edit.html can see."""

    shell: Shell
    href: str
    back_href: str
    version: str
    title: str
    reason: str
    head_faults: Mapping[str, str]
    sheet: WindowSheet
    alloys: tuple[str, ...]
    refused: str


@dataclass(frozen=True)
class ConflictPage:
    """All that conflict.html can see."""

    shell: Shell
    href: str
    version: int
    typed: Typed
    head: tuple[PairRow, ...]
    sections: tuple[PairSection, ...]
    changed: int


@router.get("/windows/versions/{version_id}/edit")
def show_edit(
    version_id: PathId, request: Request, session: RequestSession, person: Writer
) -> HTMLResponse:
    """Show the form of a draft."""
    version = get_version(session, version_id)
    VERSIONS.check_editable(version.state)
    typed = Typed(version.title, version.reason, spell_fields(get_text(version)))
    return _show_form(request, person, version, typed, seen=str(version.version))


@router.post("/windows/versions/{version_id}/edit")
def save(
    version_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Writer,
    form: PostedForm,
) -> Response:
    """Save a draft; show the form again with what was wrong, or both versions."""
    version = get_version(session, version_id)
    typed, seen = _read(form), form.text("version")[:20]
    if form.text("do") == "edit":
        return _show_form(request, person, version, typed, seen=seen)
    try:
        fields = _parse(typed)
        service.save_draft(session, version, fields, seen_version=seen, person=person, now=now)
    except EditedMeanwhile:
        return _show_conflict(request, person, version, typed, fields)
    except Refusal as refusal:
        return _show_form(request, person, version, typed, seen=seen, refusal=refusal)
    is_settled = bool(list_settled(fields.text, get_text(version)))
    said = "window-settled" if is_settled else "window-saved"
    return go_to(f"/windows/versions/{version_id}", said=said)


def _read(form: Form) -> Typed:
    posted = {name: texts for name, texts in form.lists.items() if name not in _OF_THE_PAGE}
    return Typed(form.text("title"), form.text("reason"), arrange(posted))


def _parse(typed: Typed) -> TextFields:
    """Return the draft; Unreadable with every fault of its head and its text at once."""
    faults: tuple[Fault, ...] = ()
    head: HeadFields | None = None
    text: WindowText | None = None
    try:
        head = Form(texts={"title": typed.title, "reason": typed.reason}).parse(HeadFields)
    except Unreadable as refusal:
        faults = refusal.faults
    try:
        text = read_form(typed.fields)
    except Unreadable as refusal:
        faults += refusal.faults
    if head is None or text is None:
        raise Unreadable(faults)
    return TextFields(title=head.title, reason=head.reason, text=text)


def _show_form(
    request: Request,
    person: Person,
    version: WindowVersion,
    typed: Typed,
    *,
    seen: str,
    refusal: Refusal | None = None,
) -> HTMLResponse:
    found = () if refusal is None else list_faults(refusal)
    is_of_values = isinstance(refusal, Unreadable)
    head = {one.field: one.sentence for one in found if one.field in {"title", "reason"}}
    title = f"{version.window.code}, version {version.number}: edit the draft"
    page = EditPage(
        shell=make_shell(request, person, title=title, scripts=("recipes.js",)),
        href=f"/windows/versions/{version.id}/edit",
        back_href=f"/windows/versions/{version.id}",
        version=seen,
        title=typed.title,
        reason=typed.reason,
        head_faults=head if is_of_values else {},
        sheet=lay_out(
            typed.fields, [one for one in found if one.field not in head] if is_of_values else ()
        ),
        alloys=ALLOY_NAMES,
        refused="" if refusal is None or is_of_values else refusal.sentence,
    )
    return render("windows/edit.html", page, status=422 if refusal is not None else 200)


def _show_conflict(
    request: Request, person: Person, version: WindowVersion, typed: Typed, fields: TextFields
) -> HTMLResponse:
    sections = compare_texts(get_text(version), fields.text)
    head = (
        PairRow("Title", version.title, fields.title, version.title != fields.title),
        PairRow("Why this version", version.reason, fields.reason, version.reason != fields.reason),
    )
    changed = sum(section.changed for section in sections) + sum(row.is_changed for row in head)
    title = f"{version.window.code}, version {version.number}: changed meanwhile"
    page = ConflictPage(
        shell=make_shell(request, person, title=title),
        href=f"/windows/versions/{version.id}/edit",
        version=version.version,
        typed=typed,
        head=head,
        sections=sections,
        changed=changed,
    )
    return render("windows/conflict.html", page, status=412)
