"""Turns what pydantic found into faults that a person can act on."""

from collections.abc import Mapping
from typing import Any, Final

from pydantic import ValidationError

from app.core.refusals import Fault

SHOWN_LENGTH: Final = 60

# Pydantic's kinds of error that have a plainer sentence here; `{x}` is its context, `{given}` ours.
_SENTENCES: Final[Mapping[str, str]] = {
    "missing": "is missing",
    "extra_forbidden": "is not a field of this",
    "greater_than_equal": "must be at least {ge}, not {given}",
    "greater_than": "must be more than {gt}, not {given}",
    "less_than_equal": "must be at most {le}, not {given}",
    "less_than": "must be less than {lt}, not {given}",
    "string_too_long": "may have at most {max_length} characters",
    "string_too_short": "must have at least {min_length} characters",
    "too_long": "may have at most {max_length} entries, not {actual_length}",
    "too_short": "must have at least {min_length} entries, not {actual_length}",
    "string_unicode": "holds a character that no text may hold",
    "finite_number": "must be a finite number, not {given}",
    "float_parsing": "must be a number, not {given}",
    "float_type": "must be a number, not {given}",
    "int_parsing": "must be a whole number, not {given}",
    "int_type": "must be a whole number, not {given}",
    "int_from_float": "must be a whole number, not {given}",
    "int_parsing_size": "must be a whole number of at most 10 digits",
    "bool_parsing": "must be yes or no, not {given}",
    "string_type": "must be text, not {given}",
    "list_type": "must be a list, not {given}",
    "tuple_type": "must be a list, not {given}",
    "dict_type": "must be an object, not {given}",
    "model_type": "must be an object, not {given}",
    "model_attributes_type": "must be an object, not {given}",
    "literal_error": "must be {expected}, not {given}",
    "enum": "must be {expected}, not {given}",
}


def faults_of(error: ValidationError) -> tuple[Fault, ...]:
    """Return one fault for each thing pydantic refused, with the field's path."""
    return tuple(spell_fault(dict(found)) for found in error.errors(include_url=False))


def spell_fault(found: Mapping[str, Any]) -> Fault:
    """Spell one entry of pydantic's error list; the path loses the request part it came in."""
    path = [str(step) for step in found["loc"]]
    if found["type"] == "json_invalid":
        # Its place is a number of characters and no field.
        return Fault("body", f"is not valid JSON, from character {_clean(path[-1])} on")
    if path and path[0] in {"body", "query", "path", "header"} and len(path) > 1:
        path = path[1:]
    sentence = _SENTENCES.get(found["type"])
    if sentence is not None:
        context = {name: _show(value) for name, value in found.get("ctx", {}).items()}
        return Fault(
            _clean(".".join(path)), sentence.format(given=_show(found.get("input")), **context)
        )
    message = str(found["msg"]).removeprefix("Value error, ").removeprefix("Assertion failed, ")
    return Fault(_clean(".".join(path)), _clean(message, 400))


def _show(value: object) -> str:
    if isinstance(value, float):
        return _clean(repr(value).removesuffix(".0"))
    if isinstance(value, str | int | float | bool) or value is None:
        return _clean("nothing" if value is None else repr(value) if value == "" else str(value))
    return f"a {type(value).__name__}"


def _clean(text: str, length: int = SHOWN_LENGTH) -> str:
    """Shorten, and replace what a page or a log could not carry."""
    shown = "".join(c if c.isprintable() else "�" for c in text[: length + 1])
    return shown if len(shown) <= length else shown[:length] + "…"
