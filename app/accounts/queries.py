"""Reads accounts, sessions and tokens."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.accounts.permissions import Role
from app.accounts.tables import Account, ApiToken, SignedInSession
from app.core.refusals import Unknown


class AccountUnknown(Unknown):
    """No account has this number."""

    code = "accounts.unknown"


def find_session(session: Session, secret_digest: str) -> SignedInSession | None:
    """Return the sign-in with this secret and its account, ended or not."""
    return session.scalar(
        select(SignedInSession)
        .where(SignedInSession.secret_digest == secret_digest)
        .options(joinedload(SignedInSession.account))
    )


def find_token(session: Session, secret_digest: str) -> ApiToken | None:
    """Return the token with this secret and its account, ended or not."""
    return session.scalar(
        select(ApiToken)
        .where(ApiToken.secret_digest == secret_digest)
        .options(joinedload(ApiToken.account))
    )


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


def count_administrators(session: Session) -> int:
    """Return how many enabled accounts are administrators."""
    enabled = select(Account.roles).where(Account.disabled_at.is_(None))
    return sum(Role.ADMINISTRATOR in roles for roles in session.scalars(enabled))


def count_accounts(session: Session) -> int:
    """Return how many accounts there are."""
    return session.scalar(select(func.count(Account.id))) or 0


def map_account_names(session: Session, ids: set[int]) -> dict[int, str]:
    """Return id → name for the accounts asked for."""
    rows = session.execute(select(Account.id, Account.name).where(Account.id.in_(ids))).all()
    return {row.id: row.name for row in rows}
