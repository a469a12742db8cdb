"""The person a request comes from, what names and roles may be, and who may change whom."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from app.accounts.permissions import Action, Role, check_permitted, is_permitted
from app.audit.rules import Actor
from app.core.refusals import Conflict, Forbidden, Unacceptable

USERNAME_LEAST: Final = 2
USERNAME_MOST: Final = 64


class PasswordMustChange(Forbidden):
    """The account works only for changing its password."""

    code = "accounts.password_must_change"


class SignInNeeded(Forbidden):
    """A token may not make or end what is not its own: who finds one could shut its owner out."""

    code = "accounts.sign_in_needed"


class OwnAccount(Forbidden):
    """Administrators do not give themselves roles, and do not disable or reset themselves."""

    code = "accounts.own_account"


class LastAdministrator(Conflict):
    """Without this person nobody could look after the accounts."""

    code = "accounts.last_administrator"


class UsernameTaken(Conflict):
    """Another account has this username already."""

    code = "accounts.username_taken"


class AccountDisabled(Conflict):
    """The account is disabled."""

    code = "accounts.disabled"


class NoRole(Unacceptable):
    """An account without a role could do nothing."""

    code = "accounts.no_role"


class RolesTooWide(Unacceptable):
    """A token can have its owner's roles and no other."""

    code = "accounts.roles_too_wide"


@dataclass(frozen=True)
class Person:
    """Somebody signed in, as a request knows them.

    `via` is `session` or `token 7`; a token's roles are the person's roles that it was given.
    """

    account_id: int
    username: str
    name: str
    commitment: str
    roles: frozenset[Role]
    via: str
    csrf: str
    session_id: int | None = None
    must_change: bool = False

    @property
    def actor(self) -> Actor:
        """The person as the audit log names them."""
        return Actor(
            self.account_id, self.commitment, tuple(sorted(str(r) for r in self.roles)), self.via
        )

    def may(self, action: Action) -> bool:
        """Say whether the person has a permission."""
        if self.must_change and action is not Action.OWN_ACCOUNT:
            return False
        return is_permitted(self.roles, action)

    def check_may(self, action: Action) -> None:
        """Refuse with NotPermitted unless the person has the permission.

        PasswordMustChange as long as the password is one that somebody else has seen.
        """
        if self.must_change and action is not Action.OWN_ACCOUNT:
            raise PasswordMustChange("Choose a password of your own first, under My account.")
        check_permitted(self.roles, action)

    def check_signed_in(self) -> None:
        """Refuse with SignInNeeded when a token asks."""
        if self.session_id is None:
            raise SignInNeeded("A token cannot do this; sign in with the password.")


def compute_secret_digest(secret: str) -> str:
    """Return the SHA-256 of a session or token secret.

    They are 32 random bytes, so a fast digest is enough.
    """
    return sha256(secret.encode()).hexdigest()


def spell_token_way(token_id: int) -> str:
    """Spell the way of somebody who comes with a token, as `Person.via` has it: `token 7`."""
    return f"token {token_id}"


def spell_roles(roles: frozenset[Role]) -> str:
    """Spell roles for people and for storage: `engineer, operator`."""
    return ", ".join(sorted(str(role) for role in roles))


def parse_username(text: str) -> str:
    """Return the one spelling of a username: NFKC, casefolded, 2 to 64 characters.

    Letters, digits, dot, hyphen and underscore. ValueError with a sentence otherwise.
    """
    folded = unicodedata.normalize("NFKC", text).casefold()
    spelt = unicodedata.normalize("NFKC", folded).strip()
    if not USERNAME_LEAST <= len(spelt) <= USERNAME_MOST:
        raise ValueError(
            f"must have {USERNAME_LEAST} to {USERNAME_MOST} characters, not {len(spelt)}"
        )
    for place, character in enumerate(spelt):
        kind = unicodedata.category(character)
        if not (kind.startswith("L") or kind == "Nd" or character in ".-_"):
            raise ValueError(
                f"may hold letters, digits, dot, hyphen and underscore; "
                f"character {place + 1} is U+{ord(character):04X}"
            )
    return spelt


def check_roles(roles: Iterable[Role]) -> frozenset[Role]:
    """Return the roles as a set; NoRole when there is none."""
    chosen = frozenset(roles)
    if not chosen:
        raise NoRole("must be at least one", field="roles")
    return chosen


def check_token_roles(roles: Iterable[Role], *, own: frozenset[Role]) -> frozenset[Role]:
    """Return a token's roles; NoRole without one, RolesTooWide when one is not the owner's."""
    chosen = check_roles(roles)
    if not chosen <= own:
        raise RolesTooWide(
            f"can only be your own ({spell_roles(own)}), not {spell_roles(chosen - own)}",
            field="roles",
        )
    return chosen


def check_role_change(
    *, before: frozenset[Role], after: frozenset[Role], is_own: bool, is_last_administrator: bool
) -> None:
    """Refuse a change of roles that nobody may make.

    OwnAccount when people give themselves a role; LastAdministrator when the last one would stop
    being one.
    """
    if is_own and not after <= before:
        raise OwnAccount(
            f"cannot be given to oneself ({spell_roles(after - before)}); "
            "another administrator can do it",
            field="roles",
        )
    if is_last_administrator and Role.ADMINISTRATOR not in after:
        raise LastAdministrator(
            "must keep administrator: this is the last one; make another first", field="roles"
        )


def check_may_disable(*, is_own: bool, is_last_administrator: bool) -> None:
    """Refuse disabling oneself (OwnAccount) and the LastAdministrator."""
    if is_last_administrator:
        raise LastAdministrator("This is the last administrator; make another first.")
    if is_own:
        raise OwnAccount("Nobody can disable themselves; another administrator can do it.")


def check_may_reset(*, is_own: bool, is_disabled: bool) -> None:
    """Refuse resetting one's own password (OwnAccount) and that of an AccountDisabled."""
    if is_own:
        raise OwnAccount("Change your own password under My account.")
    if is_disabled:
        raise AccountDisabled("This account is disabled; enable it first.")
