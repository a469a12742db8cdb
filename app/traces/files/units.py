"""Units as headers and units rows write them: of temperature, of time, and all others."""

import re
import unicodedata
from collections.abc import Iterable
from typing import Final

from app.numerics.thermocouple_tables import ThermocoupleType
from app.traces.rules import TemperatureUnit, TimeFormat

_UNITS: Final = {
    "c": TemperatureUnit.CELSIUS,
    "f": TemperatureUnit.FAHRENHEIT,
    "k": TemperatureUnit.KELVIN,
    "celsius": TemperatureUnit.CELSIUS,
    "centigrade": TemperatureUnit.CELSIUS,
    "fahrenheit": TemperatureUnit.FAHRENHEIT,
    "kelvin": TemperatureUnit.KELVIN,
}
# "Â°" is a degree sign that was read in the wrong encoding once.
_DEGREE_SIGNS: Final = re.compile(r"Â°|[°º˚]|�")
_MARKED: Final = re.compile(
    r"(?:°|(?<![a-z])deg(?:ree)?s?\.?)[ _]*([cfk])(?![a-z])"
    r"|(?<![a-z])(celsius|centigrade|fahrenheit|kelvin)(?![a-z])"
)
_IN_BRACKETS: Final = re.compile(r"[\[(]\s*([^\[\]()]{1,20}?)\s*[\])]")
_BEHIND_SLASH: Final = re.compile(r"[a-z0-9 _]/\s*([^\s/]{1,12})$")
_TIME_WORDS: Final = re.compile(
    r"(?<![a-z])(time|elapsed|timestamp|zeit|uhrzeit|seconds?|secs?|minutes|hours|msecs?"
    r"|milliseconds?)(?![a-z])"
)
_TIME_ALONE: Final = frozenset({"s", "sec", "ms"})
_INDEX_WORDS: Final = frozenset(
    {"no", "no.", "nr", "nr.", "#", "index", "idx", "scan", "sample", "samples", "record"}
    | {"rec", "count", "n", "id", "point", "row", "number"}
)
_TIME_UNITS: Final = {
    "s": TimeFormat.SECONDS,
    "sec": TimeFormat.SECONDS,
    "secs": TimeFormat.SECONDS,
    "second": TimeFormat.SECONDS,
    "seconds": TimeFormat.SECONDS,
    "ms": TimeFormat.MILLISECONDS,
    "msec": TimeFormat.MILLISECONDS,
    "msecs": TimeFormat.MILLISECONDS,
    "millisecond": TimeFormat.MILLISECONDS,
    "milliseconds": TimeFormat.MILLISECONDS,
    "min": TimeFormat.MINUTES,
    "mins": TimeFormat.MINUTES,
    "minute": TimeFormat.MINUTES,
    "minutes": TimeFormat.MINUTES,
    "h": TimeFormat.HOURS,
    "hr": TimeFormat.HOURS,
    "hrs": TimeFormat.HOURS,
    "hour": TimeFormat.HOURS,
    "hours": TimeFormat.HOURS,
}
_CLOCK_WORDS: Final = re.compile(r"^(hh?:mm:ss|hh?:mm|mm:ss)(?:[.,][a-z0-9]+)?$")
_LAST_TOKEN: Final = re.compile(r"[ _.]([a-z]{1,12})$")
_OTHER_UNITS: Final = frozenset(
    {"mv", "v", "uv", "µv", "μv", "a", "ma", "ohm", "ω", "kω", "w", "kw", "kj", "hz", "khz"}
    | {"%", "%rh", "rh", "rpm", "pa", "hpa", "kpa", "mbar", "bar", "psi", "ppm", "ppb", "db"}
    | {"l", "l/min", "lpm", "nl/min", "slpm", "m3/h", "mm", "cm", "m", "m/s", "g", "nm"}
    | {"lux", "k/s", "°/s", "°c/s"}
)
# Letters that only a row of labels or the types of thermocouples would put in brackets.
_LABEL_LETTERS: Final = frozenset({"b", "d", "e", "j", "n", "r", "t"})
_SMALL_T: Final = re.compile(r"t(?![A-Za-z0-9])")
_SECONDS_IN_BRACKETS: Final = re.compile(r"[\[(]\s*(?:s|sec|ms|msec)\s*[\])]")
_MILLIVOLTS: Final = re.compile(r"(?<![a-z])mv(?![a-z])")
_COLD_JUNCTION: Final = re.compile(
    r"(?<![a-z])(?:cjc|cj|cold[ _.-]*(?:junction|jct)|reference[ _.-]*junction)(?![a-z])"
)
# Alone it may name a thermocouple for reference as well: it counts beside millivolts only.
_REFERENCE_ALONE: Final = re.compile(
    r"(?:t(?:emp(?:erature)?)?[ _.-]*)?ref(?:erence)?(?:[ _.-]*t(?:emp(?:erature)?)?)?\.?"
)
_DEGREE_OR_MV: Final = (
    r"(?:Â°|[°º˚�])\s*[cfk](?![a-z])|(?<![a-z])deg(?:ree)?s?\.?[ _]*[cfk](?![a-z])"
    r"|(?<![a-z])(?:celsius|centigrade|fahrenheit|kelvin|mv)(?![a-z])"
)
_TAIL_UNIT: Final = re.compile(
    rf"[\s,_/-]*(?:[\[(]\s*(?:{_DEGREE_OR_MV}|[cfk])\s*[\])]|{_DEGREE_OR_MV})\s*$", re.IGNORECASE
)
_THERMOCOUPLE: Final = re.compile(
    r"(?<![a-z])(?:typ(?:e)?[ _.-]*([kjtn])|([kjtn])[ _-]?typ(?:e)?|tc[ _-]([kjtn]))(?![a-z0-9])"
)
_DATE_WORDS: Final = re.compile(r"^(?:[dmy]{1,4}[./-]){2}[dmy]{1,4}$")


