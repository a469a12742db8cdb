"""The JSON routes of people, for administrators."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Response

from app.accounts import own_routes, service
from app.accounts.access import needs
from app.accounts.passwords.hashing import get_hasher
from app.accounts.permissions import Action
from app.accounts.queries import get_account, lock_among_administrators, select_accounts
from app.accounts.rules import Person
from app.accounts.schemas import PersonFields, PersonView, PersonWithPassword
from app.accounts.shown_once import answer_with_secret
from app.accounts.tables import Account
from app.core.conditional import IfMatch, check_if_match, spell_etag
from app.core.paging import AskedPage, Piece, take_piece
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.web.once import CreateOnce

router = APIRouter()
people = APIRouter(prefix="/people", tags=["people"])

Manager = Annotated[Person, Depends(needs(Action.ACCOUNTS_MANAGE))]


@people.get("")
def list_people(session: RequestSession, paging: AskedPage, _: Manager) -> Piece[PersonView]:
    """List the accounts, disabled ones too."""
    rows, cursor = take_piece(session, select_accounts(), key=Account.id, paging=paging)
    return Piece(items=[PersonView.model_validate(row) for row in rows], next_cursor=cursor)


@people.post("", response_model=PersonWithPassword, status_code=HTTPStatus.CREATED)
def add_person(
    fields: PersonFields,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Manager,
    once: CreateOnce,
) -> Response:
    """Add a person; the temporary password is in this answer only."""
    shown: list[PersonWithPassword] = []

    def create() -> PersonWithPassword:
        account, temporary = service.add_person(
            session,
            username=fields.username,
            name=fields.name,
            roles=fields.roles,
            hasher=get_hasher(settings),
            actor=person.actor,
            now=now,
        )
        view = PersonWithPassword.model_validate(account)
        shown.append(view.model_copy(update={"temporary_password": temporary}))
        return view

    return answer_with_secret(once.answer(session, person.account_id, create), shown)


@people.get("/{account_id}")
def show_person(
    account_id: PathId, session: RequestSession, response: Response, _: Manager
) -> PersonView:
    """Show an account with its version as the `ETag`."""
    account = get_account(session, account_id)
    response.headers["ETag"] = spell_etag(account.version)
    return PersonView.model_validate(account)


@people.put("/{account_id}")
def edit_person(
    account_id: PathId,
    fields: PersonFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Manager,
    if_match: IfMatch = None,
) -> PersonView:
    """Change name and roles; `If-Match` names the version that was read."""
    account = lock_among_administrators(session, account_id)
    check_if_match(if_match, account.version)
    service.rename(
        session,
        account,
        username=fields.username,
        name=fields.name,
        actor=person.actor,
        now=now,
    )
    service.change_roles(session, account, fields.roles, actor=person.actor, now=now)
    response.headers["ETag"] = spell_etag(account.version)
    return PersonView.model_validate(account)


@people.post("/{account_id}/disablement")
def disable_person(
    account_id: PathId, session: RequestSession, now: Now, person: Manager
) -> PersonView:
    """Let somebody in no more; their sign-ins and tokens end at once."""
    account = lock_among_administrators(session, account_id)
    service.disable(session, account, actor=person.actor, now=now)
    return PersonView.model_validate(account)


@people.delete("/{account_id}/disablement")
def enable_person(
    account_id: PathId, session: RequestSession, now: Now, person: Manager
) -> PersonView:
    """Let somebody in again."""
    account = lock_among_administrators(session, account_id)
    service.enable(session, account, actor=person.actor, now=now)
    return PersonView.model_validate(account)


@people.post("/{account_id}/password-reset")
def reset_password(
    account_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Manager,
) -> PersonWithPassword:
    """Give a temporary password, which is in this answer only; the person's sign-ins end."""
    account = lock_among_administrators(session, account_id)
    temporary = service.reset_password(
        session, account, hasher=get_hasher(settings), actor=person.actor, now=now
    )
    view = PersonWithPassword.model_validate(account)
    return view.model_copy(update={"temporary_password": temporary})


router.include_router(own_routes.router)
router.include_router(people)
