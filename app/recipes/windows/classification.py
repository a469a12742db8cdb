"""The temperature a package body was classified at, from its thickness and volume."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from app.core.refusals import Unacceptable
from app.recipes.body.alloys import Status
from app.recipes.windows.rows import Source

THICKEST_MM: Final = 50.0
LARGEST_MM3: Final = 1e6


class ImpossiblePackage(Unacceptable):
    """A thickness or volume that no package body has."""

    code = "recipes.impossible_package"


class Process(StrEnum):
    """Which of the two classification profiles applies."""

    SNPB = "snpb"
    PB_FREE = "pb_free"

    @property
    def words(self) -> str:
        """The process as a person says it."""
        return "tin-lead" if self is Process.SNPB else "lead-free"


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table: thickness in mm and volume in mm³, ends included, and its Tc in °C."""

    from_mm: float
    to_mm: float
    from_mm3: float
    to_mm3: float
    classification_c: float


@dataclass(frozen=True, slots=True)
class ClassificationTemperature:
    """Tc in °C. `cells` are those that hold the package: more than one on a cell's edge."""

    value_c: float
    cells: tuple[Cell, ...]
    source: Source
    note: str

    @property
    def is_edge_decided(self) -> bool:
        """Whether the package lies on an edge whose cells print different temperatures."""
        return len({cell.classification_c for cell in self.cells}) > 1


def _lay_out(
    edges_mm: tuple[float, ...],
    edges_mm3: tuple[float, ...],
    temperatures_c: tuple[tuple[float, ...], ...],
) -> tuple[Cell, ...]:
    mm, mm3 = (0.0, *edges_mm, math.inf), (0.0, *edges_mm3, math.inf)
    return tuple(
        Cell(mm[row], mm[row + 1], mm3[column], mm3[column + 1], value_c)
        for row, values_c in enumerate(temperatures_c)
        for column, value_c in enumerate(values_c)
    )


# Rows: thickness up to each edge and beyond; columns: volume likewise.
TABLES: Final = {
    Process.SNPB: _lay_out((2.5,), (350.0,), ((235.0, 220.0), (220.0, 220.0))),
    Process.PB_FREE: _lay_out(
        (1.6, 2.5),
        (350.0, 2000.0),
        ((260.0, 260.0, 260.0), (260.0, 250.0, 245.0), (250.0, 245.0, 245.0)),
    ),
}
SOURCES: Final = {
    Process.SNPB: Source(
        "J-STD-020 rev D",
        "Table 4-1",
        "public restatement of J-STD-020 rev D, Table 4-1",
        Status.SEEN,
    ),
    Process.PB_FREE: Source(
        "J-STD-020 rev C and D",
        "Table 4-2",
        "public restatements of J-STD-020 rev C and D, Table 4-2",
        Status.SEEN,
    ),
}
_VOLUME_NOTE: Final = "Volume without balls, leads and separate heat sinks."
_REVISION_NOTES: Final = {
    Process.SNPB: (
        "Revisions D.1 and E are said to print the same. Revision C, superseded, printed 240 °C "
        "and 225 °C: the two are not to be mixed."
    ),
    Process.PB_FREE: "Revisions D.1 and E are said to print the same.",
}


def find_classification(
    process: Process, *, thickness_mm: float, volume_mm3: float
) -> ClassificationTemperature:
    """Return Tc of a body of this thickness (mm, to 50) and volume (mm³, to 1,000,000).

    J-STD-020 Tables 4-1 and 4-2. The printed cells overlap at their edges: there the lower
    temperature is taken, and the note says so. Raises ImpossiblePackage.
    """
    _check("thickness_mm", thickness_mm, THICKEST_MM, "mm")
    _check("volume_mm3", volume_mm3, LARGEST_MM3, "mm³")
    cells = tuple(
        cell
        for cell in TABLES[process]
        if cell.from_mm <= thickness_mm <= cell.to_mm and cell.from_mm3 <= volume_mm3 <= cell.to_mm3
    )
    value_c = min(cell.classification_c for cell in cells)
    notes = [_VOLUME_NOTE, _REVISION_NOTES[process]]
    printed = sorted({cell.classification_c for cell in cells})
    if len(printed) > 1:
        spelt = " and ".join(f"{one:g}" for one in printed)
        notes.insert(
            0, f"On the edge of cells that print {spelt} °C; the lower, {value_c:g} °C, is taken."
        )
    return ClassificationTemperature(value_c, cells, SOURCES[process], " ".join(notes))


def _check(field: str, value: float, most: float, unit: str) -> None:
    if not 0.0 < value <= most:
        raise ImpossiblePackage(
            f"{field} must be more than 0 and at most {most:g} {unit}, not {value:g}.", field=field
        )
