"""The one place that asks what time it is."""

from collections.abc import Callable
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

Clock = Callable[[], datetime]


def read_clock() -> datetime:
    """Return the present moment in UTC."""
    return datetime.now(UTC)


def spell_moment(moment: datetime, zone: ZoneInfo) -> str:
    """Spell a moment in the plant's zone with its offset: `2026-03-04 15:20:07 +01:00`."""
    local = moment.astimezone(zone)
    return f"{local:%Y-%m-%d %H:%M:%S} {spell_offset(local)}"


def spell_minute(moment: datetime, zone: ZoneInfo) -> str:
    """Spell a moment to the minute in the plant's zone: `2026-03-04 15:20`; for dense tables."""
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M}"


def spell_day(moment: datetime, zone: ZoneInfo) -> str:
    """Spell the day of a moment in the plant's zone: `2026-03-04`."""
    return f"{moment.astimezone(zone):%Y-%m-%d}"


def spell_utc(moment: datetime) -> str:
    """Spell a moment in UTC as records keep it: `2026-03-04T14:20:07.000000Z`."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def spell_offset(local: datetime) -> str:
    """Spell the offset of an aware moment: `+01:00`."""
    offset = local.strftime("%z")
    return f"{offset[:3]}:{offset[3:5]}"
