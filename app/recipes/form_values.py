"""Turns a body into the texts of its form, and what was posted into the paths of a body."""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from app.core.canonical_json import JsonValue
from app.recipes.body.describe import spell_number
from app.recipes.body.forms import parse_body_form
from app.recipes.body.recipe import RecipeBody
from app.recipes.form_fields import FIELDS_OF_DEPOSIT, ROW_PATHS, WORD_PATHS

_WORD: Final = re.compile(r'"(?P<quoted>(?:[^"]|"")*)"|(?P<bare>[^,;\s]+)')
_NEEDS_QUOTES: Final = re.compile(r'[,;\s"]')
_ROW_NUMBER: Final = re.compile(r"[0-9]{1,4}")
_LENGTH_FIELDS: Final = frozenset({"value", "unit"})


def spell_fields(body: RecipeBody) -> dict[str, str]:
    """Return the texts of a body's form by path; read_form(them) gives the same body."""
    fields: dict[str, str] = {}
    _spell(body.model_dump(mode="json"), "", fields)
    del fields["format"]
    return fields


def arrange(posted: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Return one text a path from the texts of a posted form, rows without the blank ones.

    Boxes of one name are put together; of any other repeated field the last text counts, so that
    a box can follow the hidden text that stands for its absence.
    """
    texts = {
        name: ", ".join(filter(None, given)) if name.endswith("roles") else given[-1]
        for name, given in posted.items()
        if given
    }
    for path in ROW_PATHS:
        texts = close_gaps(texts, path)
    return texts


def read_form(fields: Mapping[str, str]) -> RecipeBody:
    """Return the body that arranged fields hold; BodyUnreadable with one fault a field.

    Fields of the kinds of deposit that were not chosen are not read.
    """
    chosen = FIELDS_OF_DEPOSIT.get(fields.get("deposit.kind", ""), frozenset())
    unread = frozenset[str]().union(*FIELDS_OF_DEPOSIT.values()) - chosen
    read: dict[str, str] = {}
    for path, text in fields.items():
        steps = path.split(".")
        if steps[0] == "deposit" and len(steps) > 1 and steps[1] in unread:
            continue
        if path in WORD_PATHS:
            read |= {f"{path}.{place}": word for place, word in enumerate(split_words(text))}
        else:
            read[path] = text
    return parse_body_form(read)


def split_words(text: str) -> tuple[str, ...]:
    """Return the words between commas, semicolons and blanks; `"…"` holds one together.

    `U3, "BC 847"` gives `U3` and `BC 847`; a quote within quotes is doubled.
    """
    return tuple(
        found["bare"] if found["quoted"] is None else found["quoted"].replace('""', '"')
        for found in _WORD.finditer(text)
    )


def join_words(words: Iterable[str]) -> str:
    """Spell words so that split_words gives them back."""
    return ", ".join(
        '"' + word.replace('"', '""') + '"' if _NEEDS_QUOTES.search(word) else word
        for word in words
    )


def place_faults(
    faults: Iterable[tuple[str, str]], *, places: Iterable[str]
) -> dict[str, tuple[str, ...]]:
    """Put each fault at its field, else at the part it is in, else at "", which is the whole."""
    known = frozenset(places)
    placed: dict[str, tuple[str, ...]] = {}
    for path, sentence in faults:
        here = path
        while here and here not in known:
            here = here.rpartition(".")[0]
        placed[here] = (*placed.get(here, ()), sentence)
    return placed


def count_rows(fields: Mapping[str, str], path: str) -> int:
    """Return how many rows a path has; arrange has closed the gaps between them."""
    return len({row for row in (_find_row(name, path) for name in fields) if row is not None})


def _spell(value: JsonValue, path: str, into: dict[str, str]) -> None:
    if path in WORD_PATHS or path.endswith(".roles"):
        words = value if isinstance(value, Sequence) and not isinstance(value, str) else ()
        into[path] = join_words(str(word) for word in words)
    elif isinstance(value, Mapping):
        if value.keys() == _LENGTH_FIELDS:
            into[path] = f"{value['value']} {value['unit']}"
            return
        for name, below in value.items():
            _spell(below, f"{path}.{name}".lstrip("."), into)
    elif isinstance(value, Sequence) and not isinstance(value, str):
        for place, below in enumerate(value):
            _spell(below, f"{path}.{place}", into)
    else:
        into[path] = _spell_one(value)


def _spell_one(value: JsonValue) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return spell_number(float(value)) if isinstance(value, int | float) else str(value)


def _find_row(name: str, path: str) -> str | None:
    if not name.startswith(path + "."):
        return None
    row = name[len(path) + 1 :].split(".", maxsplit=1)[0]
    return row if _ROW_NUMBER.fullmatch(row) else None


def close_gaps(texts: Mapping[str, str], path: str) -> dict[str, str]:
    """Leave out rows that are blank throughout and number the others from 0 in their order."""
    rows = {
        row
        for name, text in texts.items()
        if text.strip() and (row := _find_row(name, path)) is not None
    }
    numbers = {row: place for place, row in enumerate(sorted(rows, key=lambda r: (int(r), r)))}
    closed: dict[str, str] = {}
    for name, text in texts.items():
        row = _find_row(name, path)
        if row is None:
            closed[name] = text
        elif row in numbers:
            rest = name[len(path) + 1 + len(row) :]
            closed[f"{path}.{numbers[row]}{rest}"] = text
    return closed
