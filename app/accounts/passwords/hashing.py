"""Keeps passwords as argon2id hashes, and spends the same work where there is no account."""

from functools import lru_cache
from threading import BoundedSemaphore
from typing import Final

from passlib.context import CryptContext

from app.accounts.passwords.wording import MOST, normalise_password
from app.core.settings import Settings

# Each hash takes its memory for a moment; more at once than this wait for each other.
AT_ONCE: Final = 4
_turns: Final = BoundedSemaphore(AT_ONCE)


class Hasher:
    """Hashes and verifies with the plant's parameters (argon2id, one lane)."""

    def __init__(self, *, memory_kib: int, passes: int) -> None:
        self._context = CryptContext(
            schemes=["argon2"],
            argon2__type="ID",
            argon2__memory_cost=memory_kib,
            argon2__time_cost=passes,
            argon2__parallelism=1,
        )
        self._of_nobody: str = self._context.hash("the password of nobody at all")

    def hash(self, password: str) -> str:
        """Return the hash of a password that check_password returned."""
        with _turns:
            hashed: str = self._context.hash(password)
        return hashed

    def verify(self, typed: str, stored: str | None) -> tuple[bool, str | None]:
        """Say whether the typed text is the password, and its new hash if the stored one is old.

        With no stored hash, or a text that could not be a password, the work is done all the same.
        """
        try:
            password = normalise_password(typed)
        except ValueError:
            password, stored = "", None
        if len(password) > MOST:
            password, stored = "", None
        usable = stored is not None and self._context.identify(stored) is not None
        with _turns:
            is_right, renewed = self._context.verify_and_update(
                password, stored if usable else self._of_nobody
            )
        return (True, renewed) if usable and is_right else (False, None)


@lru_cache(maxsize=8)
def _get_hasher(memory_kib: int, passes: int) -> Hasher:
    return Hasher(memory_kib=memory_kib, passes=passes)


def get_hasher(settings: Settings) -> Hasher:
    """Return the hasher with the parameters of the settings."""
    return _get_hasher(settings.argon2_memory_kib, settings.argon2_passes)
