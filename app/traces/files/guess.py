"""What each column is taken for, and why."""

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from app.core.refusals import TooLarge, Unacceptable
from app.traces.files.cells import CellClass
from app.traces.files.decoding import FIELD
from app.traces.files.dialect import CHOSEN
from app.traces.files.layout import Layout
from app.traces.files.limits import ReadingLimits
from app.traces.files.millivolt_guess import MillivoltGuesser
from app.traces.files.numbers import find_number
from app.traces.files.reading import ColumnGuess, Question
from app.traces.files.units import (
    find_other_unit,
    find_other_unit_of_cell,
    find_temperature_unit,
    find_time_format,
    find_unit_of_cell,
    is_alarm_header,
    is_index_header,
    is_time_header,
)
from app.traces.rules import ColumnRole, DecimalMark, ReadingChoices, TemperatureUnit, TimeFormat

_SHOWN_SAMPLES: Final = 3
_LONGEST_SAMPLE: Final = 40
_HOURS_OF_DAY: Final = 24
_KINDS: Final = {
    CellClass.TEXT: "its cells are text",
    CellClass.CLOCK: "its cells are clock times, and another column is the time",
    CellClass.DATE: "its cells are dates, and the time column does not need them",
    CellClass.DATE_TIME: "its cells are dates with times, and another column is the time",
    CellClass.EMPTY: "there is no value in any of its rows",
}


class NoSuchColumn(Unacceptable):
    """A choice names a column that the file does not have."""

    code = "traces.no_such_column"


class NoTimeColumn(Unacceptable):
    """No column can be taken for the time."""

    code = "traces.no_time_column"


class DateWithoutClock(Unacceptable):
    """A date column was chosen, and the time column is none of clock times."""

    code = "traces.date_without_clock"


class NoTemperatureColumn(Unacceptable):
    """No column can be taken for temperatures."""

    code = "traces.no_temperature_column"


class TooManyTemperatureColumns(TooLarge):
    """More columns hold temperatures than are read."""

    code = "traces.too_many_temperature_columns"


@dataclass(frozen=True)
class TimePlan:
    """Which columns give the time, and how they are written."""

    column: int
    date_column: int | None
    form: TimeFormat
    why_form: str
    header: str


@dataclass(frozen=True)
class Guesses:
    """All columns' guesses in order, and what could only be supposed."""

    columns: tuple[ColumnGuess, ...]
    time: TimePlan
    assumptions: tuple[str, ...]
    questions: tuple[Question, ...]

    @property
    def temperatures(self) -> tuple[ColumnGuess, ...]:
        """The columns that are taken for temperatures."""
        return tuple(guess for guess in self.columns if guess.role is ColumnRole.TEMPERATURE)

    @property
    def cold_junctions(self) -> tuple[ColumnGuess, ...]:
        """The columns that some column of millivolts has its cold junction in."""
        named = {guess.cold_junction for guess in self.columns}
        return tuple(guess for guess in self.columns if guess.index in named)


