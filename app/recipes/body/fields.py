"""The kinds of value that a recipe's fields are made of, each strict about what it takes."""

import re
from collections.abc import Mapping
from typing import Annotated, Final, NoReturn, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
)
from pydantic_core import InitErrorDetails, PydanticCustomError

from app.core.text import Code, Note

FROM_FORM: Final[Mapping[str, bool]] = {"form": True}
_DECIMAL: Final = re.compile(r"[+-]?[0-9]{1,9}([.,][0-9]{1,9})?")
_FLAGS: Final[Mapping[str, bool]] = {"yes": True, "no": False}
# The largest whole number that JSON readers agree on (RFC 8785 rests on IEEE 754 doubles).
_LARGEST_WHOLE: Final = 2**53
SHOWN_DIGITS: Final = 60
REFUSED: Final = "refused"
Entry = TypeVar("Entry")


class Part(BaseModel):
    """What every part of a recipe has in common: frozen, and nothing unknown in it."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def refuse_at(*path: str | int, sentence: str) -> NoReturn:
    """Refuse from a validator of a whole part, naming the field inside it that is to blame."""
    kind = PydanticCustomError(REFUSED, "{sentence}", {"sentence": sentence})
    raise ValidationError.from_exception_data(
        "recipe", [InitErrorDetails(type=kind, loc=path, input=None)]
    )


def is_from_form(info: ValidationInfo) -> bool:
    """Whether the values are texts out of a posted form, not JSON."""
    return bool(info.context and info.context.get("form"))


def _read_number(given: object, info: ValidationInfo) -> object:
    if isinstance(given, str) and is_from_form(info):
        text = given.strip()
        if not _DECIMAL.fullmatch(text):
            raise ValueError(f"must be a number such as 2.5, not {_show(text)}")
        return float(text.replace(",", "."))
    if isinstance(given, bool) or not isinstance(given, int | float):
        raise ValueError(f"must be a number, not {_show_kind(given)}")  # noqa: TRY004 - pydantic's own
    if isinstance(given, int) and abs(given) > _LARGEST_WHOLE:
        raise ValueError("must be a number of at most 16 digits")
    return given


def _read_flag(given: object, info: ValidationInfo) -> object:
    if isinstance(given, str) and is_from_form(info):
        given = _FLAGS.get(given.strip().lower(), given)
    if not isinstance(given, bool):
        raise ValueError(f"must be yes or no, not {_show_kind(given)}")  # noqa: TRY004 - pydantic's own
    return given


def _read_list(given: object, info: ValidationInfo) -> object:
    if isinstance(given, str) and is_from_form(info):
        return tuple(word for word in re.split(r"[,;\s]+", given) if word)
    return given


def _read_lines(given: object, info: ValidationInfo) -> object:
    if isinstance(given, str) and is_from_form(info):
        return tuple(line for line in given.splitlines() if line.strip())
    return given


def _check_no_twice(codes: tuple[str, ...]) -> tuple[str, ...]:
    seen: set[str] = set()
    for code in codes:
        if code.casefold() in seen:
            raise ValueError(f"names {_show(code)} twice")
        seen.add(code.casefold())
    return codes


def _check_says_something(note: str) -> str:
    if not note:
        raise ValueError("must say something, or be left out")
    return note


def _show_kind(given: object) -> str:
    if given is None:
        return "nothing"
    if isinstance(given, bool):
        return "yes" if given else "no"
    if isinstance(given, str):
        return f"the text “{_show(given)}”"
    return _show(f"{given:g}") if isinstance(given, int | float) else f"a {type(given).__name__}"


def _show(text: str) -> str:
    printable = "".join(c if c.isprintable() else "�" for c in text[: SHOWN_DIGITS + 1])
    return printable if len(printable) <= SHOWN_DIGITS else printable[:SHOWN_DIGITS] + "…"


def at_least(entries: int) -> AfterValidator:
    """Refuse a list with fewer entries; asked after the entries, so that a wrong one is named.

    Goes with `json_schema_extra={"minItems": …}`, which says the same in the schema.
    """

    def check(given: tuple[Entry, ...]) -> tuple[Entry, ...]:
        if len(given) < entries:
            raise ValueError(f"must have at least {entries} entries, not {len(given)}")
        return given

    return AfterValidator(check)


# A number of JSON: true and "5" are none. Ranges are written beside each field.
AsNumber = BeforeValidator(_read_number)
Number = Annotated[float, AsNumber]
Flag = Annotated[bool, BeforeValidator(_read_flag)]

# Lists that a form sends as one text: words with commas or blanks between, or one entry a line.
ListOfWords = BeforeValidator(_read_list)
ListOfLines = BeforeValidator(_read_lines)
Codes = Annotated[
    tuple[Code, ...], Field(max_length=200), ListOfWords, AfterValidator(_check_no_twice)
]
SomeCodes = Annotated[
    tuple[Code, ...],
    Field(max_length=200, json_schema_extra={"minItems": 1}),
    ListOfWords,
    AfterValidator(_check_no_twice),
    at_least(1),
]
CautionText = Annotated[Note, Field(min_length=1), AfterValidator(_check_says_something)]
Cautions = Annotated[tuple[CautionText, ...], Field(max_length=20), ListOfLines]

# One range for everything that is a temperature set or held against: 0 °C to 450 °C, the reach of
# hot-gas heaters (common practice, no source).
Temperature = Annotated[float, Field(ge=0, le=450), AsNumber]
