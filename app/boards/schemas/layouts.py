"""The JSON of layouts on their way in."""

from datetime import datetime
from typing import Any

from pydantic import BaseModel, ConfigDict

from app.boards.files.changes import ChangeKind
from app.core.text import Code


class LayoutDraftView(BaseModel):
    """A placement file and a bill on their way in; choices hold what a person set themselves."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    assembly_id: int
    placement_name: str | None
    placement_sha256: str | None
    placement_choices: dict[str, Any]
    bill_name: str | None
    bill_sha256: str | None
    bill_choices: dict[str, Any]
    by_id: int
    at: datetime
    taken_at: datetime | None
    version: int


class TakingFields(BaseModel):
    """How to take a layout; `new_revision` is needed where the assembly has a layout already."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"examples": [{"leave_out_refused": False, "new_revision": "B"}]},
    )

    leave_out_refused: bool = False
    new_revision: Code | None = None


class GuessView(BaseModel):
    """What was taken, and why."""

    value: str
    reason: str
    is_assumed: bool


class ColumnView(BaseModel):
    """The column, from 0, that was taken for a field; null where there is none."""

    field: str
    index: int | None
    title: str
    reason: str


class RowView(BaseModel):
    """One of the first lines beneath the titles."""

    line_number: int
    cells: list[str]


class RefusedLineView(BaseModel):
    """A line that cannot be taken over, and why."""

    line_number: int
    reason: str
    text: str


class FileReadingView(BaseModel):
    """How one file was read. With a `refusal` nothing could be read of it."""

    name: str
    sha256: str
    refusal: str | None = None
    encoding: str | None = None
    guesses: dict[str, GuessView] = {}
    header_line: int | None = None
    header: list[str] = []
    columns: list[ColumnView] = []
    sample: list[RowView] = []
    line_count: int = 0
    refused: list[RefusedLineView] = []
    duplicates: list[str] = []
    missing: list[str] = []
    findings: list[str] = []


class ChangeView(BaseModel):
    """One difference from the layout that the assembly has."""

    kind: ChangeKind
    designator: str
    before: str
    after: str


class LayoutPreviewView(BaseModel):
    """What taking the draft would write; `hindrances` says what must be put right first."""

    draft_id: int
    version: int
    placement: FileReadingView | None
    bill: FileReadingView | None
    part_count: int
    findings: list[str]
    not_placed: list[str]
    not_billed: list[str]
    corrects_layout: bool
    changes: list[ChangeView]
    suggested_revision: str | None
    refused_count: int
    hindrances: list[str]
