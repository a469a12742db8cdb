"""What a sum answers: figures with unit, formula, source and status, and what they are good for."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from app.numerics.solder_joint import MM_PER_THOUSANDTH_INCH, Height
from app.recipes.body.lengths import spell_decimal

GEOMETRY: Final = "any handbook of geometry"
EXACT: Final = "exact"
OWN_MODEL: Final = "follows from the model; no published worked number was found"
FROM_MEMORY: Final = "from memory; confirm against your copy"
SEEN: Final = "seen in a public restatement"


@dataclass(frozen=True)
class Held:
    """What a figure was held against: `words` name the limit, `holds` says on which side it is."""

    words: str
    holds: bool


@dataclass(frozen=True)
class Figure:
    """One result; `value` is None where there is none, and `spelled` says why.

    `worst` and `likely` are tolerances to either side in the figure's own unit: the parts added,
    and the root of the sum of their squares.
    """

    name: str
    label: str
    value: float | None
    unit: str
    spelled: str
    formula: str
    source: str
    status: str
    held: Held | None = None
    worst: float | None = None
    likely: float | None = None
    tolerance: str = ""

    @property
    def thousandths(self) -> float | None:
        """The same in thousandths of an inch, for a length."""
        if self.value is None or self.unit != "mm":
            return None
        return self.value / MM_PER_THOUSANDTH_INCH


@dataclass(frozen=True)
class RecipeValue:
    """A result as a field of a recipe takes it: in each of the units it may be typed in."""

    label: str
    texts: tuple[str, ...]


@dataclass(frozen=True)
class Sum:
    """A whole sum: its figures, whether it holds, what it leaves out, and its picture as SVG."""

    figures: tuple[Figure, ...]
    says: str
    holds: bool
    remarks: tuple[str, ...]
    picture: str
    recipe_values: tuple[RecipeValue, ...] = ()

    @property
    def is_held(self) -> bool:
        """Whether any figure was held against a limit."""
        return any(one.held is not None for one in self.figures)


def spell_digits(value: float, digits: int = 4) -> str:
    """Spell a number to at most so many significant digits, without an exponent."""
    return spell_decimal(Decimal(f"{value:.{digits - 1}e}"))


def spell_length(value_mm: float) -> str:
    """Spell a length of four decimals in mm, with the thousandths of an inch beside."""
    return f"{value_mm:.4f} mm = {value_mm / MM_PER_THOUSANDTH_INCH:.2f} thou"


def spell_tolerance(height: Height) -> str:
    """Spell both tolerances of a height in both units; nothing where none was given."""
    if height.worst_mm == 0.0:
        return ""
    return (
        f"± {height.worst_mm:.4f} mm (± {height.worst_thousandths:.2f} thou) worst case; "
        f"± {height.likely_mm:.4f} mm (± {height.likely_thousandths:.2f} thou) root sum square"
    )


def make_recipe_value(label: str, value_mm: float) -> RecipeValue:
    """Return a length as the length fields of a recipe take it, to 0.001 mm and 0.0001 in."""
    inches = value_mm / (1000 * MM_PER_THOUSANDTH_INCH)
    return RecipeValue(label, (f"{value_mm:.3f} mm", f"{inches:.4f} in"))
