"""What a logger's file was read as: exact samples, and all that was taken for granted."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.core.refusals import Conflict
from app.numerics.thermocouple_tables import ThermocoupleType
from app.traces.files.markers import FindingKind
from app.traces.rules import ColumnRole, DecimalMark, Delimiter, TemperatureUnit, TimeFormat

_DAY_S: Final = 86_400
_HOUR_S: Final = 3_600
_MINUTE_S: Final = 60
_ABOUT_COLUMNS: Final = frozenset({"unit", "thermocouple"})


class UnitUnknown(Conflict):
    """Nobody has said yet which unit the column is written in."""

    code = "traces.unit_unknown"


@dataclass(frozen=True)
class Finding:
    """Something amiss in a column (index from 0) or, without one, in the file's rows (from 1)."""

    column: int | None
    kind: FindingKind
    first_row: int
    last_row: int
    count: int
    sentence: str


@dataclass(frozen=True)
class Question:
    """Something that the file does not say and a person must confirm.

    `about` is the choice that answers it: unit, thermocouple, time_format or day_first.
    """

    about: str
    column: int
    sentence: str

    @property
    def is_of_column(self) -> bool:
        """Whether it is of this column alone, and open only while the column is in use."""
        return self.about in _ABOUT_COLUMNS


@dataclass(frozen=True)
class ColumnGuess:
    """What a column was taken for and why; `samples` are its first values as written.

    `thermocouple` is the type whose millivolts the column holds; its temperatures are then
    computed, in °C, with the cold junction of the column `cold_junction` (index) or at a fixed
    `cold_junction_c`. `is_millivolts` says that header or units row speak of mV.
    """

    index: int
    header: str
    role: ColumnRole
    unit: TemperatureUnit | None
    time_format: TimeFormat | None
    why: str
    samples: tuple[str, ...]
    thermocouple: ThermocoupleType | None = None
    cold_junction: int | None = None
    cold_junction_c: float | None = None
    is_millivolts: bool = False

    @property
    def is_untyped(self) -> bool:
        """Whether it would hold temperatures if the type of its thermocouple were said."""
        is_temperature = self.role is ColumnRole.TEMPERATURE
        return is_temperature and self.is_millivolts and not (self.thermocouple or self.unit)


@dataclass(frozen=True)
class Taken:
    """What the file as a whole was taken for in one respect, and why.

    `about` is the name of the choice that would change it, or encoding.
    """

    about: str
    what: str
    why: str


@dataclass(frozen=True, eq=False)
class TemperatureColumn:
    """One column of temperatures as written: values / 10**decimals in the file's own unit.

    Those of a column of millivolts are computed and in °C; `computed_step_k` is then what the
    last digits of its emf and its cold junction are worth in K. Where `missing` is set the file
    gave no temperature, and the value is 0.
    """

    index: int
    header: str
    unit: TemperatureUnit | None
    decimals: int
    values: NDArray[np.int64]
    missing: NDArray[np.bool_]
    computed_step_k: float | None = None

    @property
    def resolution_k(self) -> float:
        """What the last digit of the file's numbers is worth, in K; as if of °C without a unit."""
        if self.computed_step_k is not None:
            return self.computed_step_k
        factor = 5 / 9 if self.unit is TemperatureUnit.FAHRENHEIT else 1.0
        return float(factor * 10.0**-self.decimals)

    def temperature_c(self) -> NDArray[np.float64]:
        """Return the temperatures in °C, NaN where missing; each correctly rounded.

        °F and K are exact integers until one last division: (v − 32)·5/9 and v − 273.15.
        Raises UnitUnknown.
        """
        scale = 10**self.decimals
        match self.unit:
            case None:
                raise UnitUnknown(
                    f"Column {self.index + 1} “{self.header}”: the file does not say whether it "
                    "is in °C, °F or K, or of which thermocouple it holds millivolts; say it "
                    "first.",
                    field=f"columns.{self.index}.unit",
                )
            case TemperatureUnit.CELSIUS:
                numerator, denominator = self.values, scale
            case TemperatureUnit.FAHRENHEIT:
                numerator, denominator = (self.values - 32 * scale) * 5, 9 * scale
            case TemperatureUnit.KELVIN:
                numerator, denominator = self.values * 100 - 27_315 * scale, 100 * scale
        result: NDArray[np.float64] = numerator / denominator
        result[self.missing] = np.nan
        return result

    def spell(self, sample: int) -> str:
        """Return the sample's number in the file's unit with all decimals; empty where missing."""
        if self.missing[sample]:
            return ""
        return spell_scaled(int(self.values[sample]), self.decimals)


