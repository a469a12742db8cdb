"""Changes one's own account: the password, running sign-ins, and tokens."""

import secrets
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy.orm import Session

from app.accounts.passwords.hashing import Hasher
from app.accounts.passwords.wording import PasswordRefused, check_password
from app.accounts.queries import get_own_session, get_own_token, lock_account
from app.accounts.rules import (
    Person,
    check_token_roles,
    compute_secret_digest,
    spell_token_way,
)
from app.accounts.schemas import PasswordChange, TokenFields
from app.accounts.service import end_sessions
from app.accounts.sign_in import count_attempt, forgive
from app.accounts.tables import ApiToken, SignedInSession
from app.accounts.throttle import Attempt
from app.audit import service as audit
from app.audit.rules import Subject
from app.core.refusals import Unacceptable

# A secret that is found where it does not belong can be recognised.
RECOGNISED_BY: Final = "wbk_"


class CurrentPasswordWrong(Unacceptable):
    """The present password was not the one typed."""

    code = "accounts.current_password_wrong"


class TokenTooLong(Unacceptable):
    """The token would live longer than the plant allows."""

    code = "accounts.token_too_long"


def change_password(
    session: Session,
    change: PasswordChange,
    *,
    person: Person,
    address: str,
    hasher: Hasher,
    now: datetime,
) -> None:
    """Change one's own password; every other sign-in ends.

    TooManyFailures or CurrentPasswordWrong: both must be answered without a rollback, for the
    wrong try has been counted. PasswordRefused, SignInNeeded.
    """
    person.check_signed_in()
    account = lock_account(session, person.account_id)
    attempt = Attempt(account.username, address)
    count_attempt(session, attempt, account_id=account.id, now=now)
    is_right, _ = hasher.verify(change.current_password, account.password_hash)
    if not is_right:
        raise CurrentPasswordWrong("is not the present one", field="current_password")
    forgive(session, attempt)
    accepted = check_password(change.new_password, username=account.username, field="new_password")
    if hasher.verify(accepted, account.password_hash)[0]:
        raise PasswordRefused("must be another than the present one", field="new_password")
    account.password_hash = hasher.hash(accepted)
    account.must_change_password = False
    session.flush()
    end_sessions(session, account.id, now=now, but_id=person.session_id)
    audit.append(
        session,
        action="accounts.change_password",
        subject=Subject("account", account.id),
        actor=person.actor,
        now=now,
    )


def end_own_session(
    session: Session, session_id: int, *, person: Person, now: datetime
) -> SignedInSession:
    """End one of one's own sign-ins; one that has ended is left alone. SignInNeeded."""
    person.check_signed_in()
    row = get_own_session(session, person.account_id, session_id)
    if row.ended_at is not None:
        return row
    row.ended_at = now
    session.flush()
    audit.append(
        session,
        action="accounts.end_session",
        subject=Subject("account", person.account_id),
        actor=person.actor,
        now=now,
        details={"session": row.id},
    )
    return row


def add_token(
    session: Session, fields: TokenFields, *, person: Person, most_days: int, now: datetime
) -> tuple[ApiToken, str]:
    """Make a token for programs and return it with its secret, which is not kept.

    SignInNeeded, NoRole, RolesTooWide or TokenTooLong.
    """
    person.check_signed_in()
    roles = check_token_roles(fields.roles, own=person.roles)
    if fields.days > most_days:
        raise TokenTooLong(f"must be at most {most_days}, not {fields.days}", field="days")
    secret = RECOGNISED_BY + secrets.token_urlsafe(32)
    token = ApiToken(
        account_id=person.account_id,
        name=fields.name,
        secret_digest=compute_secret_digest(secret),
        roles=roles,
        created_at=now,
        expires_at=now + timedelta(days=fields.days),
    )
    session.add(token)
    session.flush()
    audit.append(
        session,
        action="accounts.add_token",
        subject=Subject("token", token.id),
        actor=person.actor,
        now=now,
        details={"roles": [str(role) for role in sorted(roles)], "days": fields.days},
    )
    return token, secret


def revoke_token(session: Session, token_id: int, *, person: Person, now: datetime) -> ApiToken:
    """End a token of one's own; one that was revoked before is left alone.

    A token can end itself; SignInNeeded for any other.
    """
    token = get_own_token(session, person.account_id, token_id)
    if person.via != spell_token_way(token.id):
        person.check_signed_in()
    if token.revoked_at is not None:
        return token
    token.revoked_at = now
    session.flush()
    audit.append(
        session,
        action="accounts.revoke_token",
        subject=Subject("token", token.id),
        actor=person.actor,
        now=now,
    )
    return token
