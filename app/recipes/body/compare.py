"""Two bodies side by side: what differs, in the words of their description."""

from collections.abc import Iterable
from dataclasses import dataclass

from app.recipes.body.describe import Row, Section, describe_body
from app.recipes.body.recipe import RecipeBody

_Key = tuple[str, str]


@dataclass(frozen=True)
class Change:
    """One value that differs; None where the one body or the other does not have it."""

    path: str
    label: str
    old: str | None
    new: str | None


def compare_bodies(old: RecipeBody, new: RecipeBody) -> tuple[Change, ...]:
    """Return what differs from `old` to `new`, in the order of the description.

    Thermocouples are matched by channel and limits by metric and roles, so that one put in between
    marks itself alone; a changed order is a change of its own. Two bodies with different digests
    never compare as equal.
    """
    before, after = describe_body(old), describe_body(new)
    old_rows, new_rows = _list_rows(before), _list_rows(after)
    changes = [
        _spell_change(key, old_rows.get(key), new_rows.get(key))
        for key in _merge(before, after)
        if _get_value(old_rows.get(key)) != _get_value(new_rows.get(key))
    ]
    changes += _list_reordered(before, after)
    if not changes and old != new:
        changes.append(Change("", "Spelling", "as it was", "changed without another meaning"))
    return tuple(changes)


def _list_rows(sections: Iterable[Section]) -> dict[_Key, Row]:
    return {(section.title, row.label): row for section in sections for row in section.rows}


def _merge(before: tuple[Section, ...], after: tuple[Section, ...]) -> list[_Key]:
    """Return every key once: the new order, each section followed by what only the old one had."""
    keys: list[_Key] = []
    for old_section, new_section in zip(before, after, strict=True):
        labels = [row.label for row in new_section.rows]
        labels += [row.label for row in old_section.rows if row.label not in set(labels)]
        keys += [(new_section.title, label) for label in labels]
    return keys


def _spell_change(key: _Key, old: Row | None, new: Row | None) -> Change:
    path = new.path if new is not None else old.path if old is not None else ""
    return Change(path, f"{key[0]}: {key[1]}", _get_value(old), _get_value(new))


def _get_value(row: Row | None) -> str | None:
    return None if row is None else row.value


def _list_reordered(before: tuple[Section, ...], after: tuple[Section, ...]) -> Iterable[Change]:
    for old_section, new_section in zip(before, after, strict=True):
        kept = {row.label for row in old_section.rows} & {row.label for row in new_section.rows}
        was = [row.label for row in old_section.rows if row.label in kept]
        now = [row.label for row in new_section.rows if row.label in kept]
        if was != now:
            path = new_section.rows[0].path.split(".")[0]
            yield Change(path, f"{new_section.title}: order", ", ".join(was), ", ".join(now))
