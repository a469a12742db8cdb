"""The JSON of recipes and their revisions, in and out."""

from datetime import datetime
from typing import Annotated, Final

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, JsonValue

from app.approval.rules import RevisionState
from app.core.text import Code, Line, Note, RowId
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import default_body

BODY_EXAMPLE: Final[JsonValue] = default_body(
    assembly_part_number="LIMNET-07", designators=["U3"]
).model_dump(mode="json")


def _check_says_something(note: str) -> str:
    if not note:
        raise ValueError("must say something")
    return note


Reason = Annotated[Note, Field(min_length=1), AfterValidator(_check_says_something)]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$", max_length=64)]


class DraftFields(BaseModel):
    """The text of a draft: its title, why the revision is made, and the body."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "title": "Level controller: remove and place U3",
                    "reason": "First issue, worked out on a sacrificial board.",
                    "body": BODY_EXAMPLE,
                }
            ]
        },
    )

    title: Line
    reason: Reason
    body: RecipeBody


class NewRecipe(DraftFields):
    """A recipe's code and the text of its first draft."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "code": "LIM-U3",
                    "title": "Level controller: remove and place U3",
                    "reason": "First issue, worked out on a sacrificial board.",
                    "body": BODY_EXAMPLE,
                }
            ]
        },
    )

    code: Code


class CopyFields(BaseModel):
    """Which revision the new one starts from, and why there is to be a new one."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [{"copy_of": 7, "reason": "Joints peaked at 234 °C: reflow top up 3 K."}]
        },
    )

    copy_of: RowId
    reason: Reason


class ReasonFields(BaseModel):
    """Why something is done."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"examples": [{"reason": "Soak is longer than the paste allows."}]},
    )

    reason: Reason


class ApprovalFields(BaseModel):
    """The digest of the text that the approver read."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"examples": [{"digest": "0" * 64}]}
    )

    digest: Digest


class PersonView(BaseModel):
    """Somebody by number and name."""

    id: int
    name: str


class RevisionLine(BaseModel):
    """A revision without its body; `digest` is the SHA-256 of the body's canonical JSON."""

    id: int
    recipe_id: int
    code: str
    number: int
    state: RevisionState
    title: str
    reason: str
    digest: str
    author: PersonView
    created_at: datetime
    proposed_by: PersonView | None
    proposed_at: datetime | None
    approved_by: PersonView | None
    approved_at: datetime | None
    retired_by: PersonView | None
    retired_at: datetime | None
    retire_reason: str | None
    version: int


class UnheldView(BaseModel):
    """A thermocouple that no limit holds for, and the built-in windows that would, by key."""

    channel: str
    sentence: str
    built_in_windows: list[str]


class LimitView(BaseModel):
    """Whose a limit is, in words: a window with status and source, or the recipe's own."""

    path: str
    limit: str
    whose: str


class RevisionView(RevisionLine):
    """A revision with its whole body, whose its limits are, and what no limit holds for."""

    body: RecipeBody
    limits: list[LimitView]
    without_limit: list[UnheldView]


class RecipeView(BaseModel):
    """A recipe: its newest revision, and the published and the open one where there are such."""

    id: int
    code: str
    created_at: datetime
    newest: RevisionLine
    published: RevisionLine | None
    open: RevisionLine | None


class ChangeView(BaseModel):
    """One value that differs; null where one of the two does not have it."""

    path: str
    label: str
    old: str | None
    new: str | None


class ComparisonView(BaseModel):
    """What differs from one revision to another."""

    old_id: int
    new_id: int
    old_digest: str
    new_digest: str
    changes: list[ChangeView]


class FitView(BaseModel):
    """A published revision, and whether it may be used at the site; the reason where not."""

    revision: RevisionLine
    fits: bool
    reason: str