def _fold(header: str) -> str:
    marked = _DEGREE_SIGNS.sub("°", header)
    return unicodedata.normalize("NFKC", marked).casefold().strip()


def _bracketed(folded: str) -> list[str]:
    found = _IN_BRACKETS.findall(folded)
    slash = _BEHIND_SLASH.search(folded)
    return [*found, slash.group(1)] if slash else found


def find_temperature_unit(
    header: str, *, letters_are_labels: bool = False
) -> TemperatureUnit | None:
    """Return the one unit of temperature that the header states, or None.

    A bare letter counts in brackets or behind a slash; not where the file labels its columns
    with letters (`letters_are_labels`). Two different units count as none.
    """
    folded = _fold(header)
    units = _marked_units(folded)
    if not units and not letters_are_labels:
        units = {_UNITS[part] for part in _bracketed(folded) if part in _UNITS}
    return units.pop() if len(units) == 1 else None


def find_unit_of_cell(cell: str) -> TemperatureUnit | None:
    """Return the unit of temperature that is all the cell holds: °C, [F], K, deg C; or None."""
    folded = _fold(cell).strip("[]() ")
    units = _marked_units(folded) or ({_UNITS[folded]} if folded in _UNITS else set())
    return units.pop() if len(units) == 1 else None


def find_unit_of_remark(text: str) -> TemperatureUnit | None:
    """Return the unit that a line above the samples states for all of them, or None.

    The line must speak of a unit, and of temperature where it gives no more than a letter.
    """
    folded = _fold(text)
    words = folded.replace(":", " ").replace("=", " ").split()
    if not any(word in {"unit", "units"} for word in words):
        return None
    unit = find_temperature_unit(text)
    if unit is None and "temp" in folded:
        return find_unit_of_cell(words[-1])
    return unit


def _marked_units(folded: str) -> set[TemperatureUnit]:
    return {_UNITS[match.group(1) or match.group(2)] for match in _MARKED.finditer(folded)}


