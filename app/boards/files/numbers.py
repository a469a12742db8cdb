"""Numbers as layout files write them: decimal marks, units, exact millimetres, turned angles."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from app.boards.files.cells import Comment, Row
from app.boards.files.choices import DecimalMark, LengthUnit
from app.boards.files.columns import find_unit_by_word, find_unit_in_title
from app.boards.files.grid import Guess
from app.boards.rules import COORDINATE_MAX_MM, UnitsDisagree, spell_cut

# International yard and pound agreement of 1959: 1 inch is 25.4 mm exactly.
MM_PER: Final = {
    LengthUnit.MM: Decimal(1),
    LengthUnit.MIL: Decimal("0.0254"),
    LengthUnit.INCH: Decimal("25.4"),
}
_NUMBER_LENGTH_MAX: Final = 40
# At most 21 digits, so that a product with 0.0254 stays exact in 28.
_NUMBER: Final = re.compile(
    r"([+-]?)([0-9]{0,9})(?:([.,])([0-9]{0,12}))?(?:[eE]([+-]?[0-9]))?\s*"
    r"(mm|millimet(?:er|re)s?|mils?|thou|inch(?:es)?|in|\"|deg(?:rees)?|°)?",
    re.IGNORECASE,
)
_UNIT_IN_TEXT: Final = re.compile(
    r"\bunits?(?: used)?\s?[:=]\s?(mm|millimet(?:er|re)s?|mils?|thou|inch(?:es)?|in)\b",
    re.IGNORECASE,
)
_MARKS: Final = {DecimalMark.POINT: ".", DecimalMark.COMMA: ","}
_CELLS_LOOKED_AT: Final = 2_000
_FULL_TURN_DEG: Final = Decimal(360)
_ANGLE_MAX_DEG: Final = Decimal(36_000)


class CannotRead(ValueError):
    """A cell is no number that we read; the sentence says why."""


@dataclass(frozen=True)
class _Number:
    value: Decimal
    suffix: str


def parse_length_mm(text: str, *, unit: LengthUnit, mark: DecimalMark) -> Decimal:
    """Return a coordinate in mm, exactly; a unit written behind the number goes before `unit`.

    From -5,000 to 5,000 mm. Raises CannotRead.
    """
    number = _parse(text, mark=mark)
    written = find_unit_by_suffix(number.suffix)
    if number.suffix and written is None:
        raise CannotRead(f"{spell_cut(text)} carries a unit that is no length")
    length_mm = number.value * MM_PER[written or unit]
    if abs(length_mm) > COORDINATE_MAX_MM:
        raise CannotRead(
            f"{spell_cut(text)} is {spell_decimal(length_mm)} mm, and"
            f" {COORDINATE_MAX_MM:,} mm from the origin is the limit; is the unit right?"
        )
    return length_mm


def parse_rotation_deg(text: str, *, mark: DecimalMark) -> Decimal:
    """Return an angle in degrees, counter-clockwise, turned into 0 to below 360.

    From -36,000 to 36,000. Raises CannotRead.
    """
    number = _parse(text, mark=mark)
    if number.suffix and not number.suffix.lower().startswith(("deg", "°")):
        raise CannotRead(f"{spell_cut(text)} is no angle in degrees")
    if abs(number.value) > _ANGLE_MAX_DEG:
        raise CannotRead(f"{spell_cut(text)} is beyond {_ANGLE_MAX_DEG:,} degrees")
    return (number.value % _FULL_TURN_DEG + _FULL_TURN_DEG) % _FULL_TURN_DEG


def is_number(text: str) -> bool:
    """Tell whether a cell is a number under either decimal mark."""
    for mark in DecimalMark:
        try:
            _parse(text, mark=mark)
        except CannotRead:
            continue
        return True
    return False


def find_unit_by_suffix(suffix: str) -> LengthUnit | None:
    """Return the length unit of a suffix; two strokes are inches."""
    return LengthUnit.INCH if suffix == '"' else find_unit_by_word(suffix)


def find_unit_in_cell(text: str) -> LengthUnit | None:
    """Return the unit written behind a number, as in 12.5mm."""
    match = _match(text)
    return find_unit_by_suffix(match[6]) if match and match[6] else None


def guess_decimal_mark(cells: Iterable[str], *, chosen: DecimalMark | None) -> Guess[DecimalMark]:
    """Take the mark that stands alone in most of the cells."""
    if chosen is not None:
        return Guess(chosen, "as chosen")
    commas = points = 0
    for cell in cells:
        commas += "," in cell and "." not in cell
        points += "." in cell and "," not in cell
    if commas > points:
        return Guess(DecimalMark.COMMA, f"{commas} numbers are written with a comma")
    if points:
        return Guess(DecimalMark.POINT, f"{points} numbers are written with a point")
    return Guess(DecimalMark.POINT, "all numbers are whole: a point was assumed", is_assumed=True)


def guess_unit(
    *,
    titles: Sequence[str],
    cells: Sequence[str],
    comments: Sequence[Comment],
    preamble: Sequence[Row],
    chosen: LengthUnit | None,
) -> Guess[LengthUnit]:
    """Take the unit from the titles of x and y, then the cells, then a comment; else assume mm.

    Raises UnitsDisagree when the titles name two units and none was chosen.
    """
    if chosen is not None:
        return Guess(chosen, "as chosen")
    in_titles = [(unit, t) for t in titles if (unit := find_unit_in_title(t)) is not None]
    if len({unit for unit, _ in in_titles}) > 1:
        raise UnitsDisagree(
            f"x is titled {spell_cut(titles[0])} and y {spell_cut(titles[1])}: choose the unit.",
            field="unit",
        )
    if in_titles:
        return Guess(in_titles[0][0], f"by the title {spell_cut(in_titles[0][1])}")
    in_cells = Counter(
        unit for cell in cells[:_CELLS_LOOKED_AT] if (unit := find_unit_in_cell(cell)) is not None
    )
    if in_cells:
        return Guess(in_cells.most_common(1)[0][0], "as written behind the numbers")
    told = [(comment.line_number, comment.text) for comment in comments]
    told += [(row.line_number, " ".join(row.cells)) for row in preamble]
    for line_number, text in told:
        match = _UNIT_IN_TEXT.search(" ".join(text.split()))
        unit = find_unit_by_word(match[1]) if match else None
        if unit is not None:
            return Guess(unit, f"as line {line_number} says")
    return Guess(LengthUnit.MM, "no unit stands in the file, so mm was assumed", is_assumed=True)


def spell_decimal(number: Decimal) -> str:
    """Write a decimal without exponent and without zeros that say nothing."""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _match(text: str) -> re.Match[str] | None:
    if len(text) > _NUMBER_LENGTH_MAX:
        return None
    match = _NUMBER.fullmatch(text.replace("−", "-").strip())
    return match if match and (match[2] or match[4]) else None


def _parse(text: str, *, mark: DecimalMark) -> _Number:
    if not text:
        raise CannotRead("the cell is empty")
    match = _match(text)
    if match is None:
        both = "," in text and "." in text and any(c.isdigit() for c in text)
        hint = "; write it without marks between thousands" if both else ""
        raise CannotRead(f"{spell_cut(text)} is no number{hint}")
    if match[3] and match[3] != _MARKS[mark]:
        raise CannotRead(
            f"{spell_cut(text)} is written with a {'comma' if match[3] == ',' else 'point'},"
            f" and the decimal mark is the {mark}"
        )
    sign, whole, _, rest, exponent, suffix = match.groups()
    value = Decimal(f"{sign}{whole or '0'}.{rest or '0'}e{exponent or '0'}")
    return _Number(value, suffix or "")
