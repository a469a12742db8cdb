"""The JSON of assemblies and their placements."""

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from app.boards.rules import Side
from app.core.text import Code, Line, Note

EdgeLength = Annotated[float, Field(gt=0, le=2000, allow_inf_nan=False)]
Thickness = Annotated[float, Field(gt=0, le=20, allow_inf_nan=False)]
Layers = Annotated[int, Field(ge=1, le=100)]


class AssemblyFields(BaseModel):
    """What an engineer says of an assembly; lengths in mm."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "part_number": "BRELNA-120",
                    "revision": "A",
                    "title": "Level logger main board",
                    "length_mm": 120,
                    "width_mm": 80,
                    "thickness_mm": 1.6,
                    "layers": 6,
                    "alloy": "SAC305",
                    "finish": "ENIG",
                    "notes": "",
                }
            ]
        },
    )

    part_number: Code
    revision: Code
    title: Line
    length_mm: EdgeLength | None = None
    width_mm: EdgeLength | None = None
    thickness_mm: Thickness | None = None
    layers: Layers | None = None
    alloy: Code | None = None
    finish: Code | None = None
    notes: Note = ""


class NewRevision(BaseModel):
    """The code of a revision to make from another one."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{"revision": "B"}]})

    revision: Code


class AssemblyView(BaseModel):
    """An assembly as Wickbook knows it; `layout_at` is null until a layout was taken."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    part_number: str
    revision: str
    title: str
    length_mm: float | None
    width_mm: float | None
    thickness_mm: float | None
    layers: int | None
    alloy: str
    finish: str
    notes: str
    created_at: datetime
    layout_at: datetime | None
    placement_sha256: str | None
    bill_sha256: str | None
    version: int


class PlacementView(BaseModel):
    """One designator; without coordinates and side where only the bill names it."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    designator: str
    part_id: int | None
    part_number: str
    value: str
    package: str
    x_mm: float | None
    y_mm: float | None
    rotation_deg: float | None
    side: Side | None


class PartLink(BaseModel):
    """The part number of the part that stands at a designator; null takes the link away."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"examples": [{"part_number": "VRYLO-B100"}]}
    )

    part_number: Code | None


class PartLinks(BaseModel):
    """How many designators were linked to parts."""

    linked: int
