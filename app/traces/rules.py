"""What may be said about a logger's columns: their units, their roles, and a person's choices."""

from collections.abc import Collection
from enum import StrEnum
from typing import Annotated, Final, Self

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from app.core.refusals import Unacceptable
from app.core.text import Code, Line
from app.numerics.thermocouple_tables import ThermocoupleType

MAX_CHANNELS: Final = 16
MAX_COLUMN_INDEX: Final = 999
MAX_LISTED_COLUMNS: Final = 1000


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


class ColumnChoice(_Frozen):
    """What a person says of one column; `index` counts from 0.

    A `thermocouple` says that the column holds the millivolts of one of that type.
    """

    index: ColumnIndex
    role: ColumnRole | None = None
    unit: TemperatureUnit | None = None
    thermocouple: ThermocoupleType | None = None


class ReadingChoices(_Frozen):
    """What a person says of a file instead of letting it be guessed; None leaves the guess.

    `header_row` counts the file's rows from 1; 0 says that there is no header.
    `temperature_unit` is for every temperature column whose own choice and the file say nothing,
    `thermocouple` likewise for every column of millivolts.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "delimiter": ";",
                    "decimal_mark": ",",
                    "header_row": 3,
                    "columns": [{"index": 0, "role": "time"}],
                }
            ]
        }
    )

    delimiter: Delimiter | None = None
    decimal_mark: DecimalMark | None = None
    header_row: Annotated[int, Field(ge=0, le=10_000)] | None = None
    time_format: TimeFormat | None = None
    day_first: bool | None = None
    temperature_unit: TemperatureUnit | None = None
    thermocouple: ThermocoupleType | None = None
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
