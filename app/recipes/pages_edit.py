"""The form of a draft: check, save, and what to do when somebody else saved first."""

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
from app.recipes import service
from app.recipes.body.recipe import RecipeBody
from app.recipes.form_fields import ALLOY_NAMES
from app.recipes.form_sheet import Sheet, lay_out
from app.recipes.form_values import arrange, read_form, spell_fields
from app.recipes.limit_origins import carry_origins
from app.recipes.queries import get_body, get_revision
from app.recipes.rules import REVISIONS, digest_of
from app.recipes.schemas import DraftFields, Reason
from app.recipes.side_by_side import PairRow, PairSection, lay_side_by_side
from app.recipes.tables import RecipeRevision
from app.web.forms import Form, PostedForm, list_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]

# Fields of the page that are no part of the body.
_OF_THE_PAGE: Final = frozenset({CSRF_FIELD, "version", "do", "title", "reason"})

add_notices({"draft-saved": "The draft was saved."})


class HeadFields(BaseModel):
    """What a draft says beside its body."""

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
    sheet: Sheet
    alloys: tuple[str, ...]
    checked_digest: str
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


@router.get("/recipes/revisions/{revision_id}/edit")
def show_edit(
    revision_id: PathId, request: Request, session: RequestSession, person: Writer
) -> HTMLResponse:
    """Show the form of a draft."""
    revision = get_revision(session, revision_id)
    REVISIONS.check_editable(revision.state)
    typed = Typed(revision.title, revision.reason, spell_fields(get_body(revision)))
    return _show_form(request, person, revision, typed, version=str(revision.version))


@router.post("/recipes/revisions/{revision_id}/edit")
def save(
    revision_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Writer,
    form: PostedForm,
) -> Response:
    """Check a draft, or save it; show the form again with what was wrong, or both versions."""
    revision = get_revision(session, revision_id)
    typed, version = _read(form), form.text("version")[:20]
    try:
        fields = _parse(typed, get_body(revision))
        if form.text("do") == "check":
            digest = digest_of(fields.body)
            return _show_form(request, person, revision, typed, version=version, digest=digest)
        service.save_draft(session, revision, fields, seen_version=version, person=person, now=now)
    except EditedMeanwhile:
        return _show_conflict(request, person, revision, typed, fields)
    except Refusal as refusal:
        return _show_form(request, person, revision, typed, version=version, refusal=refusal)
    return go_to(f"/recipes/revisions/{revision_id}", said="draft-saved")


def _read(form: Form) -> Typed:
    posted = {name: texts for name, texts in form.lists.items() if name not in _OF_THE_PAGE}
    return Typed(form.text("title"), form.text("reason"), arrange(posted))


def _parse(typed: Typed, stored: RecipeBody) -> DraftFields:
    """Return the draft; Unreadable with every fault of its head and its body at once.

    Where its limits came from stays as it is stored.
    """
    faults: tuple[Fault, ...] = ()
    head: HeadFields | None = None
    body: RecipeBody | None = None
    try:
        head = Form(texts={"title": typed.title, "reason": typed.reason}).parse(HeadFields)
    except Unreadable as refusal:
        faults = refusal.faults
    try:
        body = read_form(typed.fields)
    except Unreadable as refusal:
        faults += refusal.faults
    if head is None or body is None:
        raise Unreadable(faults)
    body = carry_origins(stored, body)
    return DraftFields(title=head.title, reason=head.reason, body=body)


def _show_form(
    request: Request,
    person: Person,
    revision: RecipeRevision,
    typed: Typed,
    *,
    version: str,
    digest: str = "",
    refusal: Refusal | None = None,
) -> HTMLResponse:
    found = () if refusal is None else list_faults(refusal)
    is_of_values = isinstance(refusal, Unreadable)
    head = {one.field: one.sentence for one in found if one.field in {"title", "reason"}}
    title = f"{revision.recipe.code}, revision {revision.number}: edit the draft"
    page = EditPage(
        shell=make_shell(request, person, title=title, scripts=("recipes.js",)),
        href=f"/recipes/revisions/{revision.id}/edit",
        back_href=f"/recipes/revisions/{revision.id}",
        version=version,
        title=typed.title,
        reason=typed.reason,
        head_faults=head if is_of_values else {},
        sheet=lay_out(
            typed.fields,
            [one for one in found if one.field not in head] if is_of_values else (),
            draft_id=revision.id,
            stored=get_body(revision),
        ),
        alloys=ALLOY_NAMES,
        checked_digest=digest,
        refused="" if refusal is None or is_of_values else refusal.sentence,
    )
    return render("recipes/edit.html", page, status=422 if refusal is not None else 200)


def _show_conflict(
    request: Request,
    person: Person,
    revision: RecipeRevision,
    typed: Typed,
    fields: DraftFields,
) -> HTMLResponse:
    sections = lay_side_by_side(get_body(revision), fields.body)
    head = (
        _pair("Title", revision.title, fields.title),
        _pair("Why this revision", revision.reason, fields.reason),
    )
    changed = sum(section.changed for section in sections) + sum(row.is_changed for row in head)
    title = f"{revision.recipe.code}, revision {revision.number}: changed meanwhile"
    page = ConflictPage(
        shell=make_shell(request, person, title=title),
        href=f"/recipes/revisions/{revision.id}/edit",
        version=revision.version,
        typed=typed,
        head=head,
        sections=sections,
        changed=changed,
    )
    return render("recipes/conflict.html", page, status=412)


def _pair(label: str, old: str, new: str) -> PairRow:
    return PairRow(label, old, new, old != new)
