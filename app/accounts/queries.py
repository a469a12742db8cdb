"""Reads accounts, sessions and tokens."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Final

from sqlalchemy import (
    ColumnElement,
    Select,
    String,
    bindparam,
    func,
    or_,
    select,
    text,
    type_coerce,
)
from sqlalchemy.orm import Session, joinedload

from app.accounts.permissions import Role
from app.accounts.tables import Account, ApiToken, SignedInSession
from app.core.refusals import Unknown

_TOKEN: Final = (
    select(
        ApiToken.id,
        ApiToken.account_id,
        ApiToken.roles,
        ApiToken.expires_at,
        ApiToken.revoked_at,
        Account.username,
        Account.name,
        Account.commitment,
        Account.roles.label("account_roles"),
        Account.must_change_password,
        Account.disabled_at,
    )
    .join(Account, ApiToken.account_id == Account.id)
    .where(ApiToken.secret_digest == bindparam("digest"))
)


class AccountUnknown(Unknown):
    """No account has this number."""

    code = "accounts.unknown"


class TokenUnknown(Unknown):
    """The person has no token with this number."""

    code = "accounts.token_unknown"


class SignInUnknown(Unknown):
    """The person has no sign-in with this number."""

    code = "accounts.sign_in_unknown"


def find_session(session: Session, secret_digest: str) -> SignedInSession | None:
    """Return the sign-in with this secret and its account, ended or not."""
    return session.scalar(
        select(SignedInSession)
        .where(SignedInSession.secret_digest == secret_digest)
        .options(joinedload(SignedInSession.account))
    )


def find_token(session: Session, secret_digest: str) -> Any:
    """Return what opens with this secret, ended or not: the token's columns and its account's.

    Columns and no rows to edit: programs ask often, and only to be let in.
    """
    return session.execute(_TOKEN, {"digest": secret_digest}).first()


def is_session_alive(
    row: SignedInSession, *, now: datetime, idle: timedelta, absolute: timedelta
) -> bool:
    """Say whether a sign-in may still be used; the account must be enabled too."""
    return (
        row.ended_at is None
        and row.account.disabled_at is None
        and now - row.seen_at <= idle
        and now - row.started_at <= absolute
    )


def get_account(session: Session, account_id: int) -> Account:
    """Return an account; AccountUnknown if there is none."""
    account = session.get(Account, account_id)
    if account is None:
        raise AccountUnknown(f"There is no account number {account_id}.", field="account_id")
    return account


def find_account(session: Session, username: str) -> Account | None:
    """Return the account with this username as stored (see parse_username), or None."""
    return session.scalar(select(Account).where(Account.username == username))


def list_accounts(session: Session) -> Sequence[Account]:
    """Return all accounts by username, the disabled ones too."""
    return session.scalars(select(Account).order_by(Account.username)).all()


def lock_account(session: Session, account_id: int) -> Account:
    """Return an account as it is now, locked for changing it; AccountUnknown if there is none."""
    return _lock(session, account_id, Account.id == account_id)


def lock_among_administrators(session: Session, account_id: int) -> Account:
    """Return an account as lock_account does, with all enabled administrators locked too.

    They are locked in one order, so that two people cannot each remove the other at once.
    """
    return _lock(session, account_id, or_(Account.id == account_id, _is_administrator()))


def _lock(session: Session, account_id: int, which: ColumnElement[bool]) -> Account:
    rows = session.scalars(
        select(Account)
        .where(which)
        .order_by(Account.id)
        # NO KEY UPDATE: rows that name an account may go on being written.
        .with_for_update(key_share=True)
        .execution_options(populate_existing=True)
    ).all()
    account = next((row for row in rows if row.id == account_id), None)
    if account is None:
        raise AccountUnknown(f"There is no account number {account_id}.", field="account_id")
    return account


def is_last_administrator(session: Session, account: Account) -> bool:
    """Say whether this account is the only enabled administrator, with all of them locked."""
    others = select(func.count(Account.id)).where(Account.id != account.id, _is_administrator())
    is_one = Role.ADMINISTRATOR in account.roles and account.disabled_at is None
    return is_one and not session.scalar(others)


def _is_administrator() -> ColumnElement[bool]:
    stored = type_coerce(Account.roles, String)
    return Account.disabled_at.is_(None) & stored.contains(str(Role.ADMINISTRATOR))


def reserve_account_id(session: Session) -> int:
    """Return the number of the next account: its name card is written before its row."""
    if session.get_bind().dialect.name == "postgresql":
        reserved = session.scalar(text("SELECT nextval(pg_get_serial_sequence('accounts', 'id'))"))
    else:
        # Accounts are never deleted, and the writer on SQLite is alone.
        reserved = session.scalar(select(func.coalesce(func.max(Account.id), 0) + 1))
    return int(reserved or 1)


def select_accounts() -> Select[Account]:
    """Return the select of all accounts, for reading in pieces."""
    return select(Account)


def select_tokens(account_id: int) -> Select[ApiToken]:
    """Return the select of somebody's tokens, ended ones too, for reading in pieces."""
    return select(ApiToken).where(ApiToken.account_id == account_id)


def list_unrevoked_tokens(session: Session, account_id: int) -> Sequence[ApiToken]:
    """Return somebody's tokens that were not revoked, expired ones too, the newest first."""
    return session.scalars(
        select_tokens(account_id).where(ApiToken.revoked_at.is_(None)).order_by(ApiToken.id.desc())
    ).all()


def get_own_token(session: Session, account_id: int, token_id: int) -> ApiToken:
    """Return a token of this person; TokenUnknown for anybody else's."""
    token = session.get(ApiToken, token_id)
    if token is None or token.account_id != account_id:
        raise TokenUnknown(f"You have no token number {token_id}.", field="token_id")
    return token


def list_running_sessions(
    session: Session, account_id: int, *, now: datetime, idle: timedelta, absolute: timedelta
) -> Sequence[SignedInSession]:
    """Return somebody's sign-ins that can still be used, the newest first."""
    return session.scalars(
        select(SignedInSession)
        .where(
            SignedInSession.account_id == account_id,
            SignedInSession.ended_at.is_(None),
            SignedInSession.seen_at >= now - idle,
            SignedInSession.started_at >= now - absolute,
        )
        .order_by(SignedInSession.id.desc())
    ).all()


def get_own_session(session: Session, account_id: int, session_id: int) -> SignedInSession:
    """Return a sign-in of this person; SignInUnknown for anybody else's."""
    row = session.get(SignedInSession, session_id)
    if row is None or row.account_id != account_id:
        raise SignInUnknown(f"You have no sign-in number {session_id}.", field="session_id")
    return row


def is_known_address(session: Session, account_id: int, address: str, *, since: datetime) -> bool:
    """Say whether the account has signed in from exactly this address since then."""
    found = session.scalar(
        select(SignedInSession.id)
        .where(
            SignedInSession.account_id == account_id,
            SignedInSession.address == address,
            SignedInSession.started_at >= since,
        )
        .limit(1)
    )
    return found is not None


def count_accounts(session: Session) -> int:
    """Return how many accounts there are."""
    return session.scalar(select(func.count(Account.id))) or 0


def map_account_names(session: Session, ids: set[int]) -> dict[int, str]:
    """Return id → name for the accounts asked for."""
    rows = session.execute(select(Account.id, Account.name).where(Account.id.in_(ids))).all()
    return {row.id: row.name for row in rows}
