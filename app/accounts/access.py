"""Who is asking, and may they: the dependencies a route names in its signature."""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated, Final

from fastapi import Depends, FastAPI, Request, Response
from fastapi.security import APIKeyCookie, HTTPAuthorizationCredentials, HTTPBearer
from sqlalchemy import update
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from app.accounts.permissions import Action
from app.accounts.queries import find_session, find_token, is_session_alive
from app.accounts.rules import (
    PasswordMustChange,
    Person,
    compute_secret_digest,
    spell_roles,
    spell_token_way,
)
from app.accounts.tables import SignedInSession
from app.core.refusals import Forbidden, Unidentified
from app.core.request import SAFE_METHODS, HouseSettings, Now, RequestBody, RequestSession
from app.core.settings import Settings
from app.web.problems import answer_refusal, is_for_programs
from app.web.shell import NavItem, Shell, find_notice, go_to

COOKIE: Final = "wickbook_session"
CSRF_FIELD: Final = "csrf"
CSRF_HEADER: Final = "X-CSRF-Token"
SEEN_EVERY: Final = timedelta(seconds=60)

SCREENS: Final = (
    ("Bench", "/bench", Action.READ),
    ("Boards", "/boards", Action.READ),
    ("Recipes", "/recipes", Action.READ),
    ("Materials", "/materials", Action.READ),
    ("Audit trail", "/audit", Action.AUDIT_READ),
    ("Setup", "/setup", Action.READ),
)


# Pages whose screen has another address in the margin.
_UNDER: Final = {"windows": "recipes"}


class NotSignedIn(Unidentified):
    """No valid session or token came with the request."""

    code = "accounts.not_signed_in"


class FormNotOurs(Forbidden):
    """A change came from a page that Wickbook did not make for this sign-in."""

    code = "accounts.form_not_ours"


SentCookie = Annotated[str | None, Depends(APIKeyCookie(name=COOKIE, auto_error=False))]
SentBearer = Annotated[HTTPAuthorizationCredentials | None, Depends(HTTPBearer(auto_error=False))]


def get_person(
    request: Request,
    session: RequestSession,
    now: Now,
    body: RequestBody,
    cookie: SentCookie,
    bearer: SentBearer,
) -> Person:
    """Return the person whose token or session came with the request.

    NotSignedIn without one; FormNotOurs when a browser's change lacks the session's own mark.
    """
    person, row = _identify(request, session, now, body, cookie, bearer)
    if row is not None and now - row.seen_at > SEEN_EVERY:
        _note_seen(request, session, row, now)
    return person


def get_person_ahead(
    request: Request,
    now: Now,
    body: RequestBody,
    cookie: SentCookie,
    bearer: SentBearer,
) -> Person:
    """Return the person of a request before its transaction begins, from a look of its own.

    Refuses as get_person does, which asks again within the transaction.
    """
    with request.app.state.sessions.read() as look:
        person, _ = _identify(request, look, now, body, cookie, bearer)
    return person


def _identify(
    request: Request,
    session: Session,
    now: datetime,
    body: FormData | bytes,
    cookie: str | None,
    bearer: HTTPAuthorizationCredentials | None,
) -> tuple[Person, SignedInSession | None]:
    if bearer is not None:
        return _get_by_token(session, bearer.credentials, now), None
    if cookie is None:
        raise NotSignedIn("Sign in first.")
    row = _find_alive(session, cookie, request.app.state.settings, now)
    if row is None:
        raise NotSignedIn("Your sign-in has ended; sign in again.")
    if request.method not in SAFE_METHODS:
        _check_mark(request, body, row.csrf)
    return _make_person(row), row


def find_person(
    request: Request, session: RequestSession, settings: HouseSettings, now: Now
) -> Person | None:
    """Return the person this browser is signed in with, or None; for public pages."""
    cookie = request.cookies.get(COOKIE)
    row = _find_alive(session, cookie, settings, now) if cookie is not None else None
    return None if row is None else _make_person(row)


def _find_alive(
    session: Session, cookie: str, settings: Settings, now: datetime
) -> SignedInSession | None:
    row = find_session(session, compute_secret_digest(cookie))
    idle = timedelta(minutes=settings.session_idle_minutes)
    absolute = timedelta(hours=settings.session_hours)
    if row is None or not is_session_alive(row, now=now, idle=idle, absolute=absolute):
        return None
    return row


