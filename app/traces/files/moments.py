"""Columns of clock times and dates parsed all at once, cell by shape; what has no shape is left.

A shape is a cell with its digits taken for any digits: cells like `2026-05-04 10:00:00.25` all have
theirs in the same places. The patterns of `times` find the fields of one cell, and so of all alike.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.traces.files.grid import Bytes, Mask, Places
from app.traces.files.times import (
    CLOCK,
    DATE_TIME,
    YEAR_FIRST,
    YEAR_LAST,
    NoSuchTime,
    full_year,
    is_day_before_month,
    zone_offset_s,
)
from app.traces.rules import TimeFormat

Ints = NDArray[np.int64]

_MOST_SHAPES: Final = 24
_LONGEST: Final = 40
_FEWEST_CELLS: Final = 16
_CHUNK: Final = 16_384
_DAY_S: Final = 86_400
_HOUR_S: Final = 3_600
_MINUTE_S: Final = 60
_NOON_HOUR: Final = 12
_MONTHS: Final = 12
_LAST_YEAR: Final = 9_999
_EPOCH_YEAR: Final = 1970
_ZERO: Final = ord("0")


@dataclass(frozen=True, eq=False)
class Moments:
    """Moments of cells where `is_read`: seconds, and a fraction of so many digits behind them."""

    second: Ints
    fraction: Ints
    digits: Ints
    is_zoned: Mask
    is_read: Mask


@dataclass(frozen=True)
class _Fields:
    """Where a shape's numbers stand, and what turns them into a moment; spans are (from, to).

    `compute(numbers)` returns seconds and which of them are possible.
    """

    spans: tuple[tuple[int, int], ...]
    compute: Callable[[list[Ints]], tuple[Ints, Mask]]
    fraction: tuple[int, int] | None = None
    is_zoned: bool = False


def find_clocks(buffer: Bytes, starts: Places, ends: Places, form: TimeFormat) -> Moments:
    """Return the clock times of the cells, as `times.find_clock` finds each."""
    return _find(buffer, starts, ends, lambda text: _shape_clock(text, form))


def find_days(buffer: Bytes, starts: Places, ends: Places, *, day_first: bool) -> Moments:
    """Return the dates of the cells as seconds since 1970-01-01, as `times.find_day` finds each."""
    return _find(buffer, starts, ends, lambda text: _shape_day(text, day_first=day_first))


def find_date_times(buffer: Bytes, starts: Places, ends: Places, *, day_first: bool) -> Moments:
    """Return the dates with times of the cells, as `times.find_date_time` finds each."""
    return _find(buffer, starts, ends, lambda text: _shape_date_time(text, day_first=day_first))


def _find(
    buffer: Bytes, starts: Places, ends: Places, shape: Callable[[str], _Fields | None]
) -> Moments:
    count = len(starts)
    found = Moments(
        second=np.zeros(count, dtype=np.int64),
        fraction=np.zeros(count, dtype=np.int64),
        digits=np.zeros(count, dtype=np.int64),
        is_zoned=np.zeros(count, dtype=np.bool_),
        is_read=np.zeros(count, dtype=np.bool_),
    )
    lengths = ends - starts
    left = np.flatnonzero((lengths > 0) & (lengths <= _LONGEST))
    for _ in range(_MOST_SHAPES):
        if left.size < _FEWEST_CELLS:
            break
        lead = left[0]
        cell = buffer[starts[lead] : ends[lead]].tobytes()
        fields = shape(cell.decode("ascii")) if cell.isascii() else None
        same = left[lengths[left] == lengths[lead]]
        is_alike = np.zeros(len(same), dtype=np.bool_)
        for begin in range(0, len(same), _CHUNK):
            piece = same[begin : begin + _CHUNK]
            is_alike[begin : begin + _CHUNK] = _read_piece(
                buffer, starts[piece], cell, fields, found, piece
            )
        done = np.zeros(count, dtype=np.bool_)
        done[same[is_alike]] = True
        done[lead] = True
        left = left[~done[left]]
    return found


def _read_piece(
    buffer: Bytes,
    starts: Places,
    cell: bytes,
    fields: _Fields | None,
    found: Moments,
    places: Places,
) -> Mask:
    """Read the cells that have the shape into `found`, and return which those are."""
    spans = fields.spans if fields else ()
    fraction = fields.fraction if fields else None
    of_field = {
        place: number
        for number, span in enumerate((*spans, *((fraction,) if fraction else ())))
        for place in range(*span)
    }
    numbers = [np.zeros(len(starts), dtype=np.int64) for _ in range(len(spans) + 1)]
    alike = np.ones(len(starts), dtype=np.bool_)
    for place, sign in enumerate(cell):
        signs = buffer[starts + place]
        field = of_field.get(place)
        if field is None:
            # Also the digits of a zone must be those of the shape.
            alike &= signs == sign
            continue
        digit = signs - np.uint8(_ZERO)
        alike &= digit <= np.uint8(9)
        numbers[field] = numbers[field] * 10 + digit
    if fields is None:
        return alike
    second, is_possible = fields.compute(numbers)
    good = alike & is_possible
    into = places[good]
    found.second[into] = second[good]
    found.fraction[into] = numbers[-1][good]
    found.digits[into] = fraction[1] - fraction[0] if fraction else 0
    found.is_zoned[into] = fields.is_zoned
    found.is_read[into] = True
    return alike


def _shape_clock(text: str, form: TimeFormat) -> _Fields | None:
    match = CLOCK.fullmatch(text)
    if match is None:
        return None
    has_seconds = match[3] is not None
    fraction = 4 if match[4] else 5 if match[5] else 0
    is_short = not has_seconds and form is TimeFormat.MM_SS
    if not has_seconds and not is_short and fraction:
        return None
    half = (match[6] or "").lower()

    def compute(numbers: list[Ints]) -> tuple[Ints, Mask]:
        if is_short:
            minutes, seconds = numbers[0], numbers[1]
            hours = np.zeros_like(minutes)
            possible = seconds < _MINUTE_S
        else:
            hours, minutes = numbers[0], numbers[1]
            seconds = numbers[2] if has_seconds else np.zeros_like(hours)
            possible = (minutes < _MINUTE_S) & (seconds < _MINUTE_S)
        if half:
            possible &= (hours >= 1) & (hours <= _NOON_HOUR)
            hours = hours % _NOON_HOUR + (_NOON_HOUR if half == "p" else 0)
        return hours * _HOUR_S + minutes * _MINUTE_S + seconds, possible

    spans = tuple(match.span(group) for group in ((1, 2, 3) if has_seconds else (1, 2)))
    return _Fields(spans, compute, match.span(fraction) if fraction else None)


def _shape_day(text: str, *, day_first: bool) -> _Fields | None:
    match = YEAR_FIRST.fullmatch(text)
    if match is not None:
        order, groups = (0, 1, 2), (1, 2, 3)
    else:
        match = YEAR_LAST.fullmatch(text)
        if match is None:
            return None
        groups = (1, 3, 4)
        order = (2, 1, 0) if is_day_before_month(match, day_first=day_first) else (2, 0, 1)
    year_digits = len(match[groups[order[0]]])

    def compute(numbers: list[Ints]) -> tuple[Ints, Mask]:
        year, month, day = (numbers[place] for place in order)
        year = full_year(year, digits=year_digits)
        possible = (year >= 1) & (year <= _LAST_YEAR) & (month >= 1) & (month <= _MONTHS)
        months = np.where(possible, (year - _EPOCH_YEAR) * _MONTHS + month - 1, 0)
        first = months.astype("datetime64[M]").astype("datetime64[D]")
        after = (months + 1).astype("datetime64[M]").astype("datetime64[D]")
        possible &= (day >= 1) & (day <= (after - first).astype(np.int64))
        return (first.astype(np.int64) + day - 1) * _DAY_S, possible

    return _Fields(tuple(match.span(group) for group in groups), compute)


def _shape_date_time(text: str, *, day_first: bool) -> _Fields | None:
    match = DATE_TIME.fullmatch(text)
    if match is None:
        return None
    day = _shape_day(match[1], day_first=day_first)
    clock = _shape_clock(match[2], TimeFormat.HH_MM_SS)
    try:
        offset_s = zone_offset_s(match[3])
    except NoSuchTime:
        return None
    if day is None or clock is None:
        return None
    many = len(day.spans)

    def compute(numbers: list[Ints]) -> tuple[Ints, Mask]:
        days, is_day = day.compute(numbers[:many])
        seconds, is_clock = clock.compute(numbers[many:])
        return days + seconds - offset_s, is_day & is_clock & (seconds < _DAY_S)

    return _Fields(
        _shift(day.spans, match.start(1)) + _shift(clock.spans, match.start(2)),
        compute,
        _shift((clock.fraction,), match.start(2))[0] if clock.fraction else None,
        is_zoned=match[3] is not None,
    )


def _shift(spans: tuple[tuple[int, int], ...], by: int) -> tuple[tuple[int, int], ...]:
    return tuple((start + by, end + by) for start, end in spans)
