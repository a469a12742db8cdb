"""Holds accounts, tokens, parts and benches against the entries that tell of them."""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import Any, Final

from app.history.differences import Difference, Fact, compare, tell_untold
from app.history.links import RecordKey
from app.history.told import ToldEntry
from app.materials.schemas import PartFields
from app.plant.schemas import BenchFields

ACCOUNT_ACTIONS: Final = (
    "accounts.add",
    "accounts.rename",
    "accounts.change_roles",
    "accounts.disable",
    "accounts.enable",
)
TOKEN_ACTIONS: Final = ("accounts.add_token", "accounts.revoke_token")
PART_ACTIONS: Final = ("materials.add_part", "materials.edit_part")
BENCH_ACTIONS: Final = (
    "plant.add_bench",
    "plant.edit_bench",
    "plant.retire_bench",
    "plant.reinstate_bench",
    "plant.describe_chain",
)

Told = Sequence[ToldEntry]


def check_account(row: Any, told: Told) -> Iterator[Difference]:
    """Check an account's roles, its name's commitment, and whether and since when it is disabled.

    `told` are the entries about it, oldest first, as for the other records.
    """
    key, name = RecordKey("account", row.id), f"account {row.username}"
    added = _find(told, "accounts.add")
    if added is None:
        yield tell_untold(key, name)
        return
    changed = _find(told, "accounts.change_roles")
    roles = changed.details.get("after") if changed else added.details.get("roles")
    renamed = _find(told, "accounts.rename")
    person = renamed.details.get("after") if renamed else added.details.get("person")
    ended = _find(told, "accounts.disable", "accounts.enable")
    disabled_at = ended.at if ended and ended.action == "accounts.disable" else None
    yield from compare(key, name, changed or added, [("roles", row.roles, _spell_roles(roles))])
    yield from compare(key, name, ended or added, [("disabling", row.disabled_at, disabled_at)])
    facts: list[Fact] = [("name's commitment", row.commitment, person)]
    yield from compare(key, name, renamed or added, facts)
    yield from compare(key, name, added, [("moment of adding", row.created_at, added.at)])


def check_token(row: Any, told: Told, of_owner: Told) -> Iterator[Difference]:
    """Check whose a token is, its roles, its expiry, and whether and when it ended.

    It ends when it is revoked or when its owner is disabled, whichever `of_owner` or `told` tells
    of first.
    """
    key, name = RecordKey("token", row.id), f"token {row.id} ({row.name})"
    added = _find(told, "accounts.add_token")
    if added is None:
        yield tell_untold(key, name)
        return
    days = added.details.get("days")
    expires_at = added.at + timedelta(days=days) if isinstance(days, int) else None
    facts: list[Fact] = [
        ("owner", row.account_id, added.actor_id),
        ("roles", row.roles, _spell_roles(added.details.get("roles"))),
        ("moment of making", row.created_at, added.at),
        ("expiry", row.expires_at, expires_at),
    ]
    yield from compare(key, name, added, facts)
    ends = [entry for entry in told if entry.action == "accounts.revoke_token"]
    ends += [e for e in of_owner if e.action == "accounts.disable" and e.seq > added.seq]
    end = min(ends, key=lambda entry: entry.seq, default=None)
    yield from compare(key, name, end or added, [("end", row.revoked_at, end.at if end else None)])


def check_part(row: Any, told: Told) -> Iterator[Difference]:
    """Check everything that is said of a part."""
    key, name = RecordKey("part", row.id), f"part {row.part_number}"
    added = _find(told, "materials.add_part")
    if added is None:
        yield tell_untold(key, name)
        return
    teller: dict[str, tuple[ToldEntry, object]] = {}
    for entry in told:
        said = entry.details if entry is added else entry.details.get("after")
        for field, value in (said if isinstance(said, dict) else {}).items():
            teller[field] = (entry, value)
    for field in PartFields.model_fields:
        entry, value = teller.get(field, (added, None))
        yield from compare(key, name, entry, [(_word(field), getattr(row, field), value)])
    yield from compare(key, name, added, [("moment of adding", row.created_at, added.at)])


def check_bench(row: Any, told: Told) -> Iterator[Difference]:
    """Check what a bench is called, has and measures with, and whether it is out of use."""
    key, name = RecordKey("bench", row.id), f"bench {row.code}"
    added = _find(told, "plant.add_bench")
    if added is None:
        yield tell_untold(key, name)
        return
    newest = _find(told, "plant.add_bench", "plant.edit_bench") or added
    facts: list[Fact] = [
        (_word(field), getattr(row, field), newest.details.get(field))
        for field in BenchFields.model_fields
    ]
    yield from compare(key, name, newest, facts)
    chain = _find(told, "plant.describe_chain")
    after = chain.details.get("after") if chain else None
    facts = [("measuring chain", row.measuring_chain, after)]
    yield from compare(key, name, chain or added, facts)
    moved = _find(told, "plant.retire_bench", "plant.reinstate_bench")
    retired_at = moved.at if moved and moved.action == "plant.retire_bench" else None
    yield from compare(key, name, moved or added, [("retiring", row.retired_at, retired_at)])
    yield from compare(key, name, added, [("moment of adding", row.created_at, added.at)])


def _find(told: Told, *actions: str) -> ToldEntry | None:
    """Return the newest entry of these actions."""
    return next((entry for entry in reversed(told) if entry.action in actions), None)


def _spell_roles(told: object) -> str | None:
    """Spell roles as the column holds them."""
    return ",".join(sorted(map(str, told))) if isinstance(told, list) else None


def _word(field: str) -> str:
    return field.replace("_", " ")
