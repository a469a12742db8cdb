"""What a history may be asked for, and the refusals that say why not."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

from app.core.refusals import Conflict, Unacceptable, Unknown

FIRST_YEAR: Final = 2000
LAST_YEAR: Final = 2199

# A program that opens a table of values takes a cell with one of these for a formula.


class EventKind(StrEnum):
    """The kinds of lines in a board's history, to filter by."""

    BOARD = "board"
    JOB = "job"
    CLEARANCE = "clearance"
    HOLD = "hold"
    STEP = "step"
    SKIP = "skip"
    CORRECTION = "correction"
    RUN = "run"
    OTHER = "other"


class EntryUnknown(Unknown):
    """The log has no entry with this number."""

    code = "history.entry_unknown"


class DayUnreadable(Unacceptable):
    """A day is not written as year, month and day, or lies too far away."""

    code = "history.day_unreadable"


class FilterUnreadable(Unacceptable):
    """A filter names something that is none."""

    code = "history.filter_unreadable"


class SearchUnreadable(Unacceptable):
    """What was typed holds a character that no text may hold."""

    code = "history.search_unreadable"


class VerificationRunning(Conflict):
    """The log is being verified already."""

    code = "history.verification_running"


class NoVerificationRunning(Conflict):
    """There is no verification to stop."""

    code = "history.no_verification_running"


@dataclass(frozen=True)
class Period:
    """From the first moment on, and before the last one; None is open."""

    since: datetime | None = None
    until: datetime | None = None

    def holds(self, moment: datetime) -> bool:
        """Say whether a moment lies in it."""
        return (self.since is None or moment >= self.since) and (
            self.until is None or moment < self.until
        )


ALWAYS: Final = Period()


def parse_period(first: str, last: str, zone: ZoneInfo) -> Period:
    """Return the period of two days of the plant's calendar, both included; blank is open.

    DayUnreadable for anything but `2026-03-04` between the years 2000 and 2199.
    """
    since, until = _parse_day(first, field="from"), _parse_day(last, field="to")
    if since is not None and until is not None and until < since:
        raise DayUnreadable(f"lies before {since.isoformat()}", field="to")
    return Period(
        since=None if since is None else _begin(since, zone),
        until=None if until is None else _begin(until + timedelta(days=1), zone),
    )


def _parse_day(text: str, *, field: str) -> date | None:
    if not text.strip():
        return None
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise DayUnreadable("must be a day like 2026-03-04", field=field) from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise DayUnreadable(f"must lie between {FIRST_YEAR} and {LAST_YEAR}", field=field)
    return day


def _begin(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), tzinfo=zone).astimezone(UTC)