def are_letters_labels(headers: Iterable[str]) -> bool:
    """Whether single letters in brackets name the columns: (A), (B), (C) is no unit."""
    letters = {part for header in headers for part in _bracketed(_fold(header))}
    return bool(letters & _LABEL_LETTERS)


def find_other_unit(header: str, *, letters_are_labels: bool = False) -> str | None:
    """Return the unit of something else than temperature or time that the header states."""
    parts = [p for p in _bracketed(_fold(header)) if len(p) > 1 or not letters_are_labels]
    return next((part for part in parts if part in _OTHER_UNITS), None)


def find_other_unit_of_cell(cell: str) -> str | None:
    """Return the unit of something else that is all the cell holds, or None."""
    folded = _fold(cell).strip("[]() ")
    return folded if folded in _OTHER_UNITS else None


def is_in_millivolts(header: str) -> bool:
    """Whether a header or a cell of a units row says mV."""
    return _MILLIVOLTS.search(_fold(header)) is not None


def is_cold_junction_header(header: str) -> bool:
    """Whether the header names the temperature of a cold junction."""
    return _COLD_JUNCTION.search(_fold(header)) is not None


def is_reference_header(header: str) -> bool:
    """Whether the header says reference and nothing else but a unit."""
    return _REFERENCE_ALONE.fullmatch(_fold(strip_unit(header))) is not None


def strip_unit(header: str) -> str:
    """Return the header without the unit of temperature or mV that it ends with.

    A bare letter is a unit in brackets alone. A header that is no more than a unit stays.
    """
    return _TAIL_UNIT.sub("", header).strip() or header.strip()


def find_thermocouple_type(header: str) -> ThermocoupleType | None:
    """Return the one type that the header names in words: type K, K-type, TC K; or None.

    A letter in brackets is no word: it may label the column.
    """
    found = {letter for match in _THERMOCOUPLE.findall(_fold(header)) for letter in match if letter}
    return ThermocoupleType(found.pop().upper()) if len(found) == 1 else None


def is_time_header(header: str) -> bool:
    """Whether the header speaks of time."""
    folded = _fold(header)
    if folded in _TIME_ALONE or _TIME_WORDS.search(folded.replace("_", " ")):
        return True
    # A small t is time, a capital one temperature; (S) is a thermocouple, (min) a minimum.
    return bool(_SMALL_T.match(header.strip()) or _SECONDS_IN_BRACKETS.search(header))


def is_index_header(header: str) -> bool:
    """Whether the header names a running number."""
    folded = _fold(header)
    return folded in _INDEX_WORDS or folded.split(" ")[0] in {"sample", "scan", "record", "index"}


def is_alarm_header(header: str) -> bool:
    """Whether the header names an alarm, event or status instead of a measurement."""
    return _fold(header).startswith(("alarm", "event", "status", "error", "flag"))


def find_time_format(header: str) -> TimeFormat | None:
    """Return how the header says that its times are written, or None."""
    folded = _fold(header)
    parts = [folded, *_bracketed(folded)]
    for part in parts:
        if part in _TIME_UNITS:
            return _TIME_UNITS[part]
        clock = _CLOCK_WORDS.match(part)
        if clock is not None:
            return TimeFormat(clock.group(1).replace("hh:", "h:").replace("h:", "hh:"))
    last = _LAST_TOKEN.search(folded)
    if last is not None and is_time_header(header):
        return _TIME_UNITS.get(last.group(1))
    return None


def is_unit_word(cell: str) -> bool:
    """Whether the cell holds a unit and nothing else."""
    folded = _fold(cell).strip("[]() ")
    if folded in _UNITS or folded in _TIME_UNITS or folded in _OTHER_UNITS:
        return True
    if _CLOCK_WORDS.match(folded) or _DATE_WORDS.match(folded):
        return True
    return _MARKED.fullmatch(folded) is not None
