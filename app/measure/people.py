"""People for measuring: accounts that nobody can sign in to."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.accounts.permissions import Role
from app.accounts.rules import Person
from app.accounts.tables import Account
from app.audit.rules import Actor, Subject
from app.audit.service import add_name_card, append


def seat(session: Session, username: str, role: Role, *, now: datetime) -> Person:
    """Add an account with one role and return the person."""
    name = username.capitalize()
    commitment = add_name_card(session, account_id=0, username=username, name=name, now=now)
    account = Account(
        username=username,
        name=name,
        commitment=commitment,
        roles=frozenset({role}),
        password_hash="!",  # noqa: S106  (nobody can sign in with it)
        created_at=now,
    )
    session.add(account)
    session.flush()
    append(
        session,
        action="accounts.add",
        subject=Subject("account", account.id),
        actor=Actor(None, None, (), "terminal"),
        now=now,
        details={"person": commitment, "roles": [str(role)]},
    )
    return Person(
        account_id=account.id,
        username=username,
        name=name,
        commitment=commitment,
        roles=account.roles,
        via="terminal",
        csrf="",
    )