@dataclass
class _Guesser(MillivoltGuesser):
    """Takes each column for time, date, temperature or nothing."""

    # ── Time ─────────────────────────────────────────────────────────────────

    def find_time_column(self) -> tuple[int, str]:
        """Return the time column and why it is taken."""
        for column in range(self.layout.width):
            if self.chosen_role(column) is ColumnRole.TIME:
                return column, "you chose it"
        free = [c for c in range(self.layout.width) if self.chosen_role(c) is None]
        of_class = {c: self.layout.classes[c] for c in free}
        numbers = [c for c in free if of_class[c] is CellClass.NUMBER]
        for column in numbers:
            unit_says = find_time_format(self.layout.units[column]) is not None
            if unit_says or is_time_header(self.header(column)):
                return column, "its header or unit speaks of time"
        for kind, why in (
            (CellClass.DATE_TIME, "its cells are dates with times"),
            (CellClass.CLOCK, "its cells are clock times"),
        ):
            for column in free:
                if of_class[column] is kind:
                    return column, why
        for column in numbers:
            if self._is_increasing(column) and not is_index_header(self.header(column)):
                self.assumptions.append(
                    f"{self.name(column)} was taken for the time because its numbers only grow."
                )
                return column, "no column says that it is the time, and its numbers only grow"
        raise NoTimeColumn(
            f"None of the {self.layout.width} columns can be taken for the time: no header speaks "
            "of it, no cells are clock times or dates with times, and no numbers only grow. "
            "Say which column it is.",
            field="choices.columns",
        )

    def _is_increasing(self, column: int) -> bool:
        if find_temperature_unit(self.header(column)) is not None:
            return False
        if find_unit_of_cell(self.layout.units[column]) is not None:
            return False
        numbers = [find_number(row[column], self.mark) for row in self.samples]
        values = [number.value for number in numbers if number is not None]
        return len(values) > 1 and all(a < b for a, b in itertools.pairwise(values))

    def find_date_column(self, time_column: int) -> int | None:
        chosen = [c for c in range(self.layout.width) if self.chosen_role(c) is ColumnRole.DATE]
        is_clock = self.layout.classes[time_column] is CellClass.CLOCK
        if chosen and not is_clock:
            raise DateWithoutClock(
                f"Column {chosen[0] + 1} was chosen as the date, and {self.name(time_column)}, "
                "the time, holds no clock times to go with it.",
                field="choices.columns",
            )
        if chosen:
            return chosen[0]
        if not is_clock:
            return None
        free = (c for c in range(self.layout.width) if self.chosen_role(c) is None)
        return next((c for c in free if self.layout.classes[c] is CellClass.DATE), None)

    def find_form(self, column: int) -> tuple[TimeFormat, str]:
        """Return how the times are written and why; a question is added where it is open."""
        if self.choices.time_format is not None:
            return self.choices.time_format, CHOSEN
        by_row = find_time_format(self.layout.units[column])
        said = by_row or find_time_format(self.header(column))
        kind = self.layout.classes[column]
        if kind is CellClass.DATE_TIME:
            return TimeFormat.DATE_TIME, "its cells are dates with times"
        if kind is CellClass.CLOCK:
            return self._find_clock_form(column, said)
        if said is not None and ":" not in said.value:
            return said, "the units row says so" if by_row else "its header says so"
        self.questions.append(
            Question(
                "time_format",
                column,
                f"{self.name(column)} does not say its unit; it was taken as seconds. Is that so?",
            )
        )
        return TimeFormat.SECONDS, "the file does not say the unit"

    def _find_clock_form(self, column: int, said: TimeFormat | None) -> tuple[TimeFormat, str]:
        cells = [row[column] for row in self.samples if ":" in row[column]]
        if any(cell.count(":") > 1 for cell in cells):
            return TimeFormat.HH_MM_SS, "its cells have two colons"
        if any("." in cell or "," in cell for cell in cells):
            return TimeFormat.MM_SS, "its cells have one colon and a fraction behind it"
        if said in {TimeFormat.MM_SS, TimeFormat.HH_MM}:
            return said, "its header or the units row says so"
        firsts = [cell.split(":")[0] for cell in cells]
        if any(first.isdigit() and int(first) >= _HOURS_OF_DAY for first in firsts):
            return TimeFormat.MM_SS, "24 and more stand before the colon, which are no hours"
        self.questions.append(
            Question(
                "time_format",
                column,
                f"{self.name(column)} writes times like “{cells[0]}”; they were taken as minutes "
                "and seconds (mm:ss). Is that so, or are they hours and minutes (hh:mm)?",
            )
        )
        return TimeFormat.MM_SS, "the file does not say which of both it is"

    # ── The others ───────────────────────────────────────────────────────────

    def guess_other(self, column: int) -> ColumnGuess:
        junction = self.junctions.get(column)
        if junction is not None and self.chosen_role(column) is not ColumnRole.TEMPERATURE:
            return junction
        millivolts = self.guess_millivolts(column)
        if millivolts is not None:
            return millivolts
        role, why = self._find_role(column)
        unit: TemperatureUnit | None = None
        if role is ColumnRole.TEMPERATURE:
            unit, unit_why = self.find_unit(column)
            why = f"{why}; {unit_why}"
        return ColumnGuess(
            column, self.header(column), role, unit, None, why, self.shown(column),
            is_millivolts=self.is_millivolts(column),
        )  # fmt: skip

    def _find_role(self, column: int) -> tuple[ColumnRole, str]:
        role = self.chosen_role(column)
        # A cold junction that could be used was taken before.
        if role is ColumnRole.COLD_JUNCTION:
            why = self.why_useless.get(column, "no column of millivolts needs one")
            return ColumnRole.IGNORED, f"you chose it as the cold junction; {why}"
        return (role, CHOSEN) if role is not None else self._guess_role(column)

    def _guess_role(self, column: int) -> tuple[ColumnRole, str]:
        kind, header = self.layout.classes[column], self.header(column)
        if kind is CellClass.EMPTY and self.is_filled(column):
            kind = CellClass.NUMBER
        if kind in _KINDS:
            self._note_lost(column, kind)
            return ColumnRole.IGNORED, _KINDS[kind]
        other = find_other_unit_of_cell(self.layout.units[column]) or find_other_unit(
            header, letters_are_labels=self.are_labels
        )
        if other is None and self.is_millivolts(column):
            other = "mV"
        if other is not None:
            more = "; say the type if it is a thermocouple's" if other.casefold() == "mv" else ""
            return ColumnRole.IGNORED, f"its unit “{other}” is not one of temperature{more}"
        for is_such, why in (
            (is_index_header, "its header names a running number"),
            (is_alarm_header, "its header names an alarm or status"),
            (is_time_header, "its header speaks of time, and another column is the time"),
        ):
            if is_such(header) and find_temperature_unit(header) is None:
                return ColumnRole.IGNORED, why
        if kind is CellClass.MARKER:
            return ColumnRole.TEMPERATURE, "its cells say that there was no reading"
        return ColumnRole.TEMPERATURE, "its cells are numbers"

    def _note_lost(self, column: int, kind: CellClass) -> None:
        """Say that a column which states a unit of temperature cannot be read as numbers."""
        unit = find_unit_of_cell(self.layout.units[column]) or find_temperature_unit(
            self.header(column), letters_are_labels=self.are_labels
        )
        shown = self.shown(column)
        if kind is CellClass.TEXT and unit is not None and shown:
            self.assumptions.append(
                f"{self.name(column)} says {unit.words} and was left out: cells like “{shown[0]}” "
                "are no numbers here."
            )


