"""What may be said about a logger's columns: their units, their roles, and a person's choices."""

from collections.abc import Collection
from enum import StrEnum
from functools import cache
from typing import Annotated, Final, Self
from zoneinfo import available_timezones

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)

from app.core.refusals import Unacceptable
from app.core.text import Code, Line
from app.numerics.thermocouple_tables import ThermocoupleType

MAX_CHANNELS: Final = 16
MAX_COLUMN_INDEX: Final = 999
MAX_LISTED_COLUMNS: Final = 1000
MAX_HEADER_ROWS: Final = 10
# Where a logger itself may stand; every type's function is defined there.
COLDEST_JUNCTION_C: Final = -50
HOTTEST_JUNCTION_C: Final = 150


class Delimiter(StrEnum):
    """The character between two cells."""

    COMMA = ","
    SEMICOLON = ";"
    TAB = "\t"
    PIPE = "|"

    @property
    def words(self) -> str:
        """The delimiter as a person says it."""
        return self.name.lower()


class DecimalMark(StrEnum):
    """The character before the decimals of a number."""

    POINT = "."
    COMMA = ","


class TemperatureUnit(StrEnum):
    """The unit a column of temperatures is written in."""

    CELSIUS = "C"
    FAHRENHEIT = "F"
    KELVIN = "K"

    @property
    def words(self) -> str:
        """The unit as it is printed behind a number."""
        return self.value if self is TemperatureUnit.KELVIN else f"°{self.value}"


class TimeFormat(StrEnum):
    """How a column of times is written."""

    SECONDS = "s"
    MILLISECONDS = "ms"
    MINUTES = "min"
    HOURS = "h"
    HH_MM_SS = "hh:mm:ss"
    HH_MM = "hh:mm"
    MM_SS = "mm:ss"
    DATE_TIME = "date-time"


class ColumnRole(StrEnum):
    """What a column of the file is taken for."""

    TIME = "time"
    DATE = "date"
    TEMPERATURE = "temperature"
    COLD_JUNCTION = "cold_junction"
    IGNORED = "ignored"


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


ColumnIndex = Annotated[int, Field(ge=0, le=MAX_COLUMN_INDEX)]


@cache
def _list_zones() -> frozenset[str]:
    return frozenset(available_timezones())


def _check_zone(name: str) -> str:
    if name not in _list_zones():
        raise ValueError(f"must be a zone of the IANA list, like Europe/Vienna, not {name!r}")
    return name


ZoneName = Annotated[Line, StringConstraints(max_length=64), AfterValidator(_check_zone)]
JunctionTemperature = Annotated[
    float, Field(ge=COLDEST_JUNCTION_C, le=HOTTEST_JUNCTION_C, allow_inf_nan=False)
]
FileRow = Annotated[int, Field(ge=0, le=10_000)]


class ColumnChoice(_Frozen):
    """What a person says of one column; `index` counts from 0.

    A `thermocouple` says that the column holds the millivolts of one of that type. Its cold
    junction is then the column of index `cold_junction`, or a fixed `cold_junction_c` in °C.
    """

    index: ColumnIndex
    role: ColumnRole | None = None
    unit: TemperatureUnit | None = None
    thermocouple: ThermocoupleType | None = None
    cold_junction: ColumnIndex | None = None
    cold_junction_c: JunctionTemperature | None = None

    @model_validator(mode="after")
    def _has_one_cold_junction(self) -> Self:
        if self.cold_junction is not None and self.cold_junction_c is not None:
            raise ValueError("cold_junction: a column or a fixed temperature, not both")
        if self.cold_junction == self.index:
            raise ValueError("cold_junction: a column cannot be its own cold junction")
        return self


