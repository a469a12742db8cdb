"""What a person can correct in how a layout file is read; every choice can be left to the file."""

from enum import StrEnum
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from app.boards.rules import FILE_COLUMNS_MAX, FILE_LINES_MAX, Side


class Delimiter(StrEnum):
    """What stands between two cells."""

    COMMA = "comma"
    SEMICOLON = "semicolon"
    TAB = "tab"
    PIPE = "pipe"
    BLANKS = "blanks"


class DecimalMark(StrEnum):
    """What stands between the whole part of a number and the rest."""

    POINT = "point"
    COMMA = "comma"


class LengthUnit(StrEnum):
    """The unit of coordinates in a file."""

    MM = "mm"
    MIL = "mil"
    INCH = "inch"


class PlacementField(StrEnum):
    """What a column of a placement file can mean."""

    DESIGNATOR = "designator"
    VALUE = "value"
    PACKAGE = "package"
    X = "x"
    Y = "y"
    ROTATION = "rotation"
    SIDE = "side"


class BillField(StrEnum):
    """What a column of a bill of materials can mean."""

    DESIGNATORS = "designators"
    QUANTITY = "quantity"
    VALUE = "value"
    PACKAGE = "package"
    PART_NUMBER = "part_number"


ColumnIndex = Annotated[int, Field(ge=0, lt=FILE_COLUMNS_MAX)]


class GridChoices(BaseModel):
    """How lines come apart into cells; header_line 0 says that the file has no titles."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    delimiter: Delimiter | None = None
    header_line: Annotated[int, Field(ge=0, le=FILE_LINES_MAX)] | None = None


class PlacementChoices(GridChoices):
    """How to read a placement file. A column given as null is left out, one not given is guessed.

    Columns are counted from 0. `side_if_absent` is for files of one side without a side column.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "unit": "mm",
                    "columns": {"designator": 0, "x": 3, "y": 4, "value": None},
                    "side_if_absent": "top",
                }
            ]
        }
    )

    decimal_mark: DecimalMark | None = None
    unit: LengthUnit | None = None
    columns: dict[PlacementField, ColumnIndex | None] = Field(default_factory=dict)
    mirror_bottom_x: bool | None = None
    side_if_absent: Side | None = None


class BillChoices(GridChoices):
    """How to read a bill of materials. Columns as in PlacementChoices."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"delimiter": "semicolon", "columns": {"designators": 0, "part_number": 4}}
            ]
        }
    )

    columns: dict[BillField, ColumnIndex | None] = Field(default_factory=dict)
