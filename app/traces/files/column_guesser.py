"""What is known of a file's columns before each is taken for something: names, cells, units."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from app.traces.files.layout import Layout
from app.traces.files.numbers import find_number
from app.traces.files.reading import Question
from app.traces.files.units import (
    are_letters_labels,
    find_temperature_unit,
    find_unit_of_cell,
)
from app.traces.rules import ColumnRole, DecimalMark, ReadingChoices, TemperatureUnit

_SHOWN_SAMPLES: Final = 3
_LONGEST_SAMPLE: Final = 40
# Colder than any bench: numbers below it are no kelvins (common sense, no source).
_COLDEST_BENCH_K: Final = 200


@dataclass
class ColumnGuesser:
    """What a file's columns look like, and what was supposed about them so far."""

    layout: Layout
    samples: list[list[str]]
    mark: DecimalMark
    choices: ReadingChoices
    is_filled: Callable[[int], bool]
    assumptions: list[str]
    questions: list[Question]

    @cached_property
    def are_labels(self) -> bool:
        """Whether letters in brackets name the columns instead of units."""
        return are_letters_labels(self.layout.headers)

    def header(self, column: int) -> str:
        """Return the column's header; empty where there is none."""
        return self.layout.headers[column]

    def shown(self, column: int) -> tuple[str, ...]:
        """Return the column's first values as written."""
        cells = [row[column] for row in self.samples if row[column]]
        return tuple(cell[:_LONGEST_SAMPLE] for cell in cells[:_SHOWN_SAMPLES])

    def chosen_role(self, column: int) -> ColumnRole | None:
        """Return the role that a person chose, or None."""
        choice = self.choices.find_column(column)
        return choice.role if choice else None

    def name(self, column: int) -> str:
        """Return the column's number from 1 with its header."""
        header = self.header(column)
        return f"Column {column + 1} “{header}”" if header else f"Column {column + 1}"

    # ── Units ────────────────────────────────────────────────────────────────

    def find_unit(self, column: int) -> tuple[TemperatureUnit | None, str]:
        """Return the unit and who says so; without one a question is added."""
        choice = self.choices.find_column(column)
        if choice is not None and choice.unit is not None:
            return choice.unit, f"you chose {choice.unit.words}"
        by_row = find_unit_of_cell(self.layout.units[column])
        by_header = find_temperature_unit(self.header(column), letters_are_labels=self.are_labels)
        if by_header is TemperatureUnit.KELVIN and not by_row and self._may_be_type_k(column):
            return self._ask_unit(column, "its “K” may be kelvin or the type of the thermocouple")
        if by_row and by_header and by_row is not by_header:
            return self._ask_unit(
                column, f"its header says {by_header.words} and the units row {by_row.words}"
            )
        preamble, row = self.layout.preamble_unit or (None, "")
        said = by_row or by_header
        if preamble and said and preamble is not said:
            who = "the units row" if by_row else "its header"
            return self._ask_unit(column, f"row {row} says {preamble.words} and {who} {said.words}")
        # The nearest to the numbers counts first.
        for unit, who in (
            (by_row, "the units row says"),
            (by_header, "its header says"),
            (self._find_unit_in_cells(column), "its cells say"),
            (preamble, f"row {row} says"),
            (self.choices.temperature_unit, "for columns that do not say theirs you chose"),
        ):
            if unit is not None:
                return unit, f"{who} {unit.words}"
        return self._ask_unit(column, "the file does not say its unit")

    def _may_be_type_k(self, column: int) -> bool:
        if "kelvin" in self.header(column).casefold():
            return False
        numbers = (find_number(row[column], self.mark) for row in self.samples)
        return any(number.value < _COLDEST_BENCH_K for number in numbers if number)

    def _find_unit_in_cells(self, column: int) -> TemperatureUnit | None:
        numbers = (find_number(row[column], self.mark) for row in self.samples)
        units = {number.unit for number in numbers if number and number.unit}
        return units.pop() if len(units) == 1 else None

    def _ask_unit(self, column: int, why: str) -> tuple[None, str]:
        self.questions.append(
            Question("unit", column, f"{self.name(column)}: {why}. Is it °C, °F or K?")
        )
        return None, why
