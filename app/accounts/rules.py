"""The person a request comes from, and how secrets and names are kept."""

from dataclasses import dataclass
from hashlib import sha256

from app.accounts.permissions import Action, Role, check_permitted, is_permitted
from app.audit.rules import Actor


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

    @property
    def actor(self) -> Actor:
        """The person as the audit log names them."""
        return Actor(
            self.account_id, self.commitment, tuple(sorted(str(r) for r in self.roles)), self.via
        )

    def may(self, action: Action) -> bool:
        """Say whether the person has a permission."""
        return is_permitted(self.roles, action)

    def check_may(self, action: Action) -> None:
        """Refuse with NotPermitted unless the person has the permission."""
        check_permitted(self.roles, action)


def compute_secret_digest(secret: str) -> str:
    """Return the SHA-256 of a session or token secret.

    They are 32 random bytes, so a fast digest is enough.
    """
    return sha256(secret.encode()).hexdigest()


def spell_roles(roles: frozenset[Role]) -> str:
    """Spell roles for people and for storage: `engineer, operator`."""
    return ", ".join(sorted(str(role) for role in roles))
