"""The tables of people and of the ways in."""

from datetime import datetime
from typing import ClassVar

from sqlalchemy import CheckConstraint, Dialect, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship
from sqlalchemy.types import TypeDecorator

from app.accounts.permissions import Role
from app.core.db import Base, Versioned


class RoleSet(TypeDecorator[frozenset[Role]]):
    """A set of roles, stored as their sorted names with commas."""

    impl = String(80)
    cache_ok = True

    def process_bind_param(self, value: frozenset[Role] | None, _dialect: Dialect) -> str | None:
        """Spell the set in one way only."""
        return None if value is None else ",".join(sorted(str(role) for role in value))

    def process_result_value(self, value: str | None, _dialect: Dialect) -> frozenset[Role] | None:
        """Read the names back."""
        return None if value is None else frozenset(Role(word) for word in value.split(",") if word)


class Account(Versioned, Base):
    """A person; never deleted, so that history can name them for ever."""

    __tablename__ = "accounts"

    id: Mapped[int] = mapped_column(primary_key=True)
    username: Mapped[str] = mapped_column(
        String(64), CheckConstraint("username <> ''", name="username_said"), unique=True
    )
    name: Mapped[str] = mapped_column(String(120), CheckConstraint("name <> ''", name="name_said"))
    commitment: Mapped[str] = mapped_column(ForeignKey("name_cards.commitment"))
    roles: Mapped[frozenset[Role]] = mapped_column(RoleSet)
    password_hash: Mapped[str] = mapped_column(String(200))
    must_change_password: Mapped[bool] = mapped_column(default=False)
    created_at: Mapped[datetime]
    disabled_at: Mapped[datetime | None]


class SignedInSession(Base):
    """A browser somebody is signed in with; only the digest of its secret is kept."""

    __tablename__ = "signed_in_sessions"
    audited: ClassVar[bool] = False

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"), index=True)
    secret_digest: Mapped[str] = mapped_column(String(64), unique=True)
    csrf: Mapped[str] = mapped_column(String(64))
    started_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    address: Mapped[str] = mapped_column(String(64))
    agent: Mapped[str] = mapped_column(String(200))

    account: Mapped[Account] = relationship(lazy="raise_on_sql")


class ApiToken(Base):
    """A secret for programs, with an end and a narrower set of roles than its owner's."""

    __tablename__ = "api_tokens"

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"), index=True)
    name: Mapped[str] = mapped_column(String(80), CheckConstraint("name <> ''", name="name_said"))
    secret_digest: Mapped[str] = mapped_column(String(64), unique=True)
    roles: Mapped[frozenset[Role]] = mapped_column(RoleSet)
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime] = mapped_column(
        CheckConstraint("expires_at > created_at", name="expires_after_created")
    )
    revoked_at: Mapped[datetime | None]

    account: Mapped[Account] = relationship(lazy="raise_on_sql")


class SignInFailures(Base):
    """Failed sign-ins in a row, for an account, an address, or a pair of them."""

    __tablename__ = "sign_in_failures"
    audited: ClassVar[bool] = False

    key: Mapped[str] = mapped_column(String(64), primary_key=True)
    count: Mapped[int]
    last_at: Mapped[datetime] = mapped_column(index=True)