@dataclass(frozen=True, eq=False)
class TimeAxis:
    """The times as written: `ticks` of 10**exponent seconds, strictly increasing.

    `ticks_per_unit` is how many ticks the file's last digit is worth (60 for minutes). Dates
    with times count from 1970-01-01 00:00, in UTC when `is_zoned`, else in the logger's own
    clock. Clock times that pass midnight go on counting beyond 24 h.
    """

    column: int
    header: str
    form: TimeFormat
    ticks: NDArray[np.int64]
    exponent: int
    ticks_per_unit: int
    is_absolute: bool
    is_zoned: bool
    first_written: str

    def elapsed_s(self) -> NDArray[np.float64]:
        """Return seconds since the first sample, from 0; each correctly rounded."""
        elapsed: NDArray[np.float64] = (self.ticks - self.ticks[0]) / 10**-self.exponent
        return elapsed

    def spell(self, sample: int) -> str:
        """Return the sample's time in the file's unit: a number, a clock time or a date-time."""
        tick = int(self.ticks[sample])
        decimals = -self.exponent
        if self.form is TimeFormat.MILLISECONDS:
            return spell_scaled(tick, decimals - 3)
        if self.form in {TimeFormat.SECONDS, TimeFormat.MINUTES, TimeFormat.HOURS}:
            return spell_scaled(tick // self.ticks_per_unit, decimals)
        second, part = divmod(tick, 10**decimals)
        day, clock = divmod(second, _DAY_S)
        tail = f".{part:0{decimals}d}" if decimals else ""
        hours, minutes, seconds = (
            clock // _HOUR_S,
            clock % _HOUR_S // _MINUTE_S,
            clock % _MINUTE_S,
        )
        if self.is_absolute:
            date = np.datetime64(day, "D")
            zone = "Z" if self.is_zoned else ""
            return f"{date}T{hours:02d}:{minutes:02d}:{seconds:02d}{tail}{zone}"
        if self.form is TimeFormat.MM_SS:
            return f"{second // _MINUTE_S:02d}:{seconds:02d}{tail}"
        return f"{second // _HOUR_S:02d}:{minutes:02d}:{seconds:02d}{tail}"


@dataclass(frozen=True, eq=False)
class LoggerReading:
    """A file as read. `rows[k]` is the file's row (from 1) of sample k.

    While `questions` is not empty, something was taken that the file does not say. `sheets` are
    those of a workbook, and `sheet` the one that was read.
    """

    encoding: str
    sheet: str | None
    sheets: tuple[str, ...]
    delimiter: Delimiter
    decimal_mark: DecimalMark
    header_row: int | None
    header_last_row: int | None
    units_row: int | None
    preamble: tuple[str, ...]
    rows: NDArray[np.int64]
    time: TimeAxis
    columns: tuple[TemperatureColumn, ...]
    guesses: tuple[ColumnGuess, ...]
    taken: tuple[Taken, ...]
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]
    questions: tuple[Question, ...]

    @property
    def sample_count(self) -> int:
        """How many samples each column has."""
        return len(self.rows)


def spell_scaled(value: int, decimals: int) -> str:
    """Return value / 10**decimals with exactly that many decimals."""
    if decimals <= 0:
        return str(value * 10**-decimals)
    digits = f"{abs(value):0{decimals + 1}d}"
    return f"{'-' if value < 0 else ''}{digits[:-decimals]}.{digits[-decimals:]}"
