"""The JSON of parts, in and out."""

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from app.core.text import Code, Line, Note
from app.materials.rules import REFLOW_CYCLES_USUAL, MoistureLevel, PackageType

BodyLength = Annotated[float, Field(gt=0, le=200, allow_inf_nan=False)]
BodyHeight = Annotated[float, Field(gt=0, le=50, allow_inf_nan=False)]
Pitch = Annotated[float, Field(gt=0, le=10, allow_inf_nan=False)]
ClassificationTemperature = Annotated[float, Field(ge=100, le=400, allow_inf_nan=False)]
BodyTemperature = Annotated[float, Field(ge=50, le=400, allow_inf_nan=False)]
ReflowCycles = Annotated[int, Field(ge=1, le=20)]


class PartFields(BaseModel):
    """A part as its maker's sheet gives it; lengths in mm, temperatures in °C."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "part_number": "VRYLO-B100",
                    "title": "Level processor",
                    "package_type": "BGA",
                    "length_mm": 11,
                    "width_mm": 11,
                    "height_mm": 1.2,
                    "pitch_mm": 1,
                    "ball_alloy": "SAC305",
                    "moisture_level": "3",
                    "classification_c": 260,
                    "max_body_c": 260,
                    "reflow_cycles_allowed": 3,
                    "notes": "",
                }
            ]
        },
    )

    part_number: Code
    title: Line
    package_type: PackageType
    length_mm: BodyLength | None = None
    width_mm: BodyLength | None = None
    height_mm: BodyHeight | None = None
    pitch_mm: Pitch | None = None
    ball_alloy: Code | None = None
    moisture_level: MoistureLevel | None = None
    classification_c: ClassificationTemperature | None = None
    max_body_c: BodyTemperature | None = None
    reflow_cycles_allowed: ReflowCycles = REFLOW_CYCLES_USUAL
    notes: Note = ""


class PartView(BaseModel):
    """A part as Wickbook knows it."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    part_number: str
    title: str
    package_type: PackageType
    length_mm: float | None
    width_mm: float | None
    height_mm: float | None
    pitch_mm: float | None
    ball_alloy: str | None
    moisture_level: MoistureLevel | None
    classification_c: float | None
    max_body_c: float | None
    reflow_cycles_allowed: int
    notes: str
    created_at: datetime
    version: int
