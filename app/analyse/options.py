"""What the command's options say, checked before the first file is opened."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from app.core.faults import faults_of
from app.core.refusals import Unacceptable
from app.numerics.thermocouple_tables import ThermocoupleType
from app.traces.rules import (
    MAX_COLUMN_INDEX,
    ColumnChoice,
    ColumnRole,
    ReadingChoices,
    TemperatureUnit,
    TimeFormat,
)

SUFFIXES: Final = (".csv", ".tsv", ".txt", ".dat", ".xlsx")
_MOST_NUMBERS: Final = 20


class OptionUnacceptable(Unacceptable):
    """An option's value is beyond what it may be."""

    code = "analyse.option_unacceptable"


class NothingThere(Unacceptable):
    """A folder holds no file that could be a logger's."""

    code = "analyse.nothing_there"


@dataclass(frozen=True)
class Range:
    """What numbers of an option may be, in its unit; ends included."""

    option: str
    unit: str
    least: float
    most: float


ABOVE_C: Final = Range("times-above", "°C", -200, 2000)
RAMP_S: Final = Range("ramp-window", "s", 0.1, 3600)


def parse_numbers(said: str | None, allowed: Range) -> tuple[float, ...]:
    """Return the numbers between the commas, each once; OptionUnacceptable outside the range."""
    parts = [part.strip() for part in (said or "").split(",") if part.strip()]
    if len(parts) > _MOST_NUMBERS:
        raise OptionUnacceptable(
            f"--{allowed.option} has {len(parts)} numbers; {_MOST_NUMBERS} is the limit.",
            field=allowed.option,
        )
    return tuple(dict.fromkeys(_parse_number(part, allowed) for part in parts))


def _parse_number(part: str, allowed: Range) -> float:
    try:
        number = float(part)
    except ValueError:
        number = math.nan
    if not allowed.least <= number <= allowed.most:
        raise OptionUnacceptable(
            f"--{allowed.option}: “{part}” is no number from {allowed.least:g} to "
            f"{allowed.most:g} {allowed.unit}.",
            field=allowed.option,
        )
    return number


def make_choices(
    *,
    unit: TemperatureUnit | None,
    time_unit: TimeFormat | None,
    day_first: bool | None,
    thermocouple: ThermocoupleType | None,
    cold_junction: int | None,
    cold_junction_c: float | None = None,
    sheet: str | None = None,
    header_row: int | None = None,
    units_row: int | None = None,
    zone: str | None = None,
) -> ReadingChoices:
    """Return how files are to be read, as ReadingChoices says; None leaves the guess.

    `cold_junction` is a column's number from 1, `cold_junction_c` a fixed temperature in °C: one
    of the two. Raises OptionUnacceptable, naming the option and its limit.
    """
    if cold_junction is not None and cold_junction_c is not None:
        raise OptionUnacceptable(
            "--cold-junction-c: a column or a fixed temperature, not both; --cold-junction is "
            "given too.",
            field="cold-junction-c",
        )
    columns: tuple[ColumnChoice, ...] = ()
    if cold_junction is not None:
        if cold_junction > MAX_COLUMN_INDEX + 1:
            raise OptionUnacceptable(
                f"--cold-junction: column {cold_junction} is beyond {MAX_COLUMN_INDEX + 1}, the "
                "most a file may have.",
                field="cold-junction",
            )
        columns = (ColumnChoice(index=cold_junction - 1, role=ColumnRole.COLD_JUNCTION),)
    try:
        return ReadingChoices(
            sheet=sheet,
            header_row=header_row,
            units_row=units_row,
            time_format=time_unit,
            day_first=day_first,
            zone=zone,
            temperature_unit=unit,
            thermocouple=thermocouple,
            cold_junction_c=cold_junction_c,
            columns=columns,
        )
    except ValidationError as error:
        fault = faults_of(error)[0]
        # What is wrong between two choices names the one to change in its sentence.
        name, _, sentence = ("", "", "") if fault.field else fault.sentence.partition(": ")
        option = (fault.field or name).replace("_", "-")
        raise OptionUnacceptable(
            f"--{option} {sentence or fault.sentence}.", field=option
        ) from None


def list_files(paths: Sequence[Path]) -> list[str]:
    """Return the files, and those of folders by name; NothingThere for a folder without any.

    A path that is no folder is kept as it is: opening it tells what is wrong with it.
    """
    found: list[str] = []
    for path in paths:
        if not path.is_dir():
            found.append(str(path))
            continue
        inside = sorted(
            str(one)
            for one in path.iterdir()
            if one.suffix.casefold() in SUFFIXES and not one.name.startswith((".", "~$"))
        )
        if not inside:
            raise NothingThere(
                f"{path} holds no file that ends with {', '.join(SUFFIXES)}.", field="files"
            )
        found += inside
    return found
