"""A placement and a bill joined by designator: what each knows that the other does not."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.boards.files.layouts import BillLine, PlacementLine
from app.boards.rules import is_array_package, sort_key_of_designator, spell_designators


@dataclass(frozen=True)
class JoinedPart:
    """One designator with what the placement and the bill say about it; None: not named there."""

    designator: str
    value: str
    package: str
    part_number: str
    placement: PlacementLine | None
    bill: BillLine | None

    @property
    def is_not_fitted(self) -> bool:
        """Whether the bill marks the part as not fitted."""
        return self.bill is not None and self.bill.is_not_fitted


@dataclass(frozen=True)
class LayoutJoin:
    """All parts of both files, ordered C2 before C10, and what does not agree.

    `duplicates` are designators that several placement files, or several bills, name again.
    """

    parts: tuple[JoinedPart, ...]
    not_placed: tuple[str, ...]
    not_billed: tuple[str, ...]
    duplicates: tuple[str, ...]
    value_differs: tuple[str, ...]
    package_differs: tuple[str, ...]
    findings: tuple[str, ...]


def join_layout(placement: Sequence[PlacementLine], bill: Sequence[BillLine]) -> LayoutJoin:
    """Join the lines of one or more placement files to those of a bill.

    A value or package is the placement's where it gives one, else the bill's. The names of
    libraries before a colon are no difference. Of duplicates the first line counts.
    """
    placed: dict[str, PlacementLine] = {}
    billed: dict[str, BillLine] = {}
    twice: dict[str, None] = {}
    for line in placement:
        if placed.setdefault(line.designator, line) is not line:
            twice[line.designator] = None
    for bill_line in bill:
        for designator in bill_line.designators:
            if billed.setdefault(designator, bill_line) is not bill_line:
                twice[designator] = None
    designators = sorted(placed.keys() | billed.keys(), key=sort_key_of_designator)
    parts = tuple(_join(d, placed.get(d), billed.get(d)) for d in designators)
    not_placed = tuple(part.designator for part in parts if part.placement is None)
    arrays = tuple(
        p.designator for p in parts if p.placement is None and is_array_package(p.package)
    )
    not_fitted = tuple(p.designator for p in parts if p.placement is None and p.is_not_fitted)
    not_billed = tuple(part.designator for part in parts if part.bill is None)
    value_differs = tuple(
        part.designator
        for part in parts
        if part.placement and part.bill and _differ(part.placement.value, part.bill.value)
    )
    package_differs = tuple(
        part.designator
        for part in parts
        if part.placement and part.bill and _differ(part.placement.package, part.bill.package)
    )
    duplicates = tuple(twice)
    findings = (
        *_tell("The bill names {n} that the placement lacks: {those}.", not_placed),
        *_tell("Among them, by package name, {n} in an array package: {those}.", arrays),
        *_tell("Of these the bill marks {n} as not fitted: {those}.", not_fitted),
        *_tell("The placement has {n} that the bill does not name: {those}.", not_billed),
        *_tell("The files name {n} more than once, and the first counts: {those}.", duplicates),
        *_tell("The files give different values for {n}: {those}.", value_differs),
        *_tell("The files give different packages for {n}: {those}.", package_differs),
    )
    return LayoutJoin(
        parts=parts,
        not_placed=not_placed,
        not_billed=not_billed,
        duplicates=duplicates,
        value_differs=value_differs,
        package_differs=package_differs,
        findings=findings,
    )


def _join(designator: str, placed: PlacementLine | None, billed: BillLine | None) -> JoinedPart:
    return JoinedPart(
        designator=designator,
        value=(placed.value if placed else "") or (billed.value if billed else ""),
        package=(placed.package if placed else "")
        or (_without_library(billed.package) if billed else ""),
        part_number=billed.part_number if billed else "",
        placement=placed,
        bill=billed,
    )


def _differ(placed: str, billed: str) -> bool:
    one, other = _without_library(placed).casefold(), _without_library(billed).casefold()
    return bool(one and other and one != other)


def _without_library(name: str) -> str:
    """Cut a library's name, as in Package_SON:WSON-8, from a package."""
    return name.partition(":")[2].strip() or name


def _tell(sentence: str, designators: tuple[str, ...]) -> tuple[str, ...]:
    if not designators:
        return ()
    count = len(designators)
    number = "1 designator" if count == 1 else f"{count:,} designators"
    return (sentence.format(n=number, those=spell_designators(designators)),)
