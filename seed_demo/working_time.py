"""When the plant works: Monday to Friday, 06:00 to 18:00 on its own clock."""

from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from seed_demo.plant import TIME_ZONE

ZONE: Final = ZoneInfo(TIME_ZONE)
OPENS: Final = time(6, 0)
CLOSES: Final = time(18, 0)
_FRIDAY: Final = 4


def is_working(moment: datetime) -> bool:
    """Say whether the plant works at a moment."""
    local = moment.astimezone(ZONE)
    return local.weekday() <= _FRIDAY and OPENS <= local.time() <= CLOSES


def at(day: date, hour: int, minute: int = 0) -> datetime:
    """Return the moment of a clock time on a day, with the plant's offset of that day."""
    return datetime.combine(day, time(hour, minute), tzinfo=ZONE)


def list_working_days(first: date, last: date) -> list[date]:
    """List the working days from first to last, both included."""
    span = (first + timedelta(days=n) for n in range((last - first).days + 1))
    return [day for day in span if day.weekday() <= _FRIDAY]


def find_working_day(day: date) -> date:
    """Return the day itself or the last working day before it."""
    return day - timedelta(days=max(0, day.weekday() - _FRIDAY))
