"""Which columns hold a thermocouple's millivolts, and where their cold junction is."""

from dataclasses import dataclass, field, replace
from typing import Final

from app.core.refusals import Unacceptable
from app.numerics.thermocouple_tables import ThermocoupleType
from app.traces.files.cells import CellClass
from app.traces.files.column_guesser import ColumnGuesser
from app.traces.files.reading import ColumnGuess, Question
from app.traces.files.units import (
    find_thermocouple_type,
    find_unit_of_cell,
    is_alarm_header,
    is_cold_junction_header,
    is_in_millivolts,
    is_index_header,
    is_reference_header,
)
from app.traces.rules import ColumnRole, TemperatureUnit

_LISTED_COLUMNS: Final = 3
_TYPES: Final = f"{', '.join(list(ThermocoupleType)[:-1])} or {list(ThermocoupleType)[-1]}"


class NoColdJunction(Unacceptable):
    """Columns of millivolts were chosen, and no temperature of their cold junction is there."""

    code = "traces.no_cold_junction"


@dataclass(frozen=True)
class Junction:
    """A column's cold junction: another column, or a fixed temperature in °C; else why not."""

    column: int | None = None
    fixed_c: float | None = None
    why_not: str = ""


@dataclass
class MillivoltGuesser(ColumnGuesser):
    """Takes columns of millivolts for temperatures where type and cold junction are known.

    `junctions` are the columns in use as cold junctions, `settled` the junction of each column of
    millivolts.
    """

    junctions: dict[int, ColumnGuess] = field(default_factory=dict)
    settled: dict[int, Junction] = field(default_factory=dict)
    why_useless: dict[int, str] = field(default_factory=dict)

    def is_millivolts(self, column: int) -> bool:
        """Whether the column's header or units row says mV."""
        return is_in_millivolts(self.layout.units[column]) or is_in_millivolts(self.header(column))

    def find_thermocouple(self, column: int) -> tuple[ThermocoupleType | None, str]:
        """Return the type whose millivolts the column holds, and who says so."""
        if self.chosen_role(column) not in {None, ColumnRole.TEMPERATURE}:
            return None, ""
        choice = self.choices.find_column(column)
        if choice is not None and choice.thermocouple is not None:
            return choice.thermocouple, "you chose"
        if not self.is_millivolts(column):
            return None, ""
        by_header = find_thermocouple_type(self.header(column))
        if by_header is not None:
            return by_header, "its header says"
        return self.choices.thermocouple, "for columns of millivolts you chose"

    def is_untyped(self, column: int) -> bool:
        """Whether it holds millivolts that may be a thermocouple's of a type nobody has said."""
        choice = self.choices.find_column(column)
        return (
            self.is_millivolts(column)
            and self.find_thermocouple(column)[0] is None
            and (choice is None or choice.role in {None, ColumnRole.TEMPERATURE})
            and (choice is None or choice.unit is None)
            and find_unit_of_cell(self.layout.units[column]) is None
            and self.layout.classes[column] in {CellClass.NUMBER, CellClass.MARKER}
            and not is_index_header(self.header(column))
            and not is_alarm_header(self.header(column))
        )

    def settle_cold_junction(self, *, besides: set[int]) -> None:
        """Find the cold junction of every thermocouple. Raises NoColdJunction.

        What is said of the column comes first, then a column chosen as cold junction, then the
        fixed temperature for all, then the one column whose header names it. Millivolts of a type
        that nobody has said have theirs found in the same way.
        """
        free = [c for c in range(self.layout.width) if c not in besides]
        thermocouples = [
            c for c in free if self.find_thermocouple(c)[0] is not None or self.is_untyped(c)
        ]
        for column in thermocouples:
            self.settled[column] = self._find_junction(column, free, thermocouples)
        for column, junction in self.settled.items():
            choice = self.choices.find_column(column)
            is_chosen = self.choices.thermocouple is not None or (
                choice is not None
                and (choice.thermocouple is not None or choice.cold_junction is not None)
            )
            if junction.why_not and is_chosen:
                raise NoColdJunction(
                    f"{self.name(column)} holds millivolts of a thermocouple, and "
                    f"{junction.why_not}. Say which column is the cold junction's "
                    "temperature, and its unit, or a fixed temperature.",
                    field="choices.columns",
                )

    def _find_junction(self, column: int, free: list[int], thermocouples: list[int]) -> Junction:
        choice = self.choices.find_column(column)
        if choice is not None and choice.cold_junction_c is not None:
            return Junction(fixed_c=choice.cold_junction_c)
        if choice is not None and choice.cold_junction is not None:
            return self._take(choice.cold_junction, free, thermocouples, why=self._named_by(column))
        chosen = [c for c in free if self.chosen_role(c) is ColumnRole.COLD_JUNCTION]
        if chosen:
            return self._take(chosen[0], free, thermocouples, why="you chose it")
        if self.choices.cold_junction_c is not None:
            return Junction(fixed_c=self.choices.cold_junction_c)
        others = [
            c
            for c in free
            if self.chosen_role(c) in {None, ColumnRole.TEMPERATURE}
            and c not in thermocouples
            and self.layout.classes[c] is CellClass.NUMBER
        ]
        named = [c for c in others if is_cold_junction_header(self.header(c))]
        named = named or [c for c in others if is_reference_header(self.header(c))]
        if len(named) == 1:
            return self._take(
                named[0], free, thermocouples, why="its header names the cold junction"
            )
        many = ", ".join(self.name(one) for one in named[:_LISTED_COLUMNS])
        return Junction(
            why_not=f"it is open which of {many} is its cold junction"
            if named
            else "no column is named as its cold junction"
        )

    def _named_by(self, column: int) -> str:
        return f"you chose it for column {column + 1}"

    def _take(
        self, column: int, free: list[int], thermocouples: list[int], *, why: str
    ) -> Junction:
        """Return the column as a cold junction where it has numbers in a known unit."""
        why_not = ""
        if column >= self.layout.width:
            why_not = f"column {column + 1}, its cold junction, is not there"
        elif column not in free:
            why_not = f"{self.name(column)}, its cold junction, is the time"
        elif column in thermocouples:
            why_not = f"{self.name(column)}, its cold junction, holds millivolts itself"
        elif column not in self.junctions:
            asked = len(self.questions)
            unit, unit_why = self.find_unit(column)
            # No channel hangs on this column, so nobody would have to answer for it.
            del self.questions[asked:]
            if unit is None:
                why_not = f"{self.name(column)}, its cold junction: {unit_why}"
            else:
                self.junctions[column] = ColumnGuess(
                    column,
                    self.header(column),
                    ColumnRole.COLD_JUNCTION,
                    unit,
                    None,
                    f"{why}; {unit_why}",
                    self.shown(column),
                )
        if why_not:
            self.why_useless[column] = why_not
            return Junction(why_not=why_not)
        return Junction(column=column)

    def guess_millivolts(self, column: int) -> ColumnGuess | None:
        """Return the guess of a thermocouple's column, or None where it is none."""
        kind, who = self.find_thermocouple(column)
        if kind is None:
            return self._ask_thermocouple(column) if self.is_untyped(column) else None
        junction = self.settled[column]
        guess = ColumnGuess(
            column,
            self.header(column),
            ColumnRole.IGNORED,
            None,
            None,
            f"it holds millivolts of type {kind}, and {junction.why_not}",
            self.shown(column),
            is_millivolts=True,
        )
        if junction.why_not:
            return guess
        at = (
            f"the cold junction of column {junction.column + 1}"
            if junction.column is not None
            else f"its cold junction at {junction.fixed_c:g} °C, as you chose"
        )
        why = f"millivolts of a thermocouple; {who} type {kind}; computed in °C by ITS-90 with {at}"
        self.assumptions.append(f"{self.name(column)}: {why}.")
        return replace(
            guess,
            role=ColumnRole.TEMPERATURE,
            unit=TemperatureUnit.CELSIUS,
            why=why,
            thermocouple=kind,
            cold_junction=junction.column,
            cold_junction_c=junction.fixed_c,
        )

    def _ask_thermocouple(self, column: int) -> ColumnGuess:
        junction = self.settled[column]
        asked = f"{self.name(column)}: millivolts of which type of thermocouple: {_TYPES}?"
        if junction.why_not:
            asked += (
                f" Say its cold junction too, a column or a fixed temperature: {junction.why_not}."
            )
            at = junction.why_not
        elif junction.column is not None:
            found = self.junctions[junction.column]
            at = f"column {junction.column + 1} is its cold junction"
            taken = f"{self.name(junction.column)} was taken for the cold junction: {found.why}."
            if taken not in self.assumptions:
                self.assumptions.append(taken)
        else:
            at = f"its cold junction is at {junction.fixed_c:g} °C, as you chose"
        self.questions.append(Question("thermocouple", column, asked))
        return ColumnGuess(
            column,
            self.header(column),
            ColumnRole.TEMPERATURE,
            None,
            None,
            f"it holds millivolts, and nobody has said of which type of thermocouple; {at}; "
            "say the type, or that the column is to be ignored",
            self.shown(column),
            cold_junction=junction.column,
            cold_junction_c=junction.fixed_c,
            is_millivolts=True,
        )
