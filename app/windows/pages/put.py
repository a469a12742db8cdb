"""Put a window into a draft of a recipe: choose the draft, see what changes, do it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.refusals import Fault, Refusal, Unreadable
from app.core.request import Now, PathId, RequestSession
from app.recipes.queries import get_body, get_revision
from app.recipes.side_by_side import PairSection, lay_side_by_side
from app.web.forms import PostedForm, list_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render
from app.windows.built_in import BuiltIn
from app.windows.into_recipe import Limits, Temperatures, put_into_body
from app.windows.pages.built_in import AskedSize, Key, Size, get_asked, list_size, spell_query
from app.windows.queries import get_version, list_own_drafts
from app.windows.schemas import PutFields
from app.windows.tables import WindowVersion
from app.windows.uses import PutHow, put_into_recipe, state_source

router = APIRouter()

Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]
AskedDraft = Annotated[str, Query(max_length=12)]
AskedLimits = Annotated[Limits, Query()]
AskedTemperatures = Annotated[Temperatures | None, Query()]

LIMITS: Final = (
    ("add", "Beside the draft's own, of which those of the same metric and channels go"),
    ("replace", "In place of all limits of the draft"),
)
TEMPERATURES: Final = (
    ("window", "Take all that the window gives"),
    ("draft", "Keep the draft's but for the classification, and say where they differ"),
)

add_notices(
    {"window-put": "The window's limits are in the draft; its cautions say whose they are."}
)


@dataclass(frozen=True)
class PutPage:
    """All that put.html can see; `sections` are empty until a draft is chosen."""

    shell: Shell
    href: str
    back_href: str
    name: str
    cautions: tuple[str, ...]
    drafts: tuple[tuple[str, str], ...]
    chosen: str
    limits: str
    temperatures: str
    limit_choices: tuple[tuple[str, str], ...]
    temperature_choices: tuple[tuple[str, str], ...]
    size: Mapping[str, str]
    draft_name: str = ""
    draft_version: int = 0
    sections: tuple[PairSection, ...] = ()
    faults: tuple[Fault, ...] = field(default=())
    refused: str = ""


@dataclass(frozen=True)
class _Choice:
    draft: str
    how: PutHow


@router.get("/windows/versions/{version_id}/put")
def show_put_version(
    version_id: PathId,
    request: Request,
    session: RequestSession,
    person: Writer,
    draft: AskedDraft = "",
    limits: AskedLimits = "add",
    temperatures: AskedTemperatures = None,
) -> HTMLResponse:
    """Show what putting a published version into a draft would change."""
    source = get_version(session, version_id)
    choice = _choose(source, draft, limits, temperatures)
    return _show(request, session, person, source, choice)


@router.post("/windows/versions/{version_id}/put")
def put_version(
    version_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Writer,
    form: PostedForm,
) -> Response:
    """Put a published version into a draft, or show again why it does not go."""
    return _put(request, session, person, get_version(session, version_id), form, now)


@router.get("/windows/built-in/{key}/put")
def show_put_built_in(
    key: Key,
    request: Request,
    session: RequestSession,
    person: Writer,
    size: Size,
    draft: AskedDraft = "",
    limits: AskedLimits = "add",
    temperatures: AskedTemperatures = None,
) -> HTMLResponse:
    """Show what putting a built-in window into a draft would change."""
    source = get_asked(session, key, size)
    choice = _choose(source, draft, limits, temperatures)
    return _show(request, session, person, source, choice)


@router.post("/windows/built-in/{key}/put")
def put_built_in(
    key: Key, request: Request, session: RequestSession, now: Now, person: Writer, form: PostedForm
) -> Response:
    """Put a built-in window into a draft, or show again why it does not go."""
    size = AskedSize(form.text("thickness_mm")[:80], form.text("volume_mm3")[:80])
    return _put(request, session, person, get_asked(session, key, size), form, now)


def _choose(
    source: WindowVersion | BuiltIn, draft: str, limits: Limits, temperatures: Temperatures | None
) -> _Choice:
    """Return what was chosen; what protects bodies leaves the joints' temperatures as they are."""
    _, text = state_source(source)
    usual: Temperatures = "draft" if text.is_never_exceed else "window"
    return _Choice(draft, PutHow(limits, temperatures or usual))


def _put(
    request: Request,
    session: Session,
    person: Person,
    source: WindowVersion | BuiltIn,
    form: PostedForm,
    now: Now,
) -> Response:
    fields = form.parse(PutFields)
    revision = get_revision(session, fields.recipe_revision_id)
    how = PutHow(fields.limits, fields.temperatures)
    try:
        put_into_recipe(
            session,
            source,
            revision,
            how,
            seen_version=form.text("version")[:20],
            person=person,
            now=now,
        )
    except Refusal as refusal:
        choice = _Choice(str(revision.id), how)
        return _show(request, session, person, source, choice, refusal=refusal)
    return go_to(f"/recipes/revisions/{revision.id}", said="window-put")


def _show(
    request: Request,
    session: Session,
    person: Person,
    source: WindowVersion | BuiltIn,
    choice: _Choice,
    *,
    refusal: Refusal | None = None,
) -> HTMLResponse:
    stamp, text = state_source(source)
    drafts = {str(one.id): one for one in list_own_drafts(session, person.account_id)}
    revision = drafts.get(choice.draft)
    sections: tuple[PairSection, ...] = ()
    if choice.draft and revision is None and refusal is None:
        refusal = Unreadable((Fault("draft", "is no draft of yours"),))
    if revision is not None and refusal is None:
        old = get_body(revision)
        try:
            new = put_into_body(
                old, text, stamp, limits=choice.how.limits, temperatures=choice.how.temperatures
            )
            sections = tuple(one for one in lay_side_by_side(old, new) if one.changed)
        except Unreadable as error:
            refusal = error
    is_of_values = isinstance(refusal, Unreadable)
    page = PutPage(
        shell=make_shell(request, person, title=f"Put {stamp.key} into a recipe's draft"),
        href=_spell_href(source),
        back_href=_spell_back(source),
        name=f"{stamp.name}, version {stamp.version}",
        cautions=text.cautions,
        drafts=tuple(
            (key, f"{one.recipe.code}, revision {one.number}: {one.title}")
            for key, one in drafts.items()
        ),
        chosen=choice.draft,
        limits=choice.how.limits,
        temperatures=choice.how.temperatures,
        limit_choices=LIMITS,
        temperature_choices=TEMPERATURES,
        size=list_size(source) if isinstance(source, BuiltIn) else {},
        draft_name="" if revision is None else f"{revision.recipe.code}, {revision.number}",
        draft_version=0 if revision is None else revision.version,
        sections=sections,
        faults=list_faults(refusal) if refusal is not None and is_of_values else (),
        refused="" if refusal is None or is_of_values else refusal.sentence,
    )
    return render("windows/put.html", page, status=422 if refusal is not None else 200)


def _spell_href(source: WindowVersion | BuiltIn) -> str:
    if isinstance(source, BuiltIn):
        return f"/windows/built-in/{source.key}/put"
    return f"/windows/versions/{source.id}/put"


def _spell_back(source: WindowVersion | BuiltIn) -> str:
    if isinstance(source, BuiltIn):
        return f"/windows/built-in/{source.key}{spell_query(source)}"
    return f"/windows/versions/{source.id}"
