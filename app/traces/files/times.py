"""Columns of times as exact ticks: clock times, dates with times, and plain numbers."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from app.core.refusals import Unacceptable
from app.traces.files.decoding import FIELD
from app.traces.rules import TimeFormat

MAX_TIME_DECIMALS: Final = 9
Year = TypeVar("Year", int, NDArray[np.int64])
_EPOCH: Final = date(1970, 1, 1).toordinal()
_DAY_S: Final = 86_400
_HOUR_S: Final = 3_600
_MINUTE_S: Final = 60
_NOON_HOUR: Final = 12
_CENTURY: Final = 2000
_LARGEST_TICK: Final = 2**62

CLOCK: Final = re.compile(
    r"(\d{1,4}):(\d{1,2})(?::(\d{1,2}))?(?:[.,](\d{1,9})|:(\d{3}))?\s*(?:([ap])\.?m\.?)?",
    re.IGNORECASE,
)
YEAR_FIRST: Final = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
YEAR_LAST: Final = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})")
DATE_TIME: Final = re.compile(
    r"([\d./-]{6,10})(?:T|,?\s+)(.*?)\s*(Z|UTC|[+-]\d{2}:?\d{2})?", re.IGNORECASE
)
# Seconds of the file's unit, and the power of ten by which it differs from the second.
_NUMBER_UNITS: Final = {
    TimeFormat.SECONDS: (1, 0),
    TimeFormat.MILLISECONDS: (1, 3),
    TimeFormat.MINUTES: (_MINUTE_S, 0),
    TimeFormat.HOURS: (_HOUR_S, 0),
}


class TimeImpossible(Unacceptable):
    """A time is written as one, and there is no such time."""

    code = "traces.time_impossible"


class ZonesMixed(Unacceptable):
    """Some times say their zone and others do not."""

    code = "traces.zones_mixed"


@dataclass(frozen=True)
class Moment:
    """One parsed time: whole seconds, the digits of its fraction, and whether its zone is known."""

    second: int
    fraction: str = ""
    is_zoned: bool = False


class NoSuchTime(ValueError):
    """The text is written as a time and names none; the reader adds row and column."""


def find_clock(text: str, form: TimeFormat) -> Moment | None:
    """Return the moment of a clock text in this form, or None where it is not written so.

    Raises NoSuchTime for 60 minutes, 60 seconds and the like.
    """
    match = CLOCK.fullmatch(text)
    if match is None:
        return None
    first, second, third, decimals, thousandths, half = match.groups()
    fraction = decimals or thousandths or ""
    if third is None and form is TimeFormat.MM_SS:
        hours, minutes, seconds = 0, int(first), int(second)
    else:
        if third is None and fraction:
            return None
        hours, minutes, seconds = int(first), int(second), int(third or 0)
        if minutes >= _MINUTE_S:
            raise NoSuchTime(f"{minutes} minutes")
    if seconds >= _MINUTE_S:
        raise NoSuchTime(f"{seconds} seconds")
    if half is not None:
        if not 1 <= hours <= _NOON_HOUR:
            raise NoSuchTime(f"{hours} {half}m")
        hours = hours % _NOON_HOUR + (_NOON_HOUR if half in "pP" else 0)
    return Moment(hours * _HOUR_S + minutes * _MINUTE_S + seconds, fraction)


def find_day(text: str, *, day_first: bool) -> int | None:
    """Return the day's number since 1970-01-01, or None where the text is no date.

    Raises NoSuchTime for year 0, month 13, February 30 and the like.
    """
    match = YEAR_FIRST.fullmatch(text)
    if match is not None:
        year, month, day = (int(part) for part in match.groups())
    else:
        match = YEAR_LAST.fullmatch(text)
        if match is None:
            return None
        one, _, two, tail = match.groups()
        is_first = is_day_before_month(match, day_first=day_first)
        day, month = (int(one), int(two)) if is_first else (int(two), int(one))
        year = full_year(int(tail), digits=len(tail))
    try:
        return date(year, month, day).toordinal() - _EPOCH
    except ValueError as error:
        raise NoSuchTime(f"year {year}, month {month}, day {day}") from error


def is_day_before_month(match: re.Match[str], *, day_first: bool) -> bool:
    """Whether the day stands before the month in a date that ends with the year; so with points."""
    return day_first or match.group(2) == "."


def full_year(year: Year, *, digits: int) -> Year:
    """Return the year, of this century where it was written with two digits."""
    return year + _CENTURY if digits == len("24") else year


def find_date_time(text: str, *, day_first: bool, days: dict[str, int]) -> Moment | None:
    """Return the moment of a date with a time, or None; `days` remembers dates already parsed."""
    match = DATE_TIME.fullmatch(text)
    if match is None:
        return None
    day_text, clock_text, zone = match.groups()
    day = days.get(day_text)
    if day is None:
        day = find_day(day_text, day_first=day_first)
        if day is None:
            return None
        days[day_text] = day
    clock = find_clock(clock_text, TimeFormat.HH_MM_SS)
    if clock is None:
        return None
    if clock.second >= _DAY_S:
        raise NoSuchTime(f"{clock.second // _HOUR_S} hours")
    return Moment(
        day * _DAY_S + clock.second - zone_offset_s(zone), clock.fraction, is_zoned=zone is not None
    )


def zone_offset_s(zone: str | None) -> int:
    """Return by how many seconds a zone like +02:00 is before UTC. Raises NoSuchTime."""
    if zone is None or zone[0] not in "+-":
        return 0
    hours, minutes = int(zone[1:3]), int(zone[-2:])
    if hours >= 24 or minutes >= _MINUTE_S:  # noqa: PLR2004 the hours of a day
        raise NoSuchTime(f"a zone of {zone}")
    return (-1 if zone[0] == "-" else 1) * (hours * _HOUR_S + minutes * _MINUTE_S)


def is_day_first(texts: Sequence[str]) -> bool | None:
    """Return which of day and month stands first as the values show; None where both would fit.

    A value above 12 cannot be a month. Dates that begin with the year say nothing here.
    """
    for text in texts:
        match = YEAR_LAST.match(text)
        if match is None:
            continue
        if int(match.group(1)) > _NOON_HOUR:
            return True
        if int(match.group(3)) > _NOON_HOUR:
            return False
    return None


def has_year_last(text: str) -> bool:
    """Whether the text begins with a date whose day and month could be exchanged."""
    match = YEAR_LAST.match(text)
    return match is not None and match.group(2) != "."


def has_short_year(text: str) -> bool:
    """Whether the text begins with a date whose year has two digits."""
    match = YEAR_LAST.match(text)
    return match is not None and len(match.group(4)) == len("24")


def to_ticks(
    *,
    second: NDArray[np.int64],
    fraction: NDArray[np.int64],
    digits: NDArray[np.int64],
    zoned: NDArray[np.bool_],
    rows: NDArray[np.int64],
) -> tuple[NDArray[np.int64], int]:
    """Return the moments as ticks of 10**-decimals s, with the most decimals that any one has.

    A moment is its seconds and a fraction of so many digits behind them; `rows` are the file's
    rows, for the refusal. Raises ZonesMixed, TimeImpossible.
    """
    if zoned.any() and not zoned.all():
        odd = int(np.flatnonzero(zoned != zoned[0])[0])
        raise ZonesMixed(
            f"Row {rows[odd]} {'gives' if zoned[odd] else 'does not give'} a time zone, and row "
            f"{rows[0]} {'does not' if zoned[odd] else 'does'}.",
            field=FIELD,
        )
    decimals = int(digits.max(initial=0))
    beyond = np.flatnonzero(np.abs(second) > _LARGEST_TICK // 10**decimals)
    if beyond.size:
        raise TimeImpossible(
            f"Row {rows[beyond[0]]}: the time with {decimals} decimals is beyond what can be "
            "stored.",
            field=FIELD,
        )
    parts = fraction * np.power(np.int64(10), decimals - digits)
    return second * 10**decimals + parts, decimals


def number_unit(form: TimeFormat) -> tuple[int, int]:
    """Return (ticks per last digit, decimals to add) that turn the file's unit into seconds."""
    return _NUMBER_UNITS[form]


def is_number_format(form: TimeFormat) -> bool:
    """Whether times in this form are plain numbers."""
    return form in _NUMBER_UNITS
