"""Readers of layout files: bytes in, frozen dataclasses out, and nothing refused in silence."""

from app.boards.files.bills import BillReading
from app.boards.files.bodies import guess_body_mm
from app.boards.files.cells import RefusedLine, Row
from app.boards.files.choices import (
    BillChoices,
    BillField,
    DecimalMark,
    Delimiter,
    LengthUnit,
    PlacementChoices,
    PlacementField,
)
from app.boards.files.columns import ColumnGuess
from app.boards.files.differences import LayoutDifference, compare_layouts
from app.boards.files.grid import Guess
from app.boards.files.joins import JoinedPart, LayoutJoin, join_layout
from app.boards.files.layouts import BillLine, Duplicate, PlacementLine
from app.boards.files.once import read_bill_file, read_placement_file
from app.boards.files.placements import PlacementReading

__all__ = [
    "BillChoices",
    "BillField",
    "BillLine",
    "BillReading",
    "ColumnGuess",
    "DecimalMark",
    "Delimiter",
    "Duplicate",
    "Guess",
    "JoinedPart",
    "LayoutDifference",
    "LayoutJoin",
    "LengthUnit",
    "PlacementChoices",
    "PlacementField",
    "PlacementLine",
    "PlacementReading",
    "RefusedLine",
    "Row",
    "compare_layouts",
    "guess_body_mm",
    "join_layout",
    "read_bill_file",
    "read_placement_file",
]