def guess_columns(
    layout: Layout,
    *,
    samples: list[list[str]],
    mark: DecimalMark,
    choices: ReadingChoices,
    limits: ReadingLimits,
    is_filled: Callable[[int], bool],
) -> Guesses:
    """Take each column for time, date, temperature or nothing; a person's choices come first.

    `is_filled(column)` says whether any row has a cell with text in that column.
    Raises NoSuchColumn, NoTimeColumn, NoTemperatureColumn, NoColdJunction,
    TooManyTemperatureColumns.
    """
    for place, choice in enumerate(choices.columns):
        if choice.index >= layout.width:
            raise NoSuchColumn(
                f"Column {choice.index + 1} is not there; the file has {layout.width} columns.",
                field=f"choices.columns.{place}.index",
            )
    guesser = _Guesser(layout, samples, mark, choices, is_filled, [], [])
    time_column, time_why = guesser.find_time_column()
    date_column = guesser.find_date_column(time_column)
    form, why_form = guesser.find_form(time_column)
    besides = {column for column in (time_column, date_column) if column is not None}
    guesser.settle_cold_junction(besides=besides)
    columns = []
    for column in range(layout.width):
        if column == time_column:
            columns.append(
                ColumnGuess(
                    column,
                    guesser.header(column),
                    ColumnRole.TIME,
                    None,
                    form,
                    f"{time_why}; read as {form.value}: {why_form}",
                    guesser.shown(column),
                )
            )
        elif column == date_column:
            columns.append(
                ColumnGuess(
                    column,
                    guesser.header(column),
                    ColumnRole.DATE,
                    None,
                    None,
                    "its cells are dates, and the time column holds clock times",
                    guesser.shown(column),
                )
            )
        else:
            columns.append(guesser.guess_other(column))
    plan = TimePlan(time_column, date_column, form, why_form, guesser.header(time_column))
    guesses = Guesses(tuple(columns), plan, tuple(guesser.assumptions), tuple(guesser.questions))
    _check_temperatures(guesses, limits=limits)
    return guesses


def _check_temperatures(guesses: Guesses, *, limits: ReadingLimits) -> None:
    found = guesses.temperatures
    if not found and any(guess.is_millivolts for guess in guesses.columns):
        whys = "; ".join(
            f"column {g.index + 1}: {g.why}" for g in guesses.columns if g.is_millivolts
        )
        raise NoTemperatureColumn(
            f"No column can be taken for temperatures ({whys}). Say of which type of thermocouple "
            "a column's millivolts are, and its cold junction: a column or a fixed temperature.",
            field=FIELD,
        )
    if not found:
        whys = "; ".join(
            f"column {g.index + 1}: {g.why}" for g in guesses.columns[: _SHOWN_SAMPLES * 2]
        )
        raise NoTemperatureColumn(
            f"No column can be taken for temperatures ({whys}). Say which one is.", field=FIELD
        )
    if len(found) > limits.max_temperature_columns:
        raise TooManyTemperatureColumns(
            f"The file has {len(found)} temperature columns; {limits.max_temperature_columns} is "
            f"the limit (column {found[limits.max_temperature_columns].index + 1} is the first "
            "beyond it).",
            field=FIELD,
        )
