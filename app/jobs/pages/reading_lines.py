"""The lines of a reading's page: what the file and its columns were taken for, why, and the say."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from app.core.settings import Settings
from app.jobs.pages.reading_form import MOST_COLUMNS
from app.jobs.readings import Suggestion
from app.numerics.thermocouple_tables import ThermocoupleType
from app.traces.files import ColumnGuess, LoggerReading, Outline
from app.traces.rules import (
    COLDEST_JUNCTION_C,
    HOTTEST_JUNCTION_C,
    Channel,
    ChannelRole,
    ColumnRole,
    DecimalMark,
    Delimiter,
    TemperatureUnit,
    TimeFormat,
)

Option = tuple[str, str]
ROLES: Final[tuple[Option, ...]] = tuple((str(role), role.words) for role in ChannelRole)
DELIMITERS: Final[tuple[Option, ...]] = tuple((str(one), one.words) for one in Delimiter)
MARKS: Final[tuple[Option, ...]] = (
    (str(DecimalMark.POINT), "point"),
    (str(DecimalMark.COMMA), "comma"),
)
FORMS: Final[tuple[Option, ...]] = tuple((str(one), str(one)) for one in TimeFormat)
UNITS: Final[tuple[Option, ...]] = tuple((str(one), one.words) for one in TemperatureUnit)
TYPES: Final[tuple[Option, ...]] = tuple((str(one), f"type {one}") for one in ThermocoupleType)
COLUMN_ROLES: Final[tuple[Option, ...]] = tuple(
    (str(one), str(one).replace("_", " ")) for one in ColumnRole
)
DAY_FIRST: Final[tuple[Option, ...]] = (("yes", "day first"), ("no", "month first"))
LABELS: Final[Mapping[str, str]] = {
    "sheet": "Sheet of the workbook",
    "delimiter": "Between two cells",
    "decimal_mark": "Decimal mark",
    "header_row": "Columns' names: in row",
    "header_last_row": "to row",
    "units_row": "Units: in row",
    "time_format": "Times are in",
    "day_first": "Dates are written",
    "zone": "Zone of the clock",
    "temperature_unit": "Columns that do not say their unit are all in",
    "thermocouple": "Millivolts that do not say their type are all of",
    "cold_junction_c": "Cold junction of all, °C",
}
_OTHERS: Final[Mapping[str, str]] = {
    "temperature_unit": "each column's own header, units row or cells come first",
    "thermocouple": "each column's own header comes first",
    "cold_junction_c": "a column chosen as cold junction comes first; "
    f"from {COLDEST_JUNCTION_C} to {HOTTEST_JUNCTION_C} °C",
}
_COLUMNS_UNSEEN: Final = 8
_WHY_WIRE: Final = "preset: the type that this bench is described with; is it so?"
_ONLY_OF_BOOKS: Final = frozenset({"sheet"})
_ONLY_OF_TEXTS: Final = frozenset({"delimiter"})


@dataclass(frozen=True)
class Control:
    """One thing that can be said otherwise; an empty value leaves `guess`.

    Without options it is written: `hint` then says what. `why` is the reason of a value that
    nobody said yet, and `blank` what an empty value is called where it is no guess.
    """

    name: str
    label: str
    guess: str
    value: str
    options: tuple[Option, ...] = ()
    is_asked: bool = False
    hint: str = ""
    fault: str = ""
    is_number: bool = False
    why: str = ""
    blank: str = ""


@dataclass(frozen=True)
class FileLine:
    """What the file was taken for in one respect, why, and what says otherwise."""

    label: str
    taken: str
    why: str
    controls: tuple[Control, ...]
    is_asked: bool = False


@dataclass(frozen=True)
class ColumnLine:
    """One column of the file with what it is taken for, and its channel where it has one."""

    index: int
    number: int
    header: str
    samples: str
    why: str
    role: Control
    unit: Control
    thermocouple: Control
    cold_junction: Control
    cold_junction_c: Control
    channel: str
    channel_role: str
    designator: str
    is_channel: bool
    is_computed: bool
    is_untyped: bool
    is_time: bool


@dataclass(frozen=True)
class Said:
    """What a form says, or the choices that are shown first, and what was wrong with it."""

    values: Mapping[str, str]
    faults: Mapping[str, str]

    def value(self, name: str) -> str:
        """Return the text of a field."""
        return self.values.get(name, "")

    def fault(self, name: str) -> str:
        """Return what is wrong with the field, or nothing."""
        return self.faults.get(name) or self.faults.get(f"choices.{name}", "")

    def control(
        self, name: str, *, options: tuple[Option, ...] = (), guess: str = "", hint: str = "",
        is_asked: bool = False, is_number: bool = False, label: str = "", blank: str = "",
        preset: Option = ("", ""),
    ) -> Control:  # fmt: skip
        """Return the control of a choice about the file.

        `preset` is a value with its reason, for a choice that must be made and is not yet.
        """
        value, why = self.value(name), ""
        if is_asked and not value:
            value, why = preset
        return Control(
            name, label or LABELS[name], guess, value, options, is_asked, hint,
            self.fault(name), is_number, why, blank,
        )  # fmt: skip


def spell_file_limits(settings: Settings) -> str:
    """Return how large a logger's file may be, and how long reading takes."""
    return (
        f"up to {settings.trace_row_limit:,} rows and {settings.upload_limit_mb} MB; "
        "100,000 rows take about a second"
    )


