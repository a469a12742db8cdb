"""Numbers exactly as written: an integer and its decimals, for a whole column at once."""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.traces.files.grid import Bytes, Mask, Places
from app.traces.files.units import find_unit_of_cell
from app.traces.rules import DecimalMark, TemperatureUnit

# Sign, mark and 18 digits: what an int64 holds without thinking.
_MOST_DIGITS: Final = 18
_MOST_CHARACTERS: Final = 20
# Cells parsed at a time, so that what is kept for each of them stays in the processor's cache.
_CHUNK: Final = 16_384
_NUMBER: Final = re.compile(
    r"([+\-−]?)(\d*)(?:[.,](\d*))?(?:e([+-]?\d{1,4}))?\s*"
    r"(°\s?[CFK]|[CFK]|deg ?[CFK])?",
    re.IGNORECASE,
)


@dataclass(frozen=True, eq=False)
class PlainNumbers:
    """One column's plain numbers: value = integers / 10**decimals where `is_number`."""

    integers: NDArray[np.int64]
    decimals: NDArray[np.int64]
    is_number: Mask
    is_empty: Mask

    @property
    def left(self) -> Places:
        """The rows whose cells are neither empty nor plain numbers."""
        return np.flatnonzero(~(self.is_number | self.is_empty))


def parse_plain_numbers(
    buffer: Bytes, *, starts: Places, ends: Places, mark: DecimalMark
) -> PlainNumbers:
    """Parse the cells that are sign, digits and at most one decimal mark; exact, no floats.

    Cells longer than 20 characters or of more than 18 digits are left, as are exponents.
    """
    lengths = ends - starts
    plain = PlainNumbers(
        integers=np.empty(len(starts), dtype=np.int64),
        decimals=np.empty(len(starts), dtype=np.int64),
        is_number=np.empty(len(starts), dtype=np.bool_),
        is_empty=lengths <= 0,
    )
    for start in range(0, len(starts), _CHUNK):
        piece = slice(start, start + _CHUNK)
        plain.integers[piece], plain.decimals[piece], plain.is_number[piece] = _parse_piece(
            buffer, starts=starts[piece], lengths=lengths[piece], mark=mark
        )
    return plain


def _parse_piece(
    buffer: Bytes, *, starts: Places, lengths: Places, mark: DecimalMark
) -> tuple[NDArray[np.int64], NDArray[np.int64], Mask]:
    """Parse as many cells as the working arrays should be long; signs of all cells in turn."""
    integers = np.zeros(len(starts), dtype=np.int64)
    decimals = np.zeros(len(starts), dtype=np.int64)
    digits = np.zeros(len(starts), dtype=np.int64)
    after_mark = np.zeros(len(starts), dtype=np.bool_)
    negative = np.zeros(len(starts), dtype=np.bool_)
    good = (lengths > 0) & (lengths <= _MOST_CHARACTERS)
    for place in range(int(lengths[good].max(initial=0))):
        here = place < lengths
        sign = buffer[np.where(here, starts + place, 0)]
        digit = sign - np.uint8(ord("0"))
        is_digit = (digit <= np.uint8(9)) & here
        is_mark = (sign == ord(mark.value)) & here & ~after_mark
        integers = np.where(is_digit, integers * 10 + digit, integers)
        digits += is_digit
        decimals += is_digit & after_mark
        after_mark |= is_mark
        fits = is_digit | is_mark | ~here
        if place == 0:
            negative = here & (sign == ord("-"))
            fits |= negative | (here & (sign == ord("+")))
        good &= fits
    good &= (digits > 0) & (digits <= _MOST_DIGITS)
    return np.where(negative, -integers, integers), decimals, good


@dataclass(frozen=True)
class WrittenNumber:
    """A number from one cell, and the unit of temperature that stood behind it."""

    value: Decimal
    unit: TemperatureUnit | None


def find_number(text: str, mark: DecimalMark) -> WrittenNumber | None:
    """Return the number in the cell, or None; exponents and a unit behind it are understood."""
    match = _NUMBER.fullmatch(text)
    if match is None:
        return None
    sign, whole, tail, exponent, unit = match.groups()
    if not (whole or tail) or (tail is not None and mark.value not in text):
        return None
    spelled = f"{'-' if sign in {'-', '−'} else ''}{whole or '0'}.{tail or '0'}e{exponent or '0'}"
    return WrittenNumber(Decimal(spelled), find_unit_of_cell(unit) if unit else None)


def has_other_mark(text: str, mark: DecimalMark) -> bool:
    """Whether the cell would be a number if the other decimal mark were the file's."""
    other = DecimalMark.POINT if mark is DecimalMark.COMMA else DecimalMark.COMMA
    return find_number(text, mark) is None and find_number(text, other) is not None


def to_scaled(value: Decimal, *, max_decimals: int, max_whole: int) -> tuple[int, int, bool]:
    """Return (integer, decimals, rounded) of the value, with no more decimals than allowed.

    Trailing zeros beyond the allowed decimals cost nothing; other digits there are rounded half
    to even and `rounded` says so. A value beyond ±10**max_whole is cut to that.
    """
    if value and value.adjusted() >= max_whole:
        return (-1 if value < 0 else 1) * 10**max_whole, 0, False
    if value and value.adjusted() < -max_decimals - 1:
        return 0, max_decimals, True
    exponent = value.as_tuple().exponent
    decimals = max(0, -exponent) if isinstance(exponent, int) else 0
    # The exact quotient by a power of ten needs no context: it is integer arithmetic.
    numerator, denominator = value.as_integer_ratio()
    kept = min(decimals, max_decimals)
    scaled, rest = divmod(numerator * 10**kept, denominator)
    if rest == 0:
        return scaled, kept, False
    twice = 2 * rest
    up = twice > denominator or (twice == denominator and scaled % 2 == 1)
    return scaled + int(up), kept, True


def align(
    integers: NDArray[np.int64], decimals: NDArray[np.int64], *, to_decimals: int
) -> NDArray[np.int64]:
    """Return the integers all scaled by 10**to_decimals; the caller knows that they fit."""
    return integers * np.power(np.int64(10), to_decimals - decimals)
