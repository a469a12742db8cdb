"""Changes accounts: what administrators and the terminal do."""

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import update
from sqlalchemy.orm import Session

from app.accounts import rules
from app.accounts.passwords.hashing import Hasher
from app.accounts.passwords.wording import check_password, make_temporary_password
from app.accounts.permissions import Role
from app.accounts.queries import (
    find_account,
    is_last_administrator,
    lock_account,
    lock_among_administrators,
    reserve_account_id,
)
from app.accounts.rules import UsernameTaken
from app.accounts.tables import Account, ApiToken, SignedInSession
from app.audit import service as audit
from app.audit.rules import Actor, Subject
from app.core.canonical_json import JsonValue
from app.core.races import wait_for_names

TERMINAL = Actor(None, None, (), "terminal")


def add_account(
    session: Session,
    *,
    username: str,
    name: str,
    roles: Iterable[Role],
    password: str,
    hasher: Hasher,
    actor: Actor,
    now: datetime,
    must_change: bool = False,
) -> Account:
    """Add an account; `username` and `name` are parsed already.

    UsernameTaken, NoRole or PasswordRefused.
    """
    chosen = rules.check_roles(roles)
    _check_username_free(session, username, account_id=None)
    accepted = check_password(password, username=username)
    account_id = reserve_account_id(session)
    account = Account(
        id=account_id,
        username=username,
        name=name,
        commitment=audit.add_name_card(
            session, account_id=account_id, username=username, name=name, now=now
        ),
        roles=chosen,
        password_hash=hasher.hash(accepted),
        must_change_password=must_change,
        created_at=now,
    )
    session.add(account)
    session.flush()
    _tell(
        session,
        account,
        "accounts.add",
        actor=actor,
        now=now,
        details={"person": account.commitment, "roles": _list_roles(account.roles)},
    )
    return account


def add_person(
    session: Session,
    *,
    username: str,
    name: str,
    roles: Iterable[Role],
    hasher: Hasher,
    actor: Actor,
    now: datetime,
) -> tuple[Account, str]:
    """Add an account with a temporary password, which is returned and must be changed."""
    temporary = make_temporary_password(username)
    account = add_account(
        session,
        username=username,
        name=name,
        roles=roles,
        password=temporary,
        hasher=hasher,
        actor=actor,
        now=now,
        must_change=True,
    )
    return account, temporary


def rename(
    session: Session, account: Account, *, username: str, name: str, actor: Actor, now: datetime
) -> Account:
    """Change what a person is called; older entries keep the card of the older name."""
    if (username, name) == (account.username, account.name):
        return account
    _check_username_free(session, username, account_id=account.id)
    before = account.commitment
    account.username, account.name = username, name
    account.commitment = audit.add_name_card(
        session, account_id=account.id, username=username, name=name, now=now
    )
    session.flush()
    details: dict[str, JsonValue] = {"before": before, "after": account.commitment}
    _tell(session, account, "accounts.rename", actor=actor, now=now, details=details)
    return account


def change_roles(
    session: Session, account: Account, roles: Iterable[Role], *, actor: Actor, now: datetime
) -> Account:
    """Change what a person may do; it holds from their next request on.

    NoRole, OwnAccount or LastAdministrator.
    """
    after = rules.check_roles(roles)
    lock_among_administrators(session, account.id)
    before = account.roles
    rules.check_role_change(
        before=before,
        after=after,
        is_own=actor.account_id == account.id,
        is_last_administrator=is_last_administrator(session, account),
    )
    if after == before:
        return account
    account.roles = after
    session.flush()
    details: dict[str, JsonValue] = {"before": _list_roles(before), "after": _list_roles(after)}
    _tell(session, account, "accounts.change_roles", actor=actor, now=now, details=details)
    return account


def disable(session: Session, account: Account, *, actor: Actor, now: datetime) -> Account:
    """Let somebody in no more; their sign-ins and tokens end, their name stays in history.

    OwnAccount or LastAdministrator; an account that is disabled already is left alone.
    """
    lock_among_administrators(session, account.id)
    rules.check_may_disable(
        is_own=actor.account_id == account.id,
        is_last_administrator=is_last_administrator(session, account),
    )
    if account.disabled_at is not None:
        return account
    account.disabled_at = now
    session.flush()
    end_sessions(session, account.id, now=now)
    session.execute(
        update(ApiToken)
        .where(ApiToken.account_id == account.id, ApiToken.revoked_at.is_(None))
        .values(revoked_at=now)
    )
    _tell(session, account, "accounts.disable", actor=actor, now=now, details={})
    return account


def enable(session: Session, account: Account, *, actor: Actor, now: datetime) -> Account:
    """Let somebody in again; one who is not disabled is left alone."""
    if account.disabled_at is None:
        return account
    account.disabled_at = None
    session.flush()
    _tell(session, account, "accounts.enable", actor=actor, now=now, details={})
    return account


def reset_password(
    session: Session, account: Account, *, hasher: Hasher, actor: Actor, now: datetime
) -> str:
    """Give an account a temporary password and return it; its sign-ins end.

    OwnAccount or AccountDisabled.
    """
    lock_account(session, account.id)
    rules.check_may_reset(
        is_own=actor.account_id == account.id, is_disabled=account.disabled_at is not None
    )
    temporary = make_temporary_password(account.username)
    account.password_hash = hasher.hash(temporary)
    account.must_change_password = True
    session.flush()
    end_sessions(session, account.id, now=now)
    _tell(session, account, "accounts.reset_password", actor=actor, now=now, details={})
    return temporary


def end_sessions(
    session: Session, account_id: int, *, now: datetime, but_id: int | None = None
) -> None:
    """End every sign-in of an account, but for one where that is asked."""
    rows = update(SignedInSession).where(
        SignedInSession.account_id == account_id, SignedInSession.ended_at.is_(None)
    )
    if but_id is not None:
        rows = rows.where(SignedInSession.id != but_id)
    session.execute(rows.values(ended_at=now))


def _check_username_free(session: Session, username: str, *, account_id: int | None) -> None:
    wait_for_names(session, "accounts.username")
    other = find_account(session, username)
    if other is not None and other.id != account_id:
        raise UsernameTaken(f"{username} belongs to another account already.", field="username")


def _list_roles(roles: frozenset[Role]) -> list[JsonValue]:
    return [str(role) for role in sorted(roles)]


def _tell(
    session: Session,
    account: Account,
    action: str,
    *,
    actor: Actor,
    now: datetime,
    details: dict[str, JsonValue],
) -> None:
    subject = Subject("account", account.id)
    audit.append(session, action=action, subject=subject, actor=actor, now=now, details=details)