def list_file_lines(
    said: Said,
    reading: LoggerReading | None,
    outline: Outline | None,
    *,
    wire: ThermocoupleType | None = None,
) -> tuple[FileLine, ...]:
    """Return a line for the encoding and each choice about the whole file that can matter.

    `wire` is the bench's own type of thermocouple, where it was described.
    """
    taken = {one.about: (one.what, one.why) for one in reading.taken} if reading else {}
    asked = {one.about for one in reading.questions} if reading else set()
    sheets = reading.sheets if reading else outline.sheets if outline else ()
    lines = []
    if "encoding" in taken:
        lines.append(FileLine("Encoding", *taken["encoding"], controls=()))
    for name, options, hint in (
        ("sheet", tuple((one, one) for one in sheets), "as it is named"),
        ("delimiter", DELIMITERS, ""),
        ("decimal_mark", MARKS, ""),
        ("header_row", (), "0: none"),
        ("units_row", (), "0: none"),
        ("time_format", FORMS, ""),
        ("day_first", DAY_FIRST, ""),
        ("zone", (), "like Europe/Vienna"),
        ("temperature_unit", UNITS, ""),
        ("thermocouple", TYPES, ""),
        ("cold_junction_c", (), "like 23.5"),
    ):
        if name in (_ONLY_OF_TEXTS if sheets else _ONLY_OF_BOOKS):
            continue
        what, why = taken.get(name, ("", _OTHERS.get(name, "")))
        is_asked = name in asked or (name == "temperature_unit" and "unit" in asked)
        if name == "cold_junction_c":
            is_asked = reading is not None and _is_junction_asked(reading)
        controls = [
            said.control(
                name, options=options, guess=what, hint=hint, is_asked=is_asked,
                is_number=name.endswith("_row"),
                preset=(str(wire), _WHY_WIRE) if name == "thermocouple" and wire else ("", ""),
            )
        ]  # fmt: skip
        if name == "header_row":
            controls.append(said.control("header_last_row", is_number=True, hint="if several"))
        lines.append(FileLine(LABELS[name], what, why, tuple(controls), is_asked))
    return tuple(lines)


def _is_junction_asked(reading: LoggerReading) -> bool:
    return any(
        guess.is_untyped and guess.cold_junction is None and guess.cold_junction_c is None
        for guess in reading.guesses
    )


