"""The list of windows: the plant's own, and those that are built in."""

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.approval.rules import RevisionState
from app.core.paging import AskedPage
from app.core.refusals import Fault, Unreadable
from app.core.request import RequestSession
from app.core.text import OptionalLine
from app.web.shell import Shell
from app.web.templates import render
from app.windows.built_in import BuiltInLine
from app.windows.pages.words import DIGEST_SHOWN, SHAPES
from app.windows.queries import OwnLine, WindowFilter, get_text, list_windows
from app.windows.tables import WindowVersion

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]

BUILT_IN = "built in"


@dataclass(frozen=True)
class VersionLink:
    """A version that the list leads to; empty where there is none."""

    href: str = ""
    word: str = ""
    shape: str = ""
    digest: str = ""


@dataclass(frozen=True)
class ListLine:
    """One window in the list."""

    href: str
    key: str
    name: str
    kind: str
    published: VersionLink
    open: VersionLink
    is_built_in: bool
    built_in_word: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class WindowsPage:
    """All that windows.html can see."""

    shell: Shell
    lines: tuple[ListLine, ...]
    has_own: bool
    text: str
    state: str
    states: tuple[str, ...]
    is_filtered: bool
    next_href: str
    can_write: bool


@router.get("/windows")
def show_windows(
    request: Request,
    session: RequestSession,
    paging: AskedPage,
    person: Reader,
    text: Annotated[OptionalLine, Query()] = "",
    state: Annotated[str, Query(max_length=24)] = "",
) -> HTMLResponse:
    """Show the windows that the filter leaves: the plant's own by code, then the built-in ones."""
    wanted = _parse_filter(text, state)
    lines, cursor = list_windows(session, wanted=wanted, paging=paging)
    given = {name: value for name, value in (("text", text), ("state", state)) if value}
    page = WindowsPage(
        shell=make_shell(request, person, title="Windows"),
        lines=tuple(map(_spell_line, lines)),
        has_own=any(isinstance(line, OwnLine) for line in lines) or paging.after_id is not None,
        text=text,
        state=state,
        states=(*RevisionState, BUILT_IN),
        is_filtered=bool(given) or paging.after_id is not None,
        next_href=f"/windows?{urlencode({**given, 'cursor': cursor})}" if cursor else "",
        can_write=person.may(Action.RECIPES_WRITE),
    )
    return render("windows/windows.html", page)


def _parse_filter(text: str, state: str) -> WindowFilter:
    if not state or state == BUILT_IN:
        return WindowFilter(text, is_built_in=bool(state))
    try:
        return WindowFilter(text, RevisionState(state))
    except ValueError:
        sentence = f"must be {', '.join((*RevisionState, BUILT_IN))}"
        raise Unreadable((Fault("state", sentence),)) from None


def _spell_line(line: OwnLine | BuiltInLine) -> ListLine:
    if isinstance(line, BuiltInLine):
        return ListLine(
            href=f"/windows/built-in/{line.key}",
            key=line.key,
            name=line.name,
            kind=_spell_kind(is_never_exceed=line.is_never_exceed),
            published=VersionLink(),
            open=VersionLink(),
            is_built_in=True,
            built_in_word=f"version {line.version}",
            cautions=line.cautions,
        )
    text = get_text(line.published or line.newest)
    return ListLine(
        href=f"/windows/{line.window.id}",
        key=line.window.code,
        name=(line.published or line.newest).title,
        kind=_spell_kind(is_never_exceed=text.is_never_exceed),
        published=_link(line.published),
        open=_link(line.open),
        is_built_in=False,
        built_in_word="",
        cautions=text.cautions,
    )


def _link(version: WindowVersion | None) -> VersionLink:
    if version is None:
        return VersionLink()
    return VersionLink(
        href=f"/windows/versions/{version.id}",
        word=f"version {version.number} {version.state}",
        shape=SHAPES[version.state],
        digest=get_digest(version)[:DIGEST_SHOWN],
    )


def _spell_kind(*, is_never_exceed: bool) -> str:
    return "never exceed" if is_never_exceed else "aim"
