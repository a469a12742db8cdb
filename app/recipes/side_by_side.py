"""Two bodies side by side, every value of both, with what differs marked."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.recipes.body.compare import compare_bodies
from app.recipes.body.describe import Section, describe_body
from app.recipes.body.recipe import RecipeBody


@dataclass(frozen=True)
class PairRow:
    """One value in both; None where the one or the other does not have it."""

    label: str
    old: str | None
    new: str | None
    is_changed: bool


@dataclass(frozen=True)
class PairSection:
    """One part of both bodies."""

    title: str
    rows: tuple[PairRow, ...]

    @property
    def changed(self) -> int:
        """How many of its values differ."""
        return sum(row.is_changed for row in self.rows)


def lay_side_by_side(old: RecipeBody, new: RecipeBody) -> tuple[PairSection, ...]:
    """Return both bodies in the order of their description; a changed order is a row of its own."""
    differing = {one.label: one for one in compare_bodies(old, new)}
    sections = []
    for before, after in zip(describe_body(old), describe_body(new), strict=True):
        was, now = _map_values(before), _map_values(after)
        labels = [*now, *(label for label in was if label not in now)]
        rows = [
            PairRow(
                label,
                was.get(label),
                now.get(label),
                differing.pop(f"{after.title}: {label}", None) is not None,
            )
            for label in labels
        ]
        order = differing.pop(f"{after.title}: order", None)
        if order is not None:
            rows.append(PairRow("Order", order.old, order.new, is_changed=True))
        sections.append(PairSection(after.title, tuple(rows)))
    rest = tuple(
        PairRow(one.label, one.old, one.new, is_changed=True) for one in differing.values()
    )
    return (*sections, PairSection("Else", rest)) if rest else tuple(sections)


def _map_values(section: Section) -> Mapping[str, str]:
    return {row.label: row.value for row in section.rows}
