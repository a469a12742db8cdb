"""What several screens of history show: how the log stands, and links to things."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.clock import spell_minute, spell_moment
from app.history.log_state import Standing

# Where the page of a thing is; a thing without a page of its own is not linked.
PLACES: Final[Mapping[str, str]] = {
    "account": "/setup/people/{id}",
    "assembly": "/boards/assemblies/{id}",
    "bench": "/setup/benches/{id}",
    "board": "/boards/{id}/history",
    "job": "/jobs/{id}",
    "part": "/materials/parts/{id}",
    "recipe_revision": "/recipes/revisions/{id}",
    "run": "/runs/{id}",
    "window_version": "/windows/versions/{id}",
}
SEEN_WITH: Final[Mapping[str, Action]] = {"account": Action.ACCOUNTS_MANAGE}


@dataclass(frozen=True)
class LogLine:
    """How the log stands, in one line; `href` leads on for those who may see more."""

    shape: str
    word: str
    text: str
    href: str


def spell_log(standing: Standing, *, person: Person, zone: ZoneInfo) -> LogLine:
    """Spell whether the log verifies, since when, and when it was last looked at."""
    href = "/audit/verification" if person.may(Action.AUDIT_READ) else ""
    proven, check = standing.proven, standing.last_check
    if proven.wrong is not None:
        word = "The log does NOT verify"
        return LogLine("stop", word, f"entry {proven.wrong.seq:,}: {proven.wrong.reason}.", href)
    if proven.waiting:
        done = f"{proven.size:,} of {proven.size + proven.waiting:,} entries so far."
        return LogLine("caution", "The log is being verified", done, href)
    if proven.first_at is None:
        return LogLine("plain", "The log is empty", "Nothing was told yet.", href)
    text = (
        f"{proven.size:,} {'entry' if proven.size == 1 else 'entries'}, whole since "
        f"{spell_moment(proven.first_at, zone)} · checked {spell_minute(proven.checked_at, zone)}"
    )
    if check is not None and check.difference_count:
        differ = "record differs" if check.difference_count == 1 else "records differ"
        text += f" · but {check.difference_count:,} {differ} from it: {check.differences[0]}"
        return LogLine("stop", "The log verifies", text, href)
    if check is not None and check.open_locks:
        text += f" · but a lock of the database is open: {check.open_locks[0].trigger}"
        return LogLine("stop", "The log verifies", text, href)
    return LogLine("go", "The log verifies", text, href)


def find_place(kind: str, number: int | None, *, person: Person) -> str:
    """Return the address of a thing's page, empty where it has none or they may not see it."""
    place = PLACES.get(kind)
    if place is None or not number or not person.may(SEEN_WITH.get(kind, Action.READ)):
        return ""
    return place.format(id=number)
