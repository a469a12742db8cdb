"""What loggers write instead of a temperature: words, and numbers that are none."""

import re
from enum import StrEnum
from typing import Final

from app.traces.rules import TemperatureUnit


class FindingKind(StrEnum):
    """What was found amiss in a column or in the file."""

    EMPTY = "empty"
    OPEN = "open"
    NOT_A_NUMBER = "not_a_number"
    DASHES = "dashes"
    OVER = "over"
    UNDER = "under"
    ERROR = "error"
    SENTINEL = "sentinel"
    IMPOSSIBLE = "impossible"
    UNREADABLE = "unreadable"
    ROUNDED = "rounded"
    REPEATED_HEADER = "repeated_header"
    TEXT_ROWS = "text_rows"
    EXTRA_CELLS = "extra_cells"
    SHORT_ROWS = "short_rows"
    SKIPPED = "skipped"
    CUT_OFF = "cut_off"
    MIDNIGHT = "midnight"
    SUMMER_TIME = "summer_time"
    CLOCK_STEP = "clock_step"
    NO_COLD_JUNCTION = "no_cold_junction"


# Words in common use on the displays and in the files of thermometers and meters (from memory).
_WORDS: Final = {
    FindingKind.OPEN: "open|opn|open tc|tc open|open circuit|burnout|burn out|o.c.|break|"
    "disconnected|discon|no probe|no sensor|unplugged",
    FindingKind.NOT_A_NUMBER: "nan|-nan|+nan|n/a|#n/a|na|null|none|nil|1.#qnan|-1.#ind|1.#ind|"
    "1.#snan|#value!|#num!|nan(ind)|-nan(ind)",
    FindingKind.OVER: "ol|+ol|o.l|o.l.|0l|over|overrange|over range|over-range|overflow|ovf|ovr|"
    "ovrng|ovld|overload|hi|inf|+inf|infinity|+infinity|1.#inf|+++",
    FindingKind.UNDER: "-ol|ul|under|underrange|under range|under-range|underflow|udr|unf|lo|"
    "-inf|-infinity|-1.#inf",
    FindingKind.ERROR: "error|fault|fail|failed|failure|bad|invalid|bad value|#ref!|#div/0!",
}
_KINDS: Final = {word: kind for kind, words in _WORDS.items() for word in words.split("|")}
_DASHES: Final = re.compile(r"[-–—−_.*?]+")
_ERRORS: Final = re.compile(r"#?err(?:or)?[!.: -]*[a-z]?\d{0,4}")

KIND_WORDS: Final = {
    FindingKind.OPEN: "open circuit",
    FindingKind.NOT_A_NUMBER: "not a number",
    FindingKind.DASHES: "no value",
    FindingKind.OVER: "over range",
    FindingKind.UNDER: "under range",
    FindingKind.ERROR: "error",
}

# Numbers that stand for "no reading": full scale of type K (1372 °C, IEC 60584-1), full scale of
# 16-bit tenths and of 16-bit counts, and runs of nines (common practice, no source).
_ANY_UNIT: Final = (
    ("3276.7", "full scale of a 16-bit count of tenths"),
    ("-3276.8", "lowest value of a 16-bit count of tenths"),
    ("6553.5", "full scale of a 16-bit count of tenths"),
    ("32767", "full scale of a 16-bit count"),
    ("-32768", "lowest value of a 16-bit count"),
    ("65535", "full scale of a 16-bit count"),
    ("9999", "a run of nines"),
    ("-9999", "a run of nines"),
    ("9999.9", "a run of nines"),
    ("-9999.9", "a run of nines"),
    ("99999", "a run of nines"),
    ("-99999", "a run of nines"),
    ("6999", "a value loggers store for “no number”"),
    ("-6999", "a value loggers store for “no number”"),
    ("7999", "a value loggers store for “no number”"),
    ("-7999", "a value loggers store for “no number”"),
)
_TOP_OF_TYPE_K: Final = {
    None: "1372",
    TemperatureUnit.CELSIUS: "1372",
    TemperatureUnit.FAHRENHEIT: "2501.6",
    TemperatureUnit.KELVIN: "1645.15",
}

# Below absolute zero, or hotter than any thermocouple reads (type C ends at 2315 °C, from memory).
_LOWEST: Final = {
    None: "-459.67",
    TemperatureUnit.CELSIUS: "-273.15",
    TemperatureUnit.FAHRENHEIT: "-459.67",
    TemperatureUnit.KELVIN: "0",
}
_HIGHEST: Final = {
    None: "5000",
    TemperatureUnit.CELSIUS: "2500",
    TemperatureUnit.FAHRENHEIT: "4532",
    TemperatureUnit.KELVIN: "2773",
}


def find_marker(text: str) -> FindingKind | None:
    """Return what a cell without a number says, or None where it says nothing known."""
    folded = text.casefold().strip(" \"'<>[]()")
    if folded in _KINDS:
        return _KINDS[folded]
    if text and (_DASHES.fullmatch(text) or not folded):
        return FindingKind.DASHES
    if _ERRORS.fullmatch(folded):
        return FindingKind.ERROR
    if text.startswith((">", "<")) and folded.replace(",", ".").replace(".", "", 1).isdigit():
        return FindingKind.OVER if text[0] == ">" else FindingKind.UNDER
    return None


def list_sentinels(unit: TemperatureUnit | None, *, decimals: int) -> dict[int, tuple[str, str]]:
    """Return scaled value → (as written, what it is) of the numbers that stand for no reading.

    Values are scaled by 10**decimals in the column's own unit; those that need more decimals
    than the column has cannot occur in it and are left out.
    """
    known = (*_ANY_UNIT, (_TOP_OF_TYPE_K[unit], "the top of the type K range"))
    scaled = ((_scale(value, decimals), value, words) for value, words in known)
    return {number: (value, words) for number, value, words in scaled if number is not None}


def _scale(value: str, decimals: int) -> int | None:
    whole, _, tail = value.partition(".")
    if len(tail) > decimals:
        return None
    return int(whole + tail.ljust(decimals, "0"))


def possible_range(unit: TemperatureUnit | None) -> tuple[float, float]:
    """Return the lowest and the highest temperature that a sensor can give, in the unit."""
    return float(_LOWEST[unit]), float(_HIGHEST[unit])
