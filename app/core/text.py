"""Text from outside, parsed once into one spelling: NFC, no control characters, bounded length."""

import unicodedata
from collections.abc import Callable
from typing import Annotated, Final

from pydantic import AfterValidator, Field

# Control characters, separators of lines and paragraphs, and halves of surrogate pairs.
_REFUSED_KINDS: Final = frozenset({"Cc", "Cs", "Zl", "Zp"})
# They turn the order in which what follows is shown, so that a text reads otherwise than it is:
# Unicode Standard Annex 9, the explicit embeddings, overrides and isolates and their ends.
TURNS_OF_DIRECTION: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_ALLOWED_IN_NOTES: Final = frozenset("\t\n\r")


def parse_line(text: str) -> str:
    """Return one line of text: NFC, outer blanks cut, no control, separator or lone surrogate.

    Nor does it turn the direction of what is read.

    Raises ValueError with a sentence for people.
    """
    return _parse(text, allowed=frozenset())


def parse_note(text: str) -> str:
    """Return text of several lines: as parse_line, but tabs and line ends may stand in it."""
    return _parse(text.replace("\r\n", "\n"), allowed=_ALLOWED_IN_NOTES)


def _parse(text: str, *, allowed: frozenset[str]) -> str:
    for place, character in enumerate(text):
        if character in TURNS_OF_DIRECTION:
            raise ValueError(
                f"character {place + 1} is U+{ord(character):04X}, which turns the direction of "
                "what is read and which no text may hold"
            )
        if unicodedata.category(character) in _REFUSED_KINDS and character not in allowed:
            raise ValueError(
                f"character {place + 1} is U+{ord(character):04X}, which no text may hold"
            )
    return unicodedata.normalize("NFC", text).strip()


def _parse_within(
    least: int, most: int, parse: Callable[[str], str] = parse_line
) -> AfterValidator:
    """Parse, then measure again: cutting blanks shortens a text, and NFC can make it longer."""

    def parse_and_measure(text: str) -> str:
        parsed = parse(text)
        if not least <= len(parsed) <= most:
            raise ValueError(f"must have {least} to {most} characters, not {len(parsed)}")
        return parsed

    return AfterValidator(parse_and_measure)


# The lengths are those of the columns; the pattern of ids is that of a positive 32-bit key.
Line = Annotated[str, Field(min_length=1, max_length=200), _parse_within(1, 200)]
OptionalLine = Annotated[str, Field(max_length=200), _parse_within(0, 200)]
Note = Annotated[str, Field(max_length=4000), _parse_within(0, 4000, parse_note)]
Code = Annotated[str, Field(min_length=1, max_length=64), _parse_within(1, 64)]
RowId = Annotated[int, Field(ge=1, le=2**31 - 1)]
