"""How long to wait after failed sign-ins: rules and values, no table."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from ipaddress import IPv6Address, ip_address
from math import ceil
from typing import Final

from app.core.refusals import TooSoon

FREE_FAILURES: Final = 5
MOST_WAIT_S: Final = 300
# An account is slowed for everybody only a little: strangers must not keep its owner out.
MOST_ACCOUNT_WAIT_S: Final = 30
FORGOTTEN_AFTER: Final = timedelta(hours=1)
KNOWN_FOR: Final = timedelta(days=30)


class TooManyFailures(TooSoon):
    """Sign-in failed too often just now; it works again after the wait."""

    code = "accounts.too_many_failures"


@dataclass(frozen=True)
class Attempt:
    """One try to prove who one is: the username as stored or typed, and where from."""

    username: str
    address: str

    @property
    def pair_key(self) -> str:
        """The key of this account from this address."""
        return _make_key("pair", self.username, group_address(self.address))

    @property
    def address_key(self) -> str:
        """The key of everything from this address."""
        return _make_key("address", group_address(self.address))

    @property
    def account_key(self) -> str:
        """The key of this account from anywhere."""
        return _make_key("account", self.username)

    def list_limits(self, *, is_known: bool) -> dict[str, int]:
        """Return key → longest wait in s.

        Where the account has signed in lately, the failures of others (under other names, from
        other addresses) do not slow it.
        """
        limits = {self.pair_key: MOST_WAIT_S}
        if not is_known:
            limits |= {self.address_key: MOST_WAIT_S, self.account_key: MOST_ACCOUNT_WAIT_S}
        return limits

    def list_keys(self) -> list[str]:
        """Return all keys, in the one order in which they are locked."""
        return sorted((self.pair_key, self.address_key, self.account_key))


def compute_wait_s(failures: int, *, most_s: int) -> int:
    """Return the wait in s after so many failures in a row: none below 5, then 1, 2, 4 … most_s."""
    if failures < FREE_FAILURES:
        return 0
    doublings = min(failures - FREE_FAILURES, most_s.bit_length())
    return min(1 << doublings, most_s)


def compute_left_s(failures: int, *, last_at: datetime, now: datetime, most_s: int) -> int:
    """Return how many whole seconds of the wait are left; never negative."""
    end = last_at + timedelta(seconds=compute_wait_s(failures, most_s=most_s))
    return max(0, ceil((end - now).total_seconds()))


def check_may_try(left_s: int) -> None:
    """Refuse with TooManyFailures while a wait is left."""
    if left_s > 0:
        seconds = "1 second" if left_s == 1 else f"{left_s} seconds"
        raise TooManyFailures(
            f"That failed too often just now; try again in {seconds}.", wait_s=left_s
        )


def group_address(address: str) -> str:
    """Return what counts as one address: an IPv4 address, or an IPv6 network of 64 bits."""
    try:
        parsed = ip_address(address)
    except ValueError:
        return address
    if isinstance(parsed, IPv6Address):
        if parsed.ipv4_mapped is not None:
            return str(parsed.ipv4_mapped)
        return f"{IPv6Address(int(parsed) >> 64 << 64)}/64"
    return str(parsed)


def _make_key(*parts: str) -> str:
    # Only digests are kept: a password typed into the name's field must not stay here.
    return sha256("\n".join(parts).encode("utf-8", "surrogatepass")).hexdigest()
