"""Signs people in and out, in two short transactions with the slow hash between them.

The first counts the attempt before it is judged, so that a burst of guesses cannot slip past the
count; the second opens the sign-in and forgives, or tells of the failure.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import delete, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from app.accounts.passwords.hashing import Hasher
from app.accounts.queries import (
    find_account,
    find_session,
    get_account,
    is_known_address,
    lock_account,
)
from app.accounts.rules import compute_secret_digest, parse_username
from app.accounts.tables import Account, SignedInSession, SignInFailures
from app.accounts.throttle import (
    FORGOTTEN_AFTER,
    KNOWN_FOR,
    Attempt,
    check_may_try,
    compute_left_s,
)
from app.audit import service as audit
from app.audit.rules import Actor, Subject
from app.core.refusals import Unacceptable

AGENT_MOST: Final = 200
ADDRESS_MOST: Final = 64
NOBODY: Final = Actor(None, None, (), "sign-in")
_SWEPT_AT_ONCE: Final = 500


class WrongPassword(Unacceptable):
    """The username and the password do not belong together."""

    code = "accounts.wrong_password"


@dataclass(frozen=True)
class Candidate:
    """Who an attempt says it is: the account and hash as they were when it was counted."""

    attempt: Attempt
    account_id: int | None
    password_hash: str | None


@dataclass(frozen=True)
class Verdict:
    """Whether the password was right, and its new hash when the parameters have changed."""

    is_right: bool
    renewed_hash: str | None


@dataclass(frozen=True)
class Admission:
    """The secret for the browser's cookie; only its digest is stored."""

    account_id: int
    secret: str


def begin_sign_in(session: Session, *, typed_name: str, address: str, now: datetime) -> Candidate:
    """Count the attempt and return whose it is; TooManyFailures, uncounted, while a wait is left.

    The first transaction.
    """
    try:
        username = parse_username(typed_name)
    except ValueError:
        username = typed_name
        account = None
    else:
        account = find_account(session, username)
    attempt = Attempt(username, address[:ADDRESS_MOST])
    count_attempt(session, attempt, account_id=account.id if account else None, now=now)
    if account is None or account.disabled_at is not None:
        return Candidate(attempt, account.id if account else None, None)
    return Candidate(attempt, account.id, account.password_hash)


def judge(candidate: Candidate, typed_password: str, hasher: Hasher) -> Verdict:
    """Say whether the password is right; takes as long for a username that nobody has."""
    return Verdict(*hasher.verify(typed_password, candidate.password_hash))


def finish_sign_in(
    session: Session,
    candidate: Candidate,
    verdict: Verdict,
    *,
    agent: str,
    replaced: str | None,
    now: datetime,
) -> Admission | None:
    """Open the sign-in, or tell of the failure and return None; the second transaction.

    `replaced` is the secret of the sign-in this browser had before; that one ends.
    """
    account = None
    if verdict.is_right and candidate.account_id is not None:
        account = lock_account(session, candidate.account_id)
        # Reset or disabled while the hash was computed: the old password opens nothing.
        if account.disabled_at is not None or account.password_hash != candidate.password_hash:
            account = None
    if account is None:
        _tell_failure(session, candidate, now=now)
        return None
    forgive(session, candidate.attempt)
    if replaced is not None:
        _end_replaced(session, replaced, now=now)
    _drop_old(session, account.id, now=now)
    if verdict.renewed_hash is not None:
        # Past the version: the same password in a new form is no edit that others could miss.
        session.execute(
            update(Account)
            .where(Account.id == account.id)
            .values(password_hash=verdict.renewed_hash)
        )
    secret = secrets.token_urlsafe(32)
    session.add(
        SignedInSession(
            account_id=account.id,
            secret_digest=compute_secret_digest(secret),
            csrf=secrets.token_urlsafe(32),
            started_at=now,
            seen_at=now,
            address=candidate.attempt.address,
            agent="".join(c if c.isprintable() else "�" for c in agent[:AGENT_MOST]),
        )
    )
    session.flush()
    actor = Actor(
        account.id, account.commitment, tuple(sorted(str(r) for r in account.roles)), "session"
    )
    _tell(session, "accounts.sign_in", account.id, candidate.attempt, actor=actor, now=now)
    return Admission(account.id, secret)


