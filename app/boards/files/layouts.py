"""What a layout consists of: one line for each part, and what was wrong with a file of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from app.boards.rules import Side

_DUPLICATES_TOLD_MAX: Final = 20


@dataclass(frozen=True)
class PlacementLine:
    """Where one part sits: its centre in mm as seen from the top, x right and y up, exactly.

    The rotation is in degrees as the file gives it, from 0 to below 360.
    """

    line_number: int
    designator: str
    value: str
    package: str
    x_mm: Decimal
    y_mm: Decimal
    rotation_deg: Decimal
    side: Side


@dataclass(frozen=True)
class BillLine:
    """One line of a bill: the designators it stands for and what is fitted there."""

    line_number: int
    designators: tuple[str, ...]
    quantity: int | None
    value: str
    package: str
    part_number: str
    is_not_fitted: bool


@dataclass(frozen=True)
class Duplicate:
    """A designator that a file names twice; the first line was kept."""

    designator: str
    first_line_number: int
    line_number: int

    @property
    def sentence(self) -> str:
        """Say where both stand."""
        if self.line_number == self.first_line_number:
            return f"{self.designator} stands twice on line {self.line_number}."
        return (
            f"{self.designator} stands on line {self.first_line_number} and again on line"
            f" {self.line_number}; the first was kept."
        )


def list_duplicate_findings(duplicates: Sequence[Duplicate]) -> list[str]:
    """Say of the first twenty where they stand, and of the rest how many there are."""
    findings = [twice.sentence for twice in duplicates[:_DUPLICATES_TOLD_MAX]]
    more = len(duplicates) - _DUPLICATES_TOLD_MAX
    if more > 0:
        findings.append(f"{more} more designators stand twice.")
    return findings
