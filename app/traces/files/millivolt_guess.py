"""Which columns hold a thermocouple's millivolts, and which the cold junction's temperature."""

from dataclasses import dataclass
from typing import Final

from app.core.refusals import Unacceptable
from app.numerics.thermocouple_tables import ThermocoupleType
from app.traces.files.cells import CellClass
from app.traces.files.column_guesser import ColumnGuesser
from app.traces.files.reading import ColumnGuess
from app.traces.files.units import (
    find_thermocouple_type,
    is_cold_junction_header,
    is_in_millivolts,
)
from app.traces.rules import ColumnRole, TemperatureUnit

_LISTED_COLUMNS: Final = 3


class NoColdJunction(Unacceptable):
    """Columns of millivolts were chosen, and no temperature of their cold junction is there."""

    code = "traces.no_cold_junction"


@dataclass
class MillivoltGuesser(ColumnGuesser):
    """Takes columns of millivolts for temperatures where type and cold junction are known."""

    cold_junction: ColumnGuess | None = None
    why_no_junction: str = ""

    def is_millivolts(self, column: int) -> bool:
        """Whether the column's header or units row says mV."""
        return is_in_millivolts(self.layout.units[column]) or is_in_millivolts(self.header(column))

    def find_thermocouple(self, column: int) -> tuple[ThermocoupleType | None, str]:
        """Return the type whose millivolts the column holds, and who says so."""
        choice = self.choices.find_column(column)
        if choice is not None and choice.thermocouple is not None:
            return choice.thermocouple, "you chose"
        if not self.is_millivolts(column):
            return None, ""
        by_header = find_thermocouple_type(self.header(column))
        if by_header is not None:
            return by_header, "its header says"
        return self.choices.thermocouple, "for columns of millivolts you chose"

    def settle_cold_junction(self, *, besides: set[int]) -> None:
        """Find the cold junction where thermocouples need one. Raises NoColdJunction."""
        free = [c for c in range(self.layout.width) if c not in besides]
        thermocouples = [c for c in free if self.find_thermocouple(c)[0] is not None]
        chosen = [c for c in free if self.chosen_role(c) is ColumnRole.COLD_JUNCTION]
        if not thermocouples and not chosen:
            return
        named = [
            c
            for c in free
            if self.chosen_role(c) is None
            and c not in thermocouples
            and self.layout.classes[c] is CellClass.NUMBER
            and is_cold_junction_header(self.header(c))
        ]
        self._take_cold_junction(chosen or named, is_chosen=bool(chosen))
        if self.cold_junction is not None:
            return
        for column in thermocouples:
            choice = self.choices.find_column(column)
            if self.choices.thermocouple is not None or (choice and choice.thermocouple):
                raise NoColdJunction(
                    f"{self.name(column)} holds millivolts of a thermocouple, and "
                    f"{self.why_no_junction}. Say which column is the cold junction's "
                    "temperature, and its unit.",
                    field="choices.columns",
                )

    def _take_cold_junction(self, found: list[int], *, is_chosen: bool) -> None:
        if len(found) != 1:
            many = ", ".join(self.name(column) for column in found[:_LISTED_COLUMNS])
            self.why_no_junction = (
                f"it is open which of {many} is its cold junction"
                if found
                else "no column is named as its cold junction"
            )
            return
        column = found[0]
        asked = len(self.questions)
        unit, unit_why = self.find_unit(column)
        if unit is None:
            # No channel hangs on this column, so nobody would have to answer for it.
            del self.questions[asked:]
            self.why_no_junction = f"{self.name(column)}, its cold junction: {unit_why}"
            return
        why = "you chose it" if is_chosen else "its header names the cold junction"
        self.cold_junction = ColumnGuess(
            column,
            self.header(column),
            ColumnRole.COLD_JUNCTION,
            unit,
            None,
            f"{why}; {unit_why}",
            self.shown(column),
        )

    def guess_millivolts(self, column: int) -> ColumnGuess | None:
        """Return the guess of a thermocouple's column, or None where it is none."""
        if self.chosen_role(column) not in {None, ColumnRole.TEMPERATURE}:
            return None
        kind, who = self.find_thermocouple(column)
        if kind is None:
            return None
        header, shown = self.header(column), self.shown(column)
        if self.cold_junction is None:
            why = f"it holds millivolts of type {kind}, and {self.why_no_junction}"
            return ColumnGuess(column, header, ColumnRole.IGNORED, None, None, why, shown)
        why = (
            f"millivolts of a thermocouple; {who} type {kind}; computed in °C by ITS-90 with the "
            f"cold junction of column {self.cold_junction.index + 1}"
        )
        self.assumptions.append(f"{self.name(column)}: {why}.")
        celsius = TemperatureUnit.CELSIUS
        return ColumnGuess(
            column, header, ColumnRole.TEMPERATURE, celsius, None, why, shown, thermocouple=kind
        )