def _make_person(row: SignedInSession) -> Person:
    account = row.account
    return Person(
        account_id=account.id,
        username=account.username,
        name=account.name,
        commitment=account.commitment,
        roles=account.roles,
        via="session",
        csrf=row.csrf,
        session_id=row.id,
        must_change=account.must_change_password,
    )


def _get_by_token(session: Session, secret: str, now: datetime) -> Person:
    token = find_token(session, compute_secret_digest(secret))
    if token is None or token.revoked_at is not None or token.disabled_at is not None:
        raise NotSignedIn("This token opens nothing here; make a new one under My account.")
    if token.expires_at <= now:
        raise NotSignedIn("This token has expired; make a new one under My account.")
    return Person(
        account_id=token.account_id,
        username=token.username,
        name=token.name,
        commitment=token.commitment,
        # A role taken from the person is taken from their tokens too.
        roles=token.roles & token.account_roles,
        via=spell_token_way(token.id),
        csrf="",
        must_change=token.must_change_password,
    )


def _check_mark(request: Request, body: FormData | bytes, csrf: str) -> None:
    sent = request.headers.get(CSRF_HEADER)
    if sent is None and isinstance(body, FormData):
        field = body.get(CSRF_FIELD)
        sent = field if isinstance(field, str) else None
    if sent is None or not secrets.compare_digest(sent.encode("utf-8", "replace"), csrf.encode()):
        raise FormNotOurs("This form is from an earlier sign-in; load the page again and repeat.")


def _note_seen(request: Request, session: Session, row: SignedInSession, now: datetime) -> None:
    if request.method in SAFE_METHODS:
        turn = request.app.state.write_turn
        if turn is not None and turn.is_taken():
            # A writer is at work and may need this thread to end; the next request will note it.
            return
        # A reader must not turn writer half-way; the note has a short transaction of its own.
        with request.app.state.sessions.write.begin() as own:
            own.execute(
                update(SignedInSession).where(SignedInSession.id == row.id).values(seen_at=now)
            )
    else:
        row.seen_at = now
        session.flush()


SomePerson = Annotated[Person, Depends(get_person)]
PersonAhead = Annotated[Person, Depends(get_person_ahead)]
MaybePerson = Annotated[Person | None, Depends(find_person)]


@dataclass(frozen=True)
class Needs:
    """A dependency that answers with the person, once they have the permission."""

    action: Action

    async def __call__(self, person: SomePerson) -> Person:
        """Refuse with NotPermitted, or hand the person to the route."""
        person.check_may(self.action)
        return person


def needs(action: Action) -> Needs:
    """Name the permission of a route: `Annotated[Person, Depends(needs(...))]`."""
    return Needs(action)


@dataclass(frozen=True)
class NeedsAhead:
    """A dependency that answers with the person before the request's transaction begins."""

    action: Action

    async def __call__(self, person: PersonAhead) -> Person:
        """Refuse with NotPermitted, or hand the person to what is done ahead."""
        person.check_may(self.action)
        return person


def needs_ahead(action: Action) -> NeedsAhead:
    """Name the permission of work that is done before a route's transaction begins.

    Such a dependency stands first in the route's signature, before the session; the route names
    its own permission as well, which is checked again within the transaction.
    """
    return NeedsAhead(action)


def public() -> None:
    """Mark a route that anyone may call: `dependencies=[Depends(public)]`."""


def install_way_to_password(app: FastAPI) -> None:
    """Send browsers whose password must change to the page for it; programs read the refusal."""

    @app.exception_handler(PasswordMustChange)
    def answer(request: Request, refusal: PasswordMustChange) -> Response:
        if is_for_programs(request):
            return answer_refusal(request, refusal)
        return go_to("/me/password")


def _find_screen(path: str) -> str:
    """Return the path as the margin has it: /windows/… is part of the recipes' screen."""
    first, slash, rest = path.removeprefix("/").partition("/")
    return f"/{_UNDER.get(first, first)}{slash}{rest}"


def make_shell(
    request: Request, person: Person | None, *, title: str, scripts: tuple[str, ...] = ()
) -> Shell:
    """Return the frame of a page for this person; `scripts` are names under /static."""
    settings: Settings = request.app.state.settings
    here = _find_screen(request.url.path)
    nav = tuple(
        NavItem(label, href, here == href or here.startswith(href + "/"))
        for label, href, action in SCREENS
        if person is not None and person.may(action)
    )
    return Shell(
        title=title,
        plant=settings.plant_name,
        person=person.name if person else None,
        roles=spell_roles(person.roles) if person else "",
        csrf=person.csrf if person else "",
        nav=nav,
        notice=find_notice(request),
        scripts=scripts,
    )
