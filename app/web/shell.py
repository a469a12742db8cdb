"""What every page shows around itself: where one is, who one is, what was just done."""

from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import RedirectResponse

# What a page may say after a redirect; the address carries the key, never the sentence.
SAID: Final[dict[str, str]] = {}


@dataclass(frozen=True)
class NavItem:
    """One screen in the margin."""

    label: str
    href: str
    is_here: bool


@dataclass(frozen=True)
class Shell:
    """The frame of a page; `person` is None before sign-in."""

    title: str
    plant: str
    person: str | None
    roles: str
    csrf: str
    nav: tuple[NavItem, ...]
    notice: str | None
    scripts: tuple[str, ...] = ()


def add_notices(notices: dict[str, str]) -> None:
    """Register what a feature's pages may say after a redirect; a key stands for one sentence."""
    doubled = SAID.keys() & notices.keys()
    if doubled:
        raise ValueError(f"notice already said elsewhere: {sorted(doubled)}")
    SAID.update(notices)


def find_notice(request: Request) -> str | None:
    """Return the sentence that the address asks for, or None."""
    return SAID.get(request.query_params.get("said", ""))


def go_to(path: str, *, said: str | None = None) -> RedirectResponse:
    """Send the browser on after a change, so that a reload changes nothing twice."""
    if said is not None:
        path += ("&" if "?" in path else "?") + urlencode({"said": said})
    return RedirectResponse(path, status_code=303)
