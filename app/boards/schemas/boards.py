"""The JSON of boards."""

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from app.boards.rules import BOARDS_AT_ONCE_MAX, SERIAL_LENGTH_MAX
from app.core.text import Note

# Blanks around a serial are cut before it is measured against its own limit.
SerialText = Annotated[str, Field(max_length=4 * SERIAL_LENGTH_MAX)]


class NewBoards(BaseModel):
    """Serials to register for one assembly: all of them or none."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"examples": [{"serials": ["0417", "0418"], "note": ""}]},
    )

    serials: Annotated[list[SerialText], Field(min_length=1, max_length=BOARDS_AT_ONCE_MAX)]
    note: Note = ""


class BoardFields(BaseModel):
    """What can be changed of a board."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"examples": [{"note": "Back from the lake station"}]}
    )

    note: Note


class BoardView(BaseModel):
    """A board as Wickbook knows it."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    assembly_id: int
    serial: str
    note: str
    registered_at: datetime
    registered_by_id: int
    scrapped_at: datetime | None
    version: int


class RegisteredBoards(BaseModel):
    """The boards that were registered together, in the order of their serials' lines."""

    items: list[BoardView]
