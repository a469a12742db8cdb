"""The side a part is on, in the words and numbers that layout programs use."""

from collections.abc import Mapping, Sequence
from typing import Final

from app.boards.rules import Side

_TOP_WORDS: Final = (
    "top t front f fcu ftop toplayer topside frontside componentside componentlayer primary"
    " primaryside comp"
)
_BOTTOM_WORDS: Final = (
    "bottom bot b back bcu bottomlayer bottomside botside backside solderside solderlayer"
    " secondary secondaryside sold"
)
_WORDS: Final[Mapping[str, Side]] = {
    **dict.fromkeys(_TOP_WORDS.split(), Side.TOP),
    **dict.fromkeys(_BOTTOM_WORDS.split(), Side.BOTTOM),
}
_NUMBER_LENGTH_MAX: Final = 3
# Counted from 0 or 1, the first layer is the top: common practice, no source.
_FIRST_LAYERS: Final = frozenset({0, 1})


def find_side_by_word(text: str) -> Side | None:
    """Return the side that a word such as top, T, front or F.Cu means."""
    return _WORDS.get("".join(c for c in text.lower()[:40] if c.isalnum()))


def is_side(text: str) -> bool:
    """Tell whether a cell names a side in words."""
    return find_side_by_word(text) is not None


def read_numbered_layers(cells: Sequence[str]) -> dict[int, Side]:
    """Tell top from bottom where layers are numbers: the lowest is the top, the highest not.

    Empty when words stand in the cells too, or when more than two numbers do. One number alone
    is the top when it is 0 or 1.
    """
    numbers: set[int] = set()
    for cell in set(cells):
        if not cell:
            continue
        if not _is_layer_number(cell):
            return {}
        numbers.add(int(cell))
    lowest, highest = min(numbers, default=0), max(numbers, default=0)
    if len(numbers) == 1:
        return {lowest: Side.TOP if lowest in _FIRST_LAYERS else Side.BOTTOM}
    if len(numbers) == len((lowest, highest)):
        return {lowest: Side.TOP, highest: Side.BOTTOM}
    return {}


def find_side(text: str, *, layers: Mapping[int, Side]) -> Side | None:
    """Return the side that a cell names in words, or by number under `layers`."""
    if _is_layer_number(text):
        return layers.get(int(text))
    return find_side_by_word(text)


def _is_layer_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= _NUMBER_LENGTH_MAX
