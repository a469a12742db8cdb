"""The door: the start page, signing in and signing out."""

import secrets
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from http import HTTPStatus
from typing import Annotated, Final, TypeVar

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts import own_pages, people_pages
from app.accounts.access import (
    COOKIE,
    CSRF_FIELD,
    FormNotOurs,
    MaybePerson,
    make_shell,
    needs,
    public,
)
from app.accounts.passwords.hashing import get_hasher
from app.accounts.permissions import Action, Role
from app.accounts.queries import count_accounts
from app.accounts.rules import Person
from app.accounts.sign_in import (
    WrongPassword,
    begin_sign_in,
    finish_sign_in,
    judge,
    sign_out,
)
from app.accounts.throttle import TooManyFailures
from app.core.db import Sessions
from app.core.refusals import Refusal
from app.core.request import HouseSettings, Now, RequestSession
from app.core.settings import Settings
from app.web.forms import Form, PostedForm
from app.web.problems import get_status
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

# A page before sign-in has no session to carry its mark: the form and a cookie carry the same.
FORM_COOKIE: Final = "wickbook_form"
SHOWN_NAME: Final = 64
Result = TypeVar("Result")
Anyone = Annotated[Person, Depends(needs(Action.OWN_ACCOUNT))]

add_notices({"signed-out": "You are signed out."})


@dataclass(frozen=True)
class SignInPage:
    """All that sign_in.html can see."""

    shell: Shell
    mark: str
    username: str
    is_empty_house: bool
    fault: str | None


@router.get("/", dependencies=[Depends(public)])
def show_start(person: MaybePerson) -> Response:
    """Lead to the screen where this person's day begins."""
    if person is None:
        return go_to("/sign-in")
    if person.must_change:
        return go_to("/me/password")
    if not person.roles.isdisjoint({Role.OPERATOR, Role.ENGINEER}):
        return go_to("/bench")
    return go_to("/boards" if Role.AUDITOR in person.roles else "/setup/people")


@router.get("/sign-in", dependencies=[Depends(public)])
def show_sign_in(
    request: Request, session: RequestSession, settings: HouseSettings, person: MaybePerson
) -> Response:
    """Show the form, or go on when this browser is signed in already."""
    if person is not None:
        return go_to("/")
    return _show(request, settings, is_empty_house=count_accounts(session) == 0)


@router.post("/sign-in", dependencies=[Depends(public)])
async def sign_in(
    request: Request, settings: HouseSettings, now: Now, form: PostedForm
) -> Response:
    """Sign in and go to the start page, or show the form again with what was wrong.

    The refused attempt stays counted, and no transaction is open while the hash is computed.
    """
    try:
        _check_form(request, form)
        candidate = await _write(
            request,
            lambda session: begin_sign_in(
                session,
                typed_name=form.text("username"),
                address=request.client.host if request.client else "",
                now=now,
            ),
        )
        hasher = get_hasher(settings)
        verdict = await run_in_threadpool(judge, candidate, form.text("password"), hasher)
        admission = await _write(
            request,
            lambda session: finish_sign_in(
                session,
                candidate,
                verdict,
                agent=request.headers.get("user-agent", ""),
                replaced=request.cookies.get(COOKIE),
                now=now,
            ),
        )
        if admission is None:
            raise WrongPassword("Username and password do not belong together.")
    except Refusal as refusal:
        return _show(request, settings, username=form.text("username"), refusal=refusal)
    answer = go_to("/")
    answer.set_cookie(
        COOKIE,
        admission.secret,
        path="/",
        httponly=True,
        samesite="lax",
        secure=_is_secure(request, settings),
    )
    answer.delete_cookie(FORM_COOKIE, path="/sign-in")
    return answer


@router.post("/sign-out")
def leave(session: RequestSession, now: Now, person: Anyone) -> Response:
    """End this sign-in."""
    if person.session_id is not None:
        sign_out(session, person.session_id, actor=person.actor, now=now)
    answer = go_to("/sign-in", said="signed-out")
    answer.delete_cookie(COOKIE, path="/")
    return answer


router.include_router(own_pages.router)
router.include_router(people_pages.router)


def _check_form(request: Request, form: Form) -> None:
    """Refuse with FormNotOurs unless this browser was shown the form by us."""
    site = request.headers.get("sec-fetch-site", "same-origin")
    kept = request.cookies.get(FORM_COOKIE, "").encode("utf-8", "replace")
    sent = form.text(CSRF_FIELD).encode("utf-8", "replace")
    if site not in {"same-origin", "none"} or not kept or not secrets.compare_digest(kept, sent):
        raise FormNotOurs("This form is too old or from another place; please type it again.")


async def _write(request: Request, work: Callable[[Session], Result]) -> Result:
    """Run one short transaction, in the writers' turn where the database has but one."""
    async with request.app.state.write_turn or nullcontext():
        return await run_in_threadpool(_commit, request.app.state.sessions, work)


def _commit(sessions: Sessions, work: Callable[[Session], Result]) -> Result:
    with sessions.write.begin() as session:
        return work(session)


def _is_secure(request: Request, settings: Settings) -> bool:
    return settings.https_only or request.url.scheme == "https"


def _show(
    request: Request,
    settings: Settings,
    *,
    username: str = "",
    is_empty_house: bool = False,
    refusal: Refusal | None = None,
) -> HTMLResponse:
    mark = secrets.token_urlsafe(32)
    page = SignInPage(
        shell=make_shell(request, None, title="Sign in"),
        mark=mark,
        username=username[:SHOWN_NAME],
        is_empty_house=is_empty_house,
        fault=refusal.sentence if refusal else None,
    )
    status = get_status(type(refusal)) if refusal else HTTPStatus.OK
    answer = render("accounts/sign_in.html", page, status=int(status))
    if isinstance(refusal, TooManyFailures):
        answer.headers["Retry-After"] = str(refusal.wait_s)
    answer.set_cookie(
        FORM_COOKIE,
        mark,
        path="/sign-in",
        httponly=True,
        samesite="strict",
        secure=_is_secure(request, settings),
    )
    return answer
