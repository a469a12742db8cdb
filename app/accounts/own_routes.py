"""The JSON routes of one's own account."""

from datetime import timedelta
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from app.accounts import own_service
from app.accounts.access import needs
from app.accounts.passwords.hashing import get_hasher
from app.accounts.permissions import Action
from app.accounts.queries import get_own_token, list_running_sessions, select_tokens
from app.accounts.rules import Person
from app.accounts.schemas import (
    OwnView,
    PasswordChange,
    SignInView,
    TokenFields,
    TokenView,
    TokenWithSecret,
)
from app.accounts.shown_once import answer_with_secret
from app.accounts.tables import ApiToken
from app.core.paging import AskedPage, Piece, take_piece
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.web.once import CreateOnce
from app.web.problems import answer_refusal

router = APIRouter(prefix="/me", tags=["my account"])

Anyone = Annotated[Person, Depends(needs(Action.OWN_ACCOUNT))]


@router.get("")
def show_own(person: Anyone) -> OwnView:
    """Show who is asking and with which roles."""
    return OwnView(
        account_id=person.account_id,
        username=person.username,
        name=person.name,
        roles=sorted(person.roles),
        via=person.via,
        must_change_password=person.must_change,
    )


@router.post("/password", status_code=HTTPStatus.NO_CONTENT)
def change_password(
    change: PasswordChange,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Anyone,
) -> Response:
    """Change the password; every other sign-in ends. Takes a sign-in, not a token."""
    try:
        own_service.change_password(
            session,
            change,
            person=person,
            address=request.client.host if request.client else "",
            hasher=get_hasher(settings),
            now=now,
        )
    except own_service.CurrentPasswordWrong as refusal:
        # Answered, not raised: the wrong try stays counted.
        return answer_refusal(request, refusal)
    return Response(status_code=HTTPStatus.NO_CONTENT)


@router.get("/sessions")
def list_sessions(
    session: RequestSession, settings: HouseSettings, now: Now, person: Anyone
) -> Piece[SignInView]:
    """List the browsers one is signed in with, the newest first; always in one piece."""
    rows = list_running_sessions(
        session,
        person.account_id,
        now=now,
        idle=timedelta(minutes=settings.session_idle_minutes),
        absolute=timedelta(hours=settings.session_hours),
    )
    items = [
        SignInView(
            id=row.id,
            address=row.address,
            agent=row.agent,
            started_at=row.started_at,
            seen_at=row.seen_at,
            is_this_one=row.id == person.session_id,
        )
        for row in rows
    ]
    return Piece(items=items, next_cursor=None)


@router.delete("/sessions/{session_id}", status_code=HTTPStatus.NO_CONTENT)
def end_session(session_id: PathId, session: RequestSession, now: Now, person: Anyone) -> None:
    """End one of one's own sign-ins. Takes a sign-in, not a token."""
    own_service.end_own_session(session, session_id, person=person, now=now)


@router.get("/tokens")
def list_tokens(session: RequestSession, paging: AskedPage, person: Anyone) -> Piece[TokenView]:
    """List one's tokens, ended ones too."""
    rows, cursor = take_piece(
        session, select_tokens(person.account_id), key=ApiToken.id, paging=paging
    )
    return Piece(items=[TokenView.model_validate(row) for row in rows], next_cursor=cursor)


@router.post("/tokens", response_model=TokenWithSecret, status_code=HTTPStatus.CREATED)
def add_token(
    fields: TokenFields,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Anyone,
    once: CreateOnce,
) -> Response:
    """Make a token; its secret is in this answer only. Takes a sign-in, not a token."""
    secrets_shown: list[TokenWithSecret] = []

    def create() -> TokenWithSecret:
        token, secret = own_service.add_token(
            session, fields, person=person, most_days=settings.token_days, now=now
        )
        view = TokenWithSecret.model_validate(token)
        secrets_shown.append(view.model_copy(update={"secret": secret}))
        return view

    kept = once.answer(session, person.account_id, create)
    return answer_with_secret(kept, secrets_shown)


@router.get("/tokens/{token_id}")
def show_token(token_id: PathId, session: RequestSession, person: Anyone) -> TokenView:
    """Show one of one's tokens."""
    return TokenView.model_validate(get_own_token(session, person.account_id, token_id))


@router.delete("/tokens/{token_id}", status_code=HTTPStatus.NO_CONTENT)
def revoke_token(token_id: PathId, session: RequestSession, now: Now, person: Anyone) -> None:
    """End a token; it stays in the list as revoked. A token can end itself and no other."""
    own_service.revoke_token(session, token_id, person=person, now=now)
