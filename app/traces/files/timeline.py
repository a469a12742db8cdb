"""The time column of all rows: parsed, bridged over midnight, and strictly increasing."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.core.refusals import Unacceptable
from app.traces.files.cells import CellClass, classify
from app.traces.files.decoding import FIELD
from app.traces.files.dialect import CHOSEN
from app.traces.files.grid import Grid, Places, too_many_rows
from app.traces.files.guess import TimePlan
from app.traces.files.limits import ReadingLimits
from app.traces.files.markers import FindingKind
from app.traces.files.moments import Moments, find_clocks, find_date_times, find_days
from app.traces.files.numbers import align, find_number, parse_plain_numbers, to_scaled
from app.traces.files.reading import Finding, Question, Taken, TimeAxis
from app.traces.files.time_order import TimeOrder
from app.traces.files.times import (
    MAX_TIME_DECIMALS,
    Moment,
    NoSuchTime,
    TimeImpossible,
    find_clock,
    find_date_time,
    find_day,
    has_short_year,
    has_year_last,
    is_day_first,
    is_number_format,
    number_unit,
    to_ticks,
)
from app.traces.rules import DecimalMark, ReadingChoices, TimeFormat

_DAY_S: Final = 86_400
_HOUR_S: Final = 3_600
_LONGEST_QUOTE: Final = 40
_MOST_WHOLE_DIGITS: Final = 17
_LARGEST_TICK: Final = 2.0**62
# What a clock on the wall or in the logger shows, which is put forward and back twice a year.
_CLOCKS: Final = frozenset({TimeFormat.DATE_TIME, TimeFormat.HH_MM_SS, TimeFormat.HH_MM})


class TimeUnreadable(Unacceptable):
    """A row has temperatures, and its time cannot be read."""

    code = "traces.time_unreadable"


class OneSample(Unacceptable):
    """There is one row of samples, which is no course of time."""

    code = "traces.one_sample"


@dataclass
class Timeline:
    """The axis, the grid's rows it stands for, and what was found and supposed on the way."""

    axis: TimeAxis
    rows: Places
    findings: list[Finding] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    taken: list[Taken] = field(default_factory=list)