def sign_out(session: Session, session_id: int, *, actor: Actor, now: datetime) -> None:
    """End the sign-in that asks for it."""
    session.execute(
        update(SignedInSession).where(SignedInSession.id == session_id).values(ended_at=now)
    )
    audit.append(
        session,
        action="accounts.sign_out",
        subject=Subject("account", actor.account_id or 0),
        actor=actor,
        now=now,
    )


def count_attempt(
    session: Session, attempt: Attempt, *, account_id: int | None, now: datetime
) -> None:
    """Count an attempt as failed until it is forgiven; TooManyFailures while a wait is left."""
    since = now - KNOWN_FOR
    is_known = account_id is not None and is_known_address(
        session, account_id, attempt.address, since=since
    )
    limits = attempt.list_limits(is_known=is_known)
    rows = _lock_failures(session, attempt, now=now)
    for row in rows:
        if now - row.last_at > FORGOTTEN_AFTER:
            row.count = 0
    check_may_try(
        max(
            compute_left_s(row.count, last_at=row.last_at, now=now, most_s=limits[row.key])
            for row in rows
            if row.key in limits
        )
    )
    for row in rows:
        row.count += 1
        row.last_at = now
    session.flush()
    _sweep(session, now=now)


def forgive(session: Session, attempt: Attempt) -> None:
    """Forget the failures of this account, and what it added to those of its address.

    The rest of the address stays counted: who guesses at many accounts from one place cannot
    clear the count by signing in with their own.
    """
    rows = {row.key: row for row in _select_failures(session, attempt)}
    own = rows[attempt.pair_key].count if attempt.pair_key in rows else 0
    for key in (attempt.pair_key, attempt.account_key):
        if key in rows:
            rows[key].count = 0
    if attempt.address_key in rows:
        rows[attempt.address_key].count = max(0, rows[attempt.address_key].count - own)
    session.flush()


def _lock_failures(session: Session, attempt: Attempt, *, now: datetime) -> list[SignInFailures]:
    fresh = [{"key": key, "count": 0, "last_at": now} for key in attempt.list_keys()]
    kind = postgresql if session.get_bind().dialect.name == "postgresql" else sqlite
    # One row at a time in the order of keys: two attempts never wait for each other in a ring.
    for values in fresh:
        session.execute(kind.insert(SignInFailures).values(**values).on_conflict_do_nothing())
    return _select_failures(session, attempt)


def _select_failures(session: Session, attempt: Attempt) -> list[SignInFailures]:
    return list(
        session.scalars(
            select(SignInFailures)
            .where(SignInFailures.key.in_(attempt.list_keys()))
            .order_by(SignInFailures.key)
            .with_for_update()
            .execution_options(populate_existing=True)
        ).all()
    )


def _sweep(session: Session, *, now: datetime) -> None:
    forgotten = (
        select(SignInFailures.key)
        .where(SignInFailures.last_at < now - FORGOTTEN_AFTER)
        .limit(_SWEPT_AT_ONCE)
        .with_for_update(skip_locked=True)
    )
    session.execute(
        delete(SignInFailures).where(SignInFailures.key.in_(forgotten)),
        execution_options={"synchronize_session": False},
    )


def _end_replaced(session: Session, secret: str, *, now: datetime) -> None:
    row = find_session(session, compute_secret_digest(secret))
    if row is not None and row.ended_at is None:
        row.ended_at = now


def _drop_old(session: Session, account_id: int, *, now: datetime) -> None:
    """Drop sign-ins that are too old to make an address known: nobody needs them any more."""
    session.execute(
        delete(SignedInSession).where(
            SignedInSession.account_id == account_id,
            SignedInSession.started_at < now - KNOWN_FOR - timedelta(days=1),
        )
    )


def _tell_failure(session: Session, candidate: Candidate, *, now: datetime) -> None:
    account = get_account(session, candidate.account_id) if candidate.account_id else None
    subject_id = account.id if account else 0
    _tell(
        session,
        "accounts.sign_in_failed",
        subject_id,
        candidate.attempt,
        actor=NOBODY,
        now=now,
    )


def _tell(
    session: Session,
    action: str,
    account_id: int,
    attempt: Attempt,
    *,
    actor: Actor,
    now: datetime,
) -> None:
    audit.append(
        session,
        action=action,
        subject=Subject("account", account_id),
        actor=actor,
        now=now,
        details={"address": attempt.address},
    )
