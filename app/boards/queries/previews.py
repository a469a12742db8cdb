"""What a layout draft would write, and what stands in its way."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.boards.files import (
    BillReading,
    LayoutJoin,
    PlacementLine,
    PlacementReading,
    RefusedLine,
    join_layout,
)
from app.boards.files.changes import Change, LayoutPart, compare_parts, to_layout_part
from app.boards.tables import Placement


@dataclass(frozen=True)
class ReadPlacement:
    """A draft's placement file: as read, or why it cannot be."""

    name: str
    sha256: str
    reading: PlacementReading | None
    refusal: str | None = None


@dataclass(frozen=True)
class ReadBill:
    """A draft's bill: as read, or why it cannot be."""

    name: str
    sha256: str
    reading: BillReading | None
    refusal: str | None = None


@dataclass(frozen=True)
class LayoutPreview:
    """A draft as it would be written; `changes` only where it corrects a layout."""

    placement: ReadPlacement | None
    bill: ReadBill | None
    join: LayoutJoin
    corrects_layout: bool
    changes: tuple[Change, ...]

    @property
    def refused(self) -> tuple[tuple[str, RefusedLine], ...]:
        """Every refused line with the kind of its file."""
        return (
            *(("placement", line) for line in _list_refused(self.placement)),
            *(("bill", line) for line in _list_refused(self.bill)),
        )

    @property
    def hindrances(self) -> tuple[str, ...]:
        """Tell what must be put right before the layout can be taken; refused lines apart."""
        told: list[str] = []
        for file, kind in ((self.placement, "placement file"), (self.bill, "bill")):
            if file is None:
                continue
            if file.refusal is not None:
                told.append(f"The {kind} cannot be read: {file.refusal}")
            elif file.reading is not None and file.reading.missing:
                fields = " and ".join(str(field) for field in file.reading.missing)
                told.append(f"The {kind} has no column for the {fields}: choose it.")
            elif file.reading is not None and not file.reading.lines:
                told.append(f"No line of the {kind} can be taken over.")
        if self.placement is None and self.bill is None:
            told.append("There is no file yet: add a placement file or a bill.")
        if not told and self.corrects_layout and not self.changes:
            told.append("The files say the same as the layout that the assembly has already.")
        return tuple(told)


def make_preview(
    placement: ReadPlacement | None,
    bill: ReadBill | None,
    *,
    stored: Sequence[Placement] | None,
) -> LayoutPreview:
    """Join what was read and compare it with the stored layout; `stored` is None without one."""
    join = join_layout(
        placement.reading.lines if placement and placement.reading else (),
        bill.reading.lines if bill and bill.reading else (),
    )
    if placement is None or bill is None:
        # With one file alone every designator would be told to be missing from the other.
        join = replace(join, findings=(), not_billed=())
    if placement is None:
        join = replace(join, not_placed=())
    changes: tuple[Change, ...] = ()
    if stored is not None:
        changes = compare_parts(
            [_to_stored_part(row) for row in stored], [to_layout_part(part) for part in join.parts]
        )
    return LayoutPreview(placement, bill, join, stored is not None, changes)


def _list_refused(file: ReadPlacement | ReadBill | None) -> tuple[RefusedLine, ...]:
    return file.reading.refused if file is not None and file.reading is not None else ()


def _to_stored_part(row: Placement) -> LayoutPart:
    place = None
    if row.x_mm is not None and row.y_mm is not None and row.side is not None:
        place = PlacementLine(
            line_number=0,
            designator=row.designator,
            value=row.value,
            package=row.package,
            x_mm=_to_decimal(row.x_mm),
            y_mm=_to_decimal(row.y_mm),
            rotation_deg=_to_decimal(row.rotation_deg or 0.0),
            side=row.side,
        )
    return LayoutPart(row.designator, row.value, row.package, row.part_number, place)


def _to_decimal(value: float) -> Decimal:
    return Decimal(repr(value))