def list_columns(
    said: Said,
    suggestion: Suggestion | None,
    outline: Outline | None,
    *,
    plain: Sequence[ColumnGuess],
) -> tuple[ColumnLine, ...]:
    """Return the file's columns as they were read, or as they look where it was not read.

    `plain` are its columns without any choice, where it can be read so: their names are shown.
    """
    if suggestion is not None:
        guesses: Sequence[ColumnGuess] = suggestion.reading.guesses
        channels = {channel.column: channel for channel in suggestion.channels}
        asked = {one.column for one in suggestion.reading.questions if one.about == "unit"}
    else:
        samples = outline.columns if outline else ((),) * _COLUMNS_UNSEEN
        names = tuple(guess.header for guess in plain)
        if len(names) != len(samples):
            names = ("",) * len(samples)
        guesses = tuple(
            ColumnGuess(index, header, ColumnRole.IGNORED, None, None, "", shown)
            for index, (shown, header) in enumerate(zip(samples, names, strict=True))
        )
        channels, asked = {}, set()
    shown = guesses[:MOST_COLUMNS]
    others = tuple(
        (str(one.index), f"column {one.index + 1} {one.header}".strip()) for one in shown
    )
    return tuple(
        _make_line(
            said, guess, others, channels.get(guess.index),
            is_read=suggestion is not None, is_asked=guess.index in asked,
        )
        for guess in shown
    )  # fmt: skip


def _make_line(
    said: Said, guess: ColumnGuess, names: tuple[Option, ...], channel: Channel | None, *,
    is_read: bool, is_asked: bool,
) -> ColumnLine:  # fmt: skip
    place, number = guess.index, guess.index + 1
    was_shown = f"channel_{place}" in said.values
    words = guess.thermocouple is not None
    junction = "" if guess.cold_junction is None else f"column {guess.cold_junction + 1}"
    return ColumnLine(
        index=place,
        number=number,
        header=guess.header,
        samples=" · ".join(guess.samples),
        why=guess.why,
        role=said.control(
            f"role_{place}", label=f"Column {number} is taken for", options=COLUMN_ROLES,
            guess=str(guess.role).replace("_", " ") if is_read else "",
        ),
        unit=said.control(
            f"unit_{place}", label=f"Unit of column {number}", options=UNITS,
            guess=guess.unit.words if guess.unit and not words else "", is_asked=is_asked,
        ),
        thermocouple=said.control(
            f"thermocouple_{place}", label=f"Type of the millivolts in column {number}",
            options=TYPES, guess=f"type {guess.thermocouple}" if words else "",
            blank="as said above for all" if guess.is_untyped else "",
        ),
        cold_junction=said.control(
            f"cold_junction_{place}", label=f"Cold junction of column {number}",
            options=tuple(one for one in names if one[0] != str(place)), guess=junction,
            blank="as said above for all" if guess.is_untyped and not junction else "",
        ),
        cold_junction_c=said.control(
            f"cold_junction_c_{place}", label=f"Fixed cold junction of column {number} in °C",
            guess="" if guess.cold_junction_c is None else f"{guess.cold_junction_c:g}",
            hint="or fixed, °C" if guess.cold_junction_c is None
            else f"{guess.cold_junction_c:g} (as read)",
        ),
        channel=said.value(f"channel_{place}") if was_shown else channel.name if channel else "",
        channel_role=said.value(f"channel_role_{place}")
        if was_shown
        else str(channel.role if channel else ChannelRole.UNUSED),
        designator=said.value(f"designator_{place}")
        if was_shown
        else (channel.designator or "" if channel else ""),
        is_channel=is_read and guess.role is ColumnRole.TEMPERATURE,
        is_computed=words,
        is_untyped=guess.is_untyped,
        is_time=is_read and guess.role in {ColumnRole.TIME, ColumnRole.DATE},
    )  # fmt: skip