class ReadingChoices(_Frozen):
    """What a person says of a file instead of letting it be guessed; None leaves the guess.

    `sheet` is a sheet of an Excel workbook by its name. `header_row` counts the file's rows from
    1, 0 says that there is no header, and `header_last_row` is its last where it has several.
    `units_row` is likewise the row of units, below the header; 0 for none.
    `zone` is where a logger's clock was set whose dates do not say it; else it is the plant's.
    `temperature_unit` is for every temperature column whose own choice and the file say nothing,
    `thermocouple` likewise for every column of millivolts, and `cold_junction_c` (°C) for every
    one of those whose own choice names no cold junction and where no column is chosen as one.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "delimiter": ";",
                    "decimal_mark": ",",
                    "header_row": 3,
                    "header_last_row": 4,
                    "units_row": 5,
                    "zone": "Europe/Vienna",
                    "columns": [
                        {"index": 0, "role": "time"},
                        {"index": 1, "thermocouple": "K", "cold_junction": 3},
                        {"index": 2, "thermocouple": "J", "cold_junction_c": 23.5},
                    ],
                }
            ]
        }
    )

    sheet: Line | None = None
    delimiter: Delimiter | None = None
    decimal_mark: DecimalMark | None = None
    header_row: FileRow | None = None
    header_last_row: FileRow | None = None
    units_row: FileRow | None = None
    time_format: TimeFormat | None = None
    day_first: bool | None = None
    zone: ZoneName | None = None
    temperature_unit: TemperatureUnit | None = None
    thermocouple: ThermocoupleType | None = None
    cold_junction_c: JunctionTemperature | None = None
    columns: Annotated[tuple[ColumnChoice, ...], Field(max_length=MAX_LISTED_COLUMNS)] = ()

    @model_validator(mode="after")
    def _says_each_thing_once(self) -> Self:
        indices = [choice.index for choice in self.columns]
        if len(set(indices)) != len(indices):
            raise ValueError("columns: each column can be named once")
        for role in (ColumnRole.TIME, ColumnRole.DATE, ColumnRole.COLD_JUNCTION):
            if sum(choice.role is role for choice in self.columns) > 1:
                words = role.value.replace("_", " ")
                raise ValueError(f"columns: one column at most can be the {words} column")
        return self

    @model_validator(mode="after")
    def _keeps_cold_junctions(self) -> Self:
        named = {choice.cold_junction for choice in self.columns}
        for choice in self.columns:
            fits = choice.role in {None, ColumnRole.COLD_JUNCTION, ColumnRole.TEMPERATURE}
            if choice.index in named and not fits:
                raise ValueError(
                    f"columns: column {choice.index + 1} is named as a cold junction and cannot "
                    f"be {choice.role} as well"
                )
        return self

    @model_validator(mode="after")
    def _has_its_rows_in_order(self) -> Self:
        first, last, units = self.header_row, self.header_last_row, self.units_row
        if last is not None and (not first or not first <= last < first + MAX_HEADER_ROWS):
            raise ValueError(
                "header_last_row: must follow the header's first row (header_row), with "
                f"{MAX_HEADER_ROWS} rows at most"
            )
        if units and first and units <= (last or first):
            raise ValueError(f"units_row: must stand below the header, not in row {units}")
        return self

    def find_column(self, index: int) -> ColumnChoice | None:
        """Return what was said of the column, or None."""
        return next((choice for choice in self.columns if choice.index == index), None)


class ChannelRole(StrEnum):
    """Where the sensor of a channel sits."""

    JOINT_CENTRE = "joint_centre"
    JOINT_CORNER = "joint_corner"
    BODY = "body"
    BOARD = "board"
    ADJACENT = "adjacent"
    AIR = "air"
    UNUSED = "unused"

    @property
    def words(self) -> str:
        """The role as a person says it."""
        return _ROLE_WORDS[self]

    @property
    def is_joint(self) -> bool:
        """Whether the channel shows a solder joint."""
        return self in {ChannelRole.JOINT_CENTRE, ChannelRole.JOINT_CORNER}


_ROLE_WORDS: Final = {
    ChannelRole.JOINT_CENTRE: "joint, centre",
    ChannelRole.JOINT_CORNER: "joint, corner",
    ChannelRole.BODY: "package body",
    ChannelRole.BOARD: "board",
    ChannelRole.ADJACENT: "adjacent part",
    ChannelRole.AIR: "air",
    ChannelRole.UNUSED: "not used",
}

ChannelName = Annotated[Line, StringConstraints(max_length=60)]


class Channel(_Frozen):
    """One column of the file as a channel; `designator` names the part of an adjacent channel."""

    column: ColumnIndex
    name: ChannelName
    role: ChannelRole
    designator: Code | None = None

    @model_validator(mode="after")
    def _designates_adjacent_parts_alone(self) -> Self:
        if self.role is ChannelRole.ADJACENT and self.designator is None:
            raise ValueError("designator: an adjacent channel names the part it sits on")
        if self.role is not ChannelRole.ADJACENT and self.designator is not None:
            raise ValueError("designator: an adjacent channel alone names a part")
        return self


class ChannelMap(_Frozen):
    """Which column is which channel: 1 to 16 in use, names and columns once each."""

    channels: Annotated[tuple[Channel, ...], Field(min_length=1, max_length=MAX_LISTED_COLUMNS)]

    @model_validator(mode="after")
    def _is_unambiguous(self) -> Self:
        columns = [channel.column for channel in self.channels]
        if len(set(columns)) != len(columns):
            raise ValueError("channels: each column can be one channel only")
        names = [channel.name.casefold() for channel in self.in_use]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"channels: the name “{twice[0]}” is given more than once")
        if not names:
            raise ValueError("channels: at least one channel must be in use")
        if len(names) > MAX_CHANNELS:
            raise ValueError(
                f"channels: {len(names)} are in use; {MAX_CHANNELS} is the most a trace can hold"
            )
        return self

    @property
    def in_use(self) -> tuple[Channel, ...]:
        """The channels that carry a trace, in the order given."""
        return tuple(c for c in self.channels if c.role is not ChannelRole.UNUSED)


class ChannelWithoutColumn(Unacceptable):
    """A channel names a column that the file does not give temperatures in."""

    code = "traces.channel_without_column"


def check_channels_fit(channel_map: ChannelMap, *, columns: Collection[int]) -> None:
    """Refuse a map whose channels in use name columns that hold no temperatures.

    `columns` are the indices, from 0, of the file's temperature columns.
    Raises ChannelWithoutColumn.
    """
    for place, channel in enumerate(channel_map.channels):
        if channel.role is not ChannelRole.UNUSED and channel.column not in columns:
            raise ChannelWithoutColumn(
                f"Channel “{channel.name}” is mapped to column {channel.column + 1}, "
                "which holds no temperatures in this file.",
                field=f"channels.{place}.column",
            )
