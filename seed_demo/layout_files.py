"""The placement and the bill of an assembly as CSV text, each assembly in another dialect."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from seed_demo.layouts import Placed, lay_out
from seed_demo.plant import get_part

_MM_PER_MIL: Final = Decimal("0.0254")
_RANGE_FROM: Final = 3


@dataclass(frozen=True)
class Dialect:
    """How one layout program spells a placement and a bill."""

    delimiter: str
    decimal_mark: str
    unit: str
    sides: tuple[str, str]
    mirrors_bottom_x: bool
    opening: str
    placement_headings: tuple[str, ...]
    bill_headings: tuple[str, ...]


DIALECTS: Final = {
    "BRELNA-120": Dialect(
        delimiter=",",
        decimal_mark=".",
        unit="mm",
        sides=("top", "bottom"),
        mirrors_bottom_x=False,
        opening="",
        placement_headings=(
            "Designator", "X (mm)", "Y (mm)", "Rotation", "Side", "Package", "Value",
        ),
        bill_headings=("Designators", "Part number", "Value", "Package", "Quantity"),
    ),
    "TOVQUIN-075": Dialect(
        delimiter=";",
        decimal_mark=",",
        unit="mm",
        sides=("Top", "Bottom"),
        mirrors_bottom_x=False,
        opening="\ufeff",
        placement_headings=(
            "Reference", "Centre X [mm]", "Centre Y [mm]", "Angle", "Layer", "Package", "Value",
        ),
        bill_headings=("Reference", "Part number", "Value", "Package", "Qty"),
    ),
    "OSSAREL-310": Dialect(
        delimiter="\t",
        decimal_mark=".",
        unit="mil",
        sides=("front", "back"),
        mirrors_bottom_x=True,
        opening="# Threnmoor layout output\n# units: mil, angles: degrees\n",
        placement_headings=("refdes", "x_mil", "y_mil", "rot", "side", "package", "value"),
        bill_headings=("refdes", "part_number", "value", "package", "qty"),
    ),
}  # fmt: skip


def write_placement(assembly_part_number: str) -> str:
    """Write the placement CSV of an assembly in its dialect."""
    dialect = DIALECTS[assembly_part_number]
    rows = [
        (
            placed.designator,
            _spell_length(_file_x_mm(placed, dialect), dialect),
            _spell_length(placed.y_mm, dialect),
            str(placed.rotation_deg),
            dialect.sides[0 if placed.side == "top" else 1],
            get_part(placed.part_number).package,
            get_part(placed.part_number).description,
        )
        for placed in lay_out(assembly_part_number)
    ]
    return _write(dialect, dialect.placement_headings, rows)


def write_bill(assembly_part_number: str) -> str:
    """Write the bill of materials CSV of an assembly: one line a part number."""
    dialect = DIALECTS[assembly_part_number]
    groups: dict[str, list[str]] = {}
    for placed in lay_out(assembly_part_number):
        groups.setdefault(placed.part_number, []).append(placed.designator)
    rows = [
        (
            spell_designators(designators),
            part_number,
            get_part(part_number).description,
            get_part(part_number).package,
            str(len(designators)),
        )
        for part_number, designators in groups.items()
    ]
    return _write(dialect, dialect.bill_headings, rows)


def spell_designators(designators: Sequence[str]) -> str:
    """Spell designators as a bill groups them: `C1-C4, C7`; three neighbours make a range."""
    stretches: list[list[tuple[str, int]]] = []
    for letter, number in sorted(_split(text) for text in designators):
        if stretches and stretches[-1][-1] == (letter, number - 1):
            stretches[-1].append((letter, number))
        else:
            stretches.append([(letter, number)])
    return ", ".join(_spell_stretch(stretch) for stretch in stretches)


def _spell_stretch(stretch: Sequence[tuple[str, int]]) -> str:
    names = [f"{letter}{number}" for letter, number in stretch]
    return f"{names[0]}-{names[-1]}" if len(names) >= _RANGE_FROM else ", ".join(names)


def _split(designator: str) -> tuple[str, int]:
    match = re.fullmatch(r"([A-Z]+)(\d+)", designator)
    if match is None:
        raise ValueError(f"{designator} is no letter with a number")
    return match[1], int(match[2])


def _file_x_mm(placed: Placed, dialect: Dialect) -> float:
    return -placed.x_mm if dialect.mirrors_bottom_x and placed.side == "bottom" else placed.x_mm


def _spell_length(length_mm: float, dialect: Dialect) -> str:
    length = Decimal(str(length_mm))
    if dialect.unit == "mil":
        return f"{length / _MM_PER_MIL:.2f}"
    return f"{length:.3f}".replace(".", dialect.decimal_mark)


def _write(dialect: Dialect, headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO(newline="")
    text.write(dialect.opening)
    writer = csv.writer(text, delimiter=dialect.delimiter, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows(rows)
    return text.getvalue()
