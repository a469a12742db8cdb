"""People: who has an account, and what an administrator can change about it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts import service
from app.accounts.access import make_shell, needs
from app.accounts.own_pages import SecretPage
from app.accounts.passwords.hashing import get_hasher
from app.accounts.permissions import Action, Role
from app.accounts.queries import get_account, lock_among_administrators, select_accounts
from app.accounts.rules import Person, spell_roles
from app.accounts.schemas import PersonFields, PersonNames, PersonRoles
from app.accounts.tables import Account
from app.core.clock import spell_day
from app.core.conditional import check_version
from app.core.paging import AskedPage, Paging, take_piece
from app.core.refusals import Refusal
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.settings import Settings
from app.web.forms import Form, PostedForm, map_faults
from app.web.problems import get_status
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

Manager = Annotated[Person, Depends(needs(Action.ACCOUNTS_MANAGE))]

PURPOSES: Final[Mapping[Role, str]] = {
    Role.OPERATOR: "does jobs with published recipes",
    Role.ENGINEER: "writes, proposes and approves recipes",
    Role.AUDITOR: "reads everything, verifies, exports; changes nothing",
    Role.ADMINISTRATOR: "looks after accounts and benches",
}

add_notices(
    {
        "person-changed": "The account was changed.",
        "person-disabled": "The account is disabled; its name stays in the history.",
        "person-enabled": "The account is enabled again.",
    }
)


@dataclass(frozen=True)
class RoleChoice:
    """One role that can be ticked."""

    value: str
    purpose: str
    is_chosen: bool


@dataclass(frozen=True)
class PersonLine:
    """One account in the list."""

    href: str
    username: str
    name: str
    roles: str
    since: str
    shape: str
    word: str


@dataclass(frozen=True)
class PeoplePage:
    """All that people.html can see."""

    shell: Shell
    lines: tuple[PersonLine, ...]
    next_href: str | None
    choices: tuple[RoleChoice, ...]
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class PersonPage:
    """All that person.html can see."""

    shell: Shell
    href: str
    version: int
    shape: str
    word: str
    is_disabled: bool
    is_own: bool
    choices: tuple[RoleChoice, ...]
    values: Mapping[str, str]
    faults: Mapping[str, str] = field(default_factory=dict)


@router.get("/setup/people")
def show_people(
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Manager,
    paging: AskedPage,
) -> HTMLResponse:
    """Show the accounts and the form for another."""
    return _show_people(request, session, settings, person, paging)


@router.post("/setup/people")
def add_person(
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Manager,
    form: PostedForm,
) -> HTMLResponse:
    """Add an account and show its temporary password, or the form again with what was wrong."""
    try:
        fields = form.parse(PersonFields)
        account, temporary = service.add_person(
            session,
            username=fields.username,
            name=fields.name,
            roles=fields.roles,
            hasher=get_hasher(settings),
            actor=person.actor,
            now=now,
        )
    except Refusal as refusal:
        return _show_people(
            request, session, settings, person, Paging(), form=form, faults=map_faults(refusal)
        )
    return _show_temporary(request, person, account, temporary)


@router.get("/setup/people/{account_id}")
def show_person(
    account_id: PathId, request: Request, session: RequestSession, person: Manager
) -> HTMLResponse:
    """Show one account."""
    return _show_person(request, session, person, account_id)


@router.post("/setup/people/{account_id}")
def rename(
    account_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Manager,
    form: PostedForm,
) -> Response:
    """Change what a person is called."""
    account = lock_among_administrators(session, account_id)
    try:
        check_version(form.text("version"), account.version)
        names = form.parse(PersonNames)
        service.rename(
            session,
            account,
            username=names.username,
            name=names.name,
            actor=person.actor,
            now=now,
        )
    except Refusal as refusal:
        return _show_person(request, session, person, account_id, form=form, refusal=refusal)
    return go_to(f"/setup/people/{account_id}", said="person-changed")


@router.post("/setup/people/{account_id}/roles")
def change_roles(
    account_id: PathId,
    request: Request,
    session: RequestSession,
    now: Now,
    person: Manager,
    form: PostedForm,
) -> Response:
    """Change what a person may do."""
    account = lock_among_administrators(session, account_id)
    try:
        check_version(form.text("version"), account.version)
        roles = form.parse(PersonRoles).roles
        service.change_roles(session, account, roles, actor=person.actor, now=now)
    except Refusal as refusal:
        return _show_person(request, session, person, account_id, form=form, refusal=refusal)
    if account_id == person.account_id and Role.ADMINISTRATOR not in account.roles:
        return go_to("/")
    return go_to(f"/setup/people/{account_id}", said="person-changed")


@router.post("/setup/people/{account_id}/disablement")
def disable(
    account_id: PathId, request: Request, session: RequestSession, now: Now, person: Manager
) -> Response:
    """Let somebody in no more."""
    account = lock_among_administrators(session, account_id)
    try:
        service.disable(session, account, actor=person.actor, now=now)
    except Refusal as refusal:
        return _show_person(request, session, person, account_id, refusal=refusal)
    return go_to(f"/setup/people/{account_id}", said="person-disabled")


@router.post("/setup/people/{account_id}/enablement")
def enable(account_id: PathId, session: RequestSession, now: Now, person: Manager) -> Response:
    """Let somebody in again."""
    account = lock_among_administrators(session, account_id)
    service.enable(session, account, actor=person.actor, now=now)
    return go_to(f"/setup/people/{account_id}", said="person-enabled")


@router.post("/setup/people/{account_id}/password-reset")
def reset_password(
    account_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Manager,
) -> HTMLResponse:
    """Give somebody a temporary password and show it this once."""
    account = lock_among_administrators(session, account_id)
    try:
        temporary = service.reset_password(
            session, account, hasher=get_hasher(settings), actor=person.actor, now=now
        )
    except Refusal as refusal:
        return _show_person(request, session, person, account_id, refusal=refusal)
    return _show_temporary(request, person, account, temporary)


def _show_temporary(
    request: Request, person: Person, account: Account, temporary: str
) -> HTMLResponse:
    page = SecretPage(
        shell=make_shell(request, person, title=f"A password for {account.name}"),
        what=f"Temporary password of {account.username}",
        secret=temporary,
        then="Hand it over in person; at the first sign-in another one must be chosen.",
        way_on=f"/setup/people/{account.id}",
    )
    return render("accounts/secret.html", page)


def _show_people(
    request: Request,
    session: Session,
    settings: Settings,
    person: Person,
    paging: Paging,
    *,
    form: Form | None = None,
    faults: Mapping[str, str] | None = None,
) -> HTMLResponse:
    rows, cursor = take_piece(session, select_accounts(), key=Account.id, paging=paging)
    page = PeoplePage(
        shell=make_shell(request, person, title="People"),
        lines=tuple(_make_line(account, settings) for account in rows),
        next_href=f"/setup/people?cursor={cursor}" if cursor else None,
        choices=_list_choices(set(form.lists.get("roles", ())) if form else set()),
        values=form.texts if form else {},
        faults=faults or {},
    )
    return render("accounts/people.html", page, status=422 if faults else 200)


def _make_line(account: Account, settings: Settings) -> PersonLine:
    shape, word = _spell_state(account)
    return PersonLine(
        href=f"/setup/people/{account.id}",
        username=account.username,
        name=account.name,
        roles=spell_roles(account.roles),
        since=spell_day(account.created_at, settings.zone),
        shape=shape,
        word=word,
    )


def _spell_state(account: Account) -> tuple[str, str]:
    if account.disabled_at is not None:
        return "plain", "disabled"
    if account.must_change_password:
        return "caution", "temporary password"
    return "go", "enabled"


def _list_choices(chosen: set[str]) -> tuple[RoleChoice, ...]:
    return tuple(RoleChoice(str(role), PURPOSES[role], str(role) in chosen) for role in Role)


def _show_person(
    request: Request,
    session: Session,
    person: Person,
    account_id: int,
    *,
    form: Form | None = None,
    refusal: Refusal | None = None,
) -> HTMLResponse:
    session.expire_all()
    account = get_account(session, account_id)
    texts = form.texts if form else {}
    sent_roles = form.lists.get("roles") if form else None
    chosen = {str(role) for role in account.roles} if sent_roles is None else set(sent_roles)
    shape, word = _spell_state(account)
    page = PersonPage(
        shell=make_shell(request, person, title=account.name),
        href=f"/setup/people/{account.id}",
        version=account.version,
        shape=shape,
        word=word,
        is_disabled=account.disabled_at is not None,
        is_own=account.id == person.account_id,
        choices=_list_choices(chosen),
        values={
            "username": texts.get("username", account.username),
            "name": texts.get("name", account.name),
        },
        faults=map_faults(refusal) if refusal else {},
    )
    status = 200
    if refusal is not None:
        status = 422 if form is not None else int(get_status(type(refusal)))
    return render("accounts/person.html", page, status=status)
