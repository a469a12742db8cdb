"""Which column means what: by its title first, by what stands in it where there are no titles."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Generic, TypeVar

from app.boards.files.cells import Row
from app.boards.files.choices import LengthUnit
from app.boards.rules import ChoiceUnusable, spell_cut

F = TypeVar("F", bound=StrEnum)
Titles = Mapping[F, tuple[str, ...]]
ContentTest = Callable[[str], bool]

_SHARE_BY_CONTENT: Final = 0.6
_ROWS_LOOKED_AT: Final = 200
_TITLE_LENGTH_MAX: Final = 64
_UNIT_IN_TITLE: Final = re.compile(
    r"[\s_(\[]+(mm|millimet(?:er|re)s?|mils?|thou|inch(?:es)?|in|deg(?:rees)?|°)[)\]]*\s*$",
    re.IGNORECASE,
)
_UNITS: Final = {
    "mm": LengthUnit.MM,
    "mil": LengthUnit.MIL,
    "tho": LengthUnit.MIL,
    "inc": LengthUnit.INCH,
    "in": LengthUnit.INCH,
}


@dataclass(frozen=True)
class ColumnGuess(Generic[F]):
    """The column (from 0) that was taken for a field, its title, and why; None: no column."""

    field: F
    index: int | None
    title: str
    reason: str


def spell_title_key(title: str) -> str:
    """Bring a title to the letters and digits by which it is recognised, without its unit."""
    if len(title) > _TITLE_LENGTH_MAX:
        return ""
    bare = _UNIT_IN_TITLE.sub("", title.lower())
    return re.sub(r"[\s_\-.()\[\]/:°'’]+", "", bare)


def find_unit_in_title(title: str) -> LengthUnit | None:
    """Return the length unit that a title such as PosX(mm) names."""
    match = _UNIT_IN_TITLE.search(title) if len(title) <= _TITLE_LENGTH_MAX else None
    return find_unit_by_word(match[1]) if match else None


def find_unit_by_word(word: str) -> LengthUnit | None:
    """Return the unit that a word such as millimetres, mils, thou, in or inches means."""
    lower = word.lower()
    if lower.startswith("millimet"):
        return LengthUnit.MM
    return _UNITS.get(lower[:3])


def count_titles(cells: Sequence[str], titles: Titles[F]) -> int:
    """Count the fields that have a title among the cells of one line."""
    keys = {spell_title_key(cell) for cell in cells}
    return sum(not keys.isdisjoint(words) for words in titles.values())


def guess_by_title(header: Sequence[str], titles: Titles[F]) -> dict[F, ColumnGuess[F]]:
    """Find each field's column by its title; among several the most telling title wins."""
    keys = [spell_title_key(cell) for cell in header]
    guesses: dict[F, ColumnGuess[F]] = {}
    taken: set[int] = set()
    for field, words in titles.items():
        found = sorted(
            (words.index(key), index)
            for index, key in enumerate(keys)
            if key in words and index not in taken
        )
        if not found:
            continue
        index = found[0][1]
        taken.add(index)
        others = [spell_cut(header[other]) for _, other in found[1:]]
        reason = f"by its title {spell_cut(header[index])}"
        if others:
            reason += f", before {', '.join(others[:3])}"
        guesses[field] = ColumnGuess(field, index, header[index], reason)
    return guesses


def guess_by_content(
    rows: Sequence[Row], tests: Sequence[tuple[F, ContentTest]], *, free: set[int]
) -> dict[F, ColumnGuess[F]]:
    """Give each field, in order, the free column whose cells most often pass its test.

    Of equals the first column wins; fewer than three cells in five is no guess.
    """
    sample = rows[:_ROWS_LOOKED_AT]
    guesses: dict[F, ColumnGuess[F]] = {}
    left = set(free)
    for field, test in tests:
        best_index, best_share = None, _SHARE_BY_CONTENT
        for index in sorted(left):
            cells = [row.cell(index) for row in sample]
            share = sum(map(test, cells)) / max(len(cells), 1)
            if share > best_share:
                best_index, best_share = index, share
        if best_index is not None:
            left.discard(best_index)
            reason = f"by what stands in it ({best_share:.0%} of the cells look like it)"
            guesses[field] = ColumnGuess(field, best_index, "", reason)
    return guesses


def settle_columns(
    fields: Sequence[F],
    guessed: Mapping[F, ColumnGuess[F]],
    chosen: Mapping[F, int | None],
    *,
    header: Sequence[str],
    width: int,
) -> dict[F, ColumnGuess[F]]:
    """Let choices go before guesses, and leave no column to two fields.

    Raises ChoiceUnusable when a choice names a column that the file lacks or that is taken.
    """
    settled: dict[F, ColumnGuess[F]] = {}
    taken: dict[int, F] = {}
    for field in fields:
        if field not in chosen:
            continue
        index = chosen[field]
        if index is None:
            settled[field] = ColumnGuess(field, None, "", "left out as chosen")
            continue
        if index >= width:
            raise ChoiceUnusable(
                f"Column {index + 1} was chosen for {field}, and the file has {width}.",
                field=f"columns.{field}",
            )
        if index in taken:
            raise ChoiceUnusable(
                f"Column {index + 1} was chosen for {taken[index]} and for {field}.",
                field=f"columns.{field}",
            )
        taken[index] = field
        title = header[index] if index < len(header) else ""
        settled[field] = ColumnGuess(field, index, title, "as chosen")
    for field in fields:
        if field in settled:
            continue
        guess = guessed.get(field)
        if guess is None or guess.index in taken:
            settled[field] = ColumnGuess(field, None, "", "no column was recognised")
        else:
            settled[field] = guess
    return {field: settled[field] for field in fields}