@dataclass
class _Reader(TimeOrder):
    """Reads the time column's cells, as many as can be at once."""

    # ── Rows that are none ───────────────────────────────────────────────────

    def set_aside(self, bad: list[int]) -> None:
        """Set aside rows of text among the samples; refuse a row of samples without a time."""
        repeated: list[int] = []
        texts: list[int] = []
        for row in bad:
            cells = self.grid.row_texts(row)
            if tuple(cells) in self.names:
                repeated.append(row)
                continue
            others = [c for k, c in enumerate(cells) if k != self.plan.column]
            if any(classify(cell, self.mark) is CellClass.NUMBER for cell in others):
                raise self._unreadable(row)
            texts.append(row)
        self._find_rows(repeated, FindingKind.REPEATED_HEADER, "the header again")
        self._find_rows(texts, FindingKind.TEXT_ROWS, "text instead of samples")

    def _unreadable(self, row: int) -> TimeUnreadable:
        text = self.written(row).strip()
        said = f"“{text}” is no time written as {self.plan.form.value}" if text else "is empty"
        return TimeUnreadable(f"Row {self.line(row)}, {self.where}: {said}.", field=FIELD)

    def _find_rows(self, rows: list[int], kind: FindingKind, words: str) -> None:
        if rows:
            first, last = self.line(rows[0]), self.line(rows[-1])
            sentence = (
                f"Row {first} holds {words} and was left out."
                if len(rows) == 1
                else f"{len(rows)} rows from {first} to {last} hold {words} and were left out."
            )
            self.findings.append(Finding(None, kind, first, last, len(rows), sentence))

    # ── The three ways of writing ────────────────────────────────────────────

    def read_numbers(self, rows: Places) -> tuple[Places, NDArray[np.int64], int]:
        starts, ends = self.grid.column(self.plan.column, rows)
        plain = parse_plain_numbers(self.grid.buffer, starts=starts, ends=ends, mark=self.mark)
        integers, decimals = plain.integers, plain.decimals
        good = plain.is_number & (decimals <= MAX_TIME_DECIMALS)
        rounded: list[int] = []
        for place in np.flatnonzero(~good & ~plain.is_empty):
            text = self.grid.slice_text(int(starts[place]), int(ends[place]))
            number = find_number(text, self.mark)
            if number is None or number.unit is not None:
                continue
            if number.value and number.value.adjusted() >= _MOST_WHOLE_DIGITS:
                raise self._impossible(int(rows[place]), "it is beyond what can be stored")
            integers[place], decimals[place], cut = to_scaled(
                number.value, max_decimals=MAX_TIME_DECIMALS, max_whole=_MOST_WHOLE_DIGITS
            )
            good[place] = True
            if cut:
                rounded.append(int(rows[place]))
        if rounded:
            first, last = self.line(rounded[0]), self.line(rounded[-1])
            self.findings.append(
                Finding(
                    self.plan.column,
                    FindingKind.ROUNDED,
                    first,
                    last,
                    len(rounded),
                    f"{len(rounded)} times from row {first} to {last} have more than "
                    f"{MAX_TIME_DECIMALS} decimals and were rounded to that.",
                )
            )
        self.set_aside([int(row) for row in rows[~good]])
        return self._scale_numbers(rows[good], integers[good], decimals[good])

    def _scale_numbers(
        self, rows: Places, integers: NDArray[np.int64], decimals: NDArray[np.int64]
    ) -> tuple[Places, NDArray[np.int64], int]:
        most = int(decimals.max(initial=0))
        factor, shift = number_unit(self.plan.form)
        sizes = np.abs(integers.astype(np.float64)) * 10.0 ** (most - decimals) * factor
        beyond = np.flatnonzero(sizes > _LARGEST_TICK)
        if beyond.size:
            raise self._impossible(int(rows[beyond[0]]), "it is beyond what can be stored")
        return rows, align(integers, decimals, to_decimals=most) * factor, most + shift

    def read_moments(self, rows: Places) -> tuple[Places, NDArray[np.int64], int, bool]:
        date_column, form = self.plan.date_column, self.plan.form
        day_first = True
        if date_column is not None or form is TimeFormat.DATE_TIME:
            holds_date = self.plan.column if date_column is None else date_column
            day_first = self._find_day_first(rows, holds_date)
        moments = self._find_moments(rows, day_first=day_first)
        find = self._moment_finder(day_first=day_first)
        bad: list[int] = []
        # What has no shape in common with many others, and what no clock shows, one by one.
        for place in np.flatnonzero(~moments.is_read).tolist():
            row = int(rows[place])
            try:
                moment = find(row)
            except NoSuchTime as error:
                raise self._impossible(row, f"there is no such time ({error})") from error
            if moment is None:
                bad.append(row)
                continue
            moments.second[place], moments.fraction[place] = (
                moment.second,
                int(moment.fraction or 0),
            )
            moments.digits[place] = len(moment.fraction)
            moments.is_zoned[place], moments.is_read[place] = moment.is_zoned, True
        self.set_aside(bad)
        good = moments.is_read
        kept, zoned = rows[good], moments.is_zoned[good]
        ticks, decimals = to_ticks(
            second=moments.second[good],
            fraction=moments.fraction[good],
            digits=moments.digits[good],
            zoned=zoned,
            rows=self.grid.lines[kept],
        )
        return kept, ticks, decimals, bool(zoned.any())

    def _find_moments(self, rows: Places, *, day_first: bool) -> Moments:
        buffer, cells = self.grid.buffer, self.grid.column(self.plan.column, rows)
        if self.plan.date_column is not None:
            days = find_days(
                buffer, *self.grid.column(self.plan.date_column, rows), day_first=day_first
            )
            clocks = find_clocks(buffer, *cells, self.plan.form)
            both = days.is_read & clocks.is_read & (clocks.second < _DAY_S)
            return replace(clocks, second=days.second + clocks.second, is_read=both)
        if self.plan.form is TimeFormat.DATE_TIME:
            return find_date_times(buffer, *cells, day_first=day_first)
        return find_clocks(buffer, *cells, self.plan.form)

    def _moment_finder(self, *, day_first: bool) -> Callable[[int], Moment | None]:
        text, column, form = self.grid.text, self.plan.column, self.plan.form
        date_column = self.plan.date_column
        days: dict[str, int] = {}
        if date_column is None and form is not TimeFormat.DATE_TIME:
            return lambda row: find_clock(text(row, column), form)
        if date_column is None:
            return lambda row: find_date_time(text(row, column), day_first=day_first, days=days)

        def find_both(row: int) -> Moment | None:
            day = find_day(text(row, date_column), day_first=day_first)
            clock = find_clock(text(row, column), form)
            if day is None or clock is None:
                return None
            if clock.second >= _DAY_S:
                raise NoSuchTime(f"{clock.second // 3600} hours")
            return Moment(day * _DAY_S + clock.second, clock.fraction)

        return find_both

    def _find_day_first(self, rows: Places, column: int) -> bool:
        first = self.grid.text(int(rows[0]), column)
        if has_short_year(first):
            self.assumptions.append(
                f"The year of two digits in “{first[:_LONGEST_QUOTE]}” was taken to stand last and "
                "in this century."
            )
        if self.choices.day_first is not None:
            return self._take_day_first(self.choices.day_first, CHOSEN)
        if not has_year_last(first):
            return True
        shown = is_day_first([self.grid.text(row, column) for row in rows.tolist()])
        if shown is not None:
            return self._take_day_first(shown, "a number above 12 stands where no month can be")
        self.assumptions.append(
            f"Dates like “{first[:_LONGEST_QUOTE]}” were read with the day first; no value in the "
            "file shows whether day or month stands first."
        )
        self.questions.append(
            Question(
                "day_first",
                column,
                f"Is the day first in “{first[:_LONGEST_QUOTE]}”, or the month?",
            )
        )
        why = "no value in the file shows which stands first"
        return self._take_day_first(True, why)  # noqa: FBT003

    def _take_day_first(self, day_first: bool, why: str) -> bool:  # noqa: FBT001
        what = "day first" if day_first else "month first"
        self.taken.append(Taken("day_first", what, why))
        return day_first

    def take_zone(self, *, is_zoned: bool) -> None:
        """Say where a clock that gives dates was set."""
        if is_zoned:
            self.taken.append(Taken("zone", "UTC", "each time says how far it is from UTC"))
        elif self.choices.zone is not None:
            self.taken.append(Taken("zone", self.choices.zone, CHOSEN))
        else:
            self.taken.append(Taken("zone", "that of the plant", "no time says its zone"))

    def _impossible(self, row: int, why: str) -> TimeImpossible:
        return TimeImpossible(
            f"Row {self.line(row)}, {self.where}: “{self.written(row)}”: {why}.", field=FIELD
        )


