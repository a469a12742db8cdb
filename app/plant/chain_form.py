"""Turns a measuring chain into the texts of its form, and what was posted into a chain."""

import re
from collections.abc import Mapping
from typing import Final

from app.core.numbers import spell_number
from app.plant.measuring import MeasuringChain, parse_chain

ROWS: Final = "corrections"
NUMBERS: Final = frozenset(
    {"logger_accuracy_k", "timebase_ppm", "timebase_jitter_s", "correction_k", "expanded_k"}
)
FIELDS: Final[Mapping[str, str]] = {
    "thermocouple_type": "Thermocouple type",
    "thermocouple_class": "Class of the wire",
    "logger_accuracy_k": "Logger accuracy",
    "timebase_ppm": "Clock of the logger",
    "timebase_jitter_s": "Jitter of a moment",
    "note": "Note on the chain",
}
COLUMNS: Final[Mapping[str, str]] = {
    "channel": "Channel",
    "correction_k": "Added to readings",
    "expanded_k": "U, k = 2",
    "covers": "What was calibrated",
    "certificate": "Certificate",
    "valid_until": "Valid until",
}
_IN_A_ROW: Final = re.compile(rf"{ROWS}\.([0-9]{{1,4}})\.([a-z_]+)")
_DECIMAL: Final = re.compile(r"[+-]?[0-9]{1,9}([.,][0-9]{1,9})?")


def spell_form(chain: MeasuringChain) -> dict[str, str]:
    """Return the texts of a chain's form by path; read_form(them) gives the same chain."""
    said = chain.model_dump(mode="json")
    texts = {name: _spell(said[name]) for name in FIELDS}
    for place, row in enumerate(said[ROWS]):
        texts |= {f"{ROWS}.{place}.{name}": _spell(row[name]) for name in COLUMNS}
    return texts


def arrange(posted: Mapping[str, str]) -> dict[str, str]:
    """Return the form's own texts, with later rows moved up to where one was left blank."""
    texts = {name: posted.get(name, "") for name in FIELDS}
    rows: dict[int, dict[str, str]] = {}
    for name, text in posted.items():
        found = _IN_A_ROW.fullmatch(name)
        if found is not None and found[2] in COLUMNS and text.strip():
            rows.setdefault(int(found[1]), {})[found[2]] = text
    for place, number in enumerate(sorted(rows)):
        texts |= {f"{ROWS}.{place}.{name}": text for name, text in rows[number].items()}
    return texts


def read_form(texts: Mapping[str, str]) -> MeasuringChain:
    """Return the chain that arranged texts hold; ChainUnreadable with one fault a field.

    Blank texts count as not given; a number may have a point or a comma.
    """
    said: dict[str, object] = {
        name: _read(name, texts[name]) for name in FIELDS if texts.get(name, "").strip()
    }
    rows: list[dict[str, object]] = [{} for _ in range(count_rows(texts))]
    for path, text in texts.items():
        found = _IN_A_ROW.fullmatch(path)
        if found is not None and text.strip():
            rows[int(found[1])][found[2]] = _read(found[2], text)
    return parse_chain({**said, ROWS: rows})


def count_rows(texts: Mapping[str, str]) -> int:
    """Return how many rows arranged texts hold."""
    found = (_IN_A_ROW.fullmatch(path) for path in texts)
    return 1 + max((int(one[1]) for one in found if one is not None), default=-1)


def spell_path(path: str) -> str:
    """Spell a field's path for a summary: `Calibration 2, certificate`."""
    found = _IN_A_ROW.fullmatch(path)
    if found is not None and found[2] in COLUMNS:
        return f"Calibration {int(found[1]) + 1}, {_lower(COLUMNS[found[2]])}"
    return FIELDS.get(path, "")


def _lower(words: str) -> str:
    return words if words.startswith("U,") else words[0].lower() + words[1:]


def _spell(value: object) -> str:
    if isinstance(value, float):
        return spell_number(value)
    return "" if value is None else str(value)


def _read(name: str, text: str) -> object:
    if name in NUMBERS and _DECIMAL.fullmatch(text.strip()):
        return float(text.strip().replace(",", "."))
    return text.strip() if name == "valid_until" else text
