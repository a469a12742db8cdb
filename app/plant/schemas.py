"""The JSON of benches, in and out."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict

from app.core.text import Code, Line


class BenchFields(BaseModel):
    """What an administrator says of a bench."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {"code": "B1", "title": "Hot gas bench by the window", "has_nitrogen": True}
            ]
        },
    )

    code: Code
    title: Line
    has_nitrogen: bool = False


class BenchView(BaseModel):
    """A bench as Wickbook knows it."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    code: str
    title: str
    has_nitrogen: bool
    created_at: datetime
    retired_at: datetime | None
    version: int