def check_several(grid: Grid, rows: Places) -> None:
    """Refuse a single row of samples. Raises OneSample."""
    if len(rows) <= 1:
        raise OneSample(
            f"Row {grid.lines[rows[0]]} is the only row of samples; at least two are needed.",
            field=FIELD,
        )


def read_timeline(
    grid: Grid,
    *,
    rows: Places,
    plan: TimePlan,
    mark: DecimalMark,
    choices: ReadingChoices,
    names: frozenset[tuple[str, ...]],
    limits: ReadingLimits,
) -> Timeline:
    """Read the time of the rows; rows of text among them, like a repeated header, are left out.

    `names` are the cells of the header and units rows. Raises TimeUnreadable, TimeImpossible,
    TimeNotIncreasing, ZonesMixed, OneSample, TooManyRows.
    """
    reader = _Reader(grid, plan, mark, choices, names, [], [], [], [])
    reader.taken.append(Taken("time_format", plan.form.value, plan.why_form))
    is_zoned = False
    if is_number_format(plan.form):
        kept, ticks, decimals = reader.read_numbers(rows)
        factor = number_unit(plan.form)[0]
    else:
        kept, ticks, decimals, is_zoned = reader.read_moments(rows)
        factor = 1
    is_absolute = plan.form is TimeFormat.DATE_TIME or plan.date_column is not None
    if len(kept) > limits.max_rows:
        raise too_many_rows(len(kept), limits=limits)
    check_several(grid, kept if len(kept) else rows[:1])
    if not is_absolute and not is_number_format(plan.form) and plan.form is not TimeFormat.MM_SS:
        ticks = reader.bridge_midnight(kept, ticks, decimals)
    if is_absolute:
        reader.take_zone(is_zoned=is_zoned)
    if plan.form in _CLOCKS and not is_zoned:
        ticks = reader.set_clock_right(kept, ticks, decimals)
    reader.check_order(kept, ticks)
    ticks.setflags(write=False)
    axis = TimeAxis(
        column=plan.column,
        header=plan.header,
        form=plan.form,
        ticks=ticks,
        exponent=-decimals,
        ticks_per_unit=factor,
        is_absolute=is_absolute,
        is_zoned=is_zoned,
        first_written=reader.written(int(kept[0])),
    )
    return Timeline(axis, kept, reader.findings, reader.assumptions, reader.questions, reader.taken)
