"""My account: the password, the browsers one is signed in with, and tokens for programs."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts import own_service
from app.accounts.access import make_shell, needs
from app.accounts.passwords.hashing import get_hasher
from app.accounts.permissions import Action
from app.accounts.queries import list_running_sessions, list_unrevoked_tokens
from app.accounts.rules import Person, spell_roles
from app.accounts.schemas import PasswordChange, TokenFields
from app.accounts.throttle import TooManyFailures
from app.core.clock import spell_day, spell_minute
from app.core.refusals import Refusal, Unacceptable
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.settings import Settings
from app.web.forms import Form, PostedForm, map_faults
from app.web.problems import get_status
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

FIRST_DAYS: Final = 30
Anyone = Annotated[Person, Depends(needs(Action.OWN_ACCOUNT))]

add_notices(
    {
        "password-changed": "The password was changed; every other sign-in has ended.",
        "session-ended": "That sign-in has ended.",
        "token-revoked": "The token opens nothing any more.",
    }
)


class NotTypedAlike(Unacceptable):
    """The new password was typed in two ways."""

    code = "accounts.not_typed_alike"


@dataclass(frozen=True)
class SessionLine:
    """One running sign-in."""

    href: str
    address: str
    agent: str
    since: str
    seen: str
    is_this_one: bool


@dataclass(frozen=True)
class TokenLine:
    """One token that was not revoked."""

    href: str
    name: str
    roles: str
    since: str
    until: str
    shape: str
    word: str


@dataclass(frozen=True)
class OwnPage:
    """All that me.html can see."""

    shell: Shell
    name: str
    username: str
    roles: str
    sessions: tuple[SessionLine, ...]
    tokens: tuple[TokenLine, ...]
    role_choices: tuple[str, ...]
    most_days: int
    values: Mapping[str, str] = field(default_factory=dict)
    chosen_roles: tuple[str, ...] = ()
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class PasswordPage:
    """All that password.html can see."""

    shell: Shell
    username: str
    must_change: bool
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class SecretPage:
    """All that secret.html can see: something that is shown this once."""

    shell: Shell
    what: str
    secret: str
    then: str
    way_on: str


@router.get("/me")
def show_own(
    request: Request, session: RequestSession, settings: HouseSettings, now: Now, person: Anyone
) -> Response:
    """Show one's own account."""
    if person.must_change:
        return go_to("/me/password")
    return _show_own(request, session, settings, now, person, form=None, faults={})


@router.get("/me/password")
def show_password(request: Request, person: Anyone) -> HTMLResponse:
    """Show the form for another password."""
    return _show_password(request, person)


@router.post("/me/password")
def change_password(
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Anyone,
    form: PostedForm,
) -> Response:
    """Change the password, or show the form again; a wrong try stays counted."""
    try:
        change = form.parse(PasswordChange)
        if form.text("again") != change.new_password:
            raise NotTypedAlike("is not typed like the new password", field="again")
        own_service.change_password(
            session,
            change,
            person=person,
            address=request.client.host if request.client else "",
            hasher=get_hasher(settings),
            now=now,
        )
    except Refusal as refusal:
        return _show_password(request, person, refusal=refusal)
    return go_to("/me", said="password-changed")


@router.post("/me/sessions/{session_id}/end")
def end_session(session_id: PathId, session: RequestSession, now: Now, person: Anyone) -> Response:
    """End one of one's own sign-ins."""
    own_service.end_own_session(session, session_id, person=person, now=now)
    return go_to("/sign-in" if session_id == person.session_id else "/me", said="session-ended")


@router.post("/me/tokens")
def add_token(
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Anyone,
    form: PostedForm,
) -> HTMLResponse:
    """Make a token and show its secret, or show the form again with what was wrong."""
    try:
        token, secret = own_service.add_token(
            session,
            form.parse(TokenFields),
            person=person,
            most_days=settings.token_days,
            now=now,
        )
    except Refusal as refusal:
        return _show_own(
            request, session, settings, now, person, form=form, faults=map_faults(refusal)
        )
    page = SecretPage(
        shell=make_shell(request, person, title="A new token"),
        what=f"The secret of {token.name}",
        secret=secret,
        then=f"Good until {spell_day(token.expires_at, settings.zone)}. "
        "Programs send it as Authorization: Bearer, a blank, and the secret.",
        way_on="/me",
    )
    return render("accounts/secret.html", page)


@router.post("/me/tokens/{token_id}/revocation")
def revoke_token(token_id: PathId, session: RequestSession, now: Now, person: Anyone) -> Response:
    """End a token."""
    own_service.revoke_token(session, token_id, person=person, now=now)
    return go_to("/me", said="token-revoked")


def _show_password(
    request: Request, person: Person, *, refusal: Refusal | None = None
) -> HTMLResponse:
    page = PasswordPage(
        shell=make_shell(request, person, title="Change the password"),
        username=person.username,
        must_change=person.must_change,
        faults=map_faults(refusal) if refusal else {},
    )
    status = get_status(type(refusal)) if refusal else HTTPStatus.OK
    answer = render("accounts/password.html", page, status=int(status))
    if isinstance(refusal, TooManyFailures):
        answer.headers["Retry-After"] = str(refusal.wait_s)
    return answer


def _show_own(
    request: Request,
    session: Session,
    settings: Settings,
    now: datetime,
    person: Person,
    *,
    form: Form | None,
    faults: Mapping[str, str],
) -> HTMLResponse:
    days = str(min(FIRST_DAYS, settings.token_days))
    page = OwnPage(
        shell=make_shell(request, person, title="My account"),
        name=person.name,
        username=person.username,
        roles=spell_roles(person.roles),
        sessions=_list_sessions(session, settings, now, person),
        tokens=_list_tokens(session, settings, now, person),
        role_choices=tuple(sorted(str(role) for role in person.roles)),
        most_days=settings.token_days,
        values=form.texts if form else {"days": days},
        chosen_roles=form.lists.get("roles", ()) if form else (),
        faults=faults,
    )
    return render("accounts/me.html", page, status=422 if faults else 200)


def _list_sessions(
    session: Session, settings: Settings, now: datetime, person: Person
) -> tuple[SessionLine, ...]:
    rows = list_running_sessions(
        session,
        person.account_id,
        now=now,
        idle=timedelta(minutes=settings.session_idle_minutes),
        absolute=timedelta(hours=settings.session_hours),
    )
    return tuple(
        SessionLine(
            href=f"/me/sessions/{row.id}/end",
            address=row.address,
            agent=row.agent,
            since=spell_minute(row.started_at, settings.zone),
            seen=spell_minute(row.seen_at, settings.zone),
            is_this_one=row.id == person.session_id,
        )
        for row in rows
    )


def _list_tokens(
    session: Session, settings: Settings, now: datetime, person: Person
) -> tuple[TokenLine, ...]:
    return tuple(
        TokenLine(
            href=f"/me/tokens/{row.id}/revocation",
            name=row.name,
            roles=spell_roles(row.roles),
            since=spell_day(row.created_at, settings.zone),
            until=spell_minute(row.expires_at, settings.zone),
            shape="go" if row.expires_at > now else "plain",
            word="good" if row.expires_at > now else "expired",
        )
        for row in list_unrevoked_tokens(session, person.account_id)
    )
