"""The JSON of windows and their versions, in and out."""

from datetime import datetime
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue

from app.approval.rules import RevisionState
from app.core.text import Code, Line, RowId
from app.recipes.schemas import ChangeView, PersonView, Reason
from app.recipes.windows.classification import LARGEST_MM3, THICKEST_MM, Process
from app.windows.body import WindowText

TEXT_EXAMPLE: Final[dict[str, JsonValue]] = {
    "format": 1,
    "is_never_exceed": False,
    "part_numbers": [],
    "alloy": "Sn96.5Ag3.0Cu0.5 (SAC305)",
    "solidus_c": 217,
    "liquidus_c": 220,
    "ramp_window_s": 5,
    "soak_min_c": None,
    "soak_max_c": None,
    "classification_c": None,
    "note": "For boards up to 2 mm.",
    "rows": [
        {
            "metric": "peak_c",
            "roles": ["joint_centre", "joint_corner"],
            "lower": 230,
            "upper": 242,
            "document": "Work instruction 12",
            "clause": "3",
            "seen_in": "",
            "status": "plants_own",
            "note": "",
            "others": [],
        },
        {
            "metric": "time_above_liquidus_s",
            "roles": ["joint_centre", "joint_corner"],
            "lower": 60,
            "upper": 90,
            "document": "common practice",
            "status": "from_memory",
        },
    ],
}
_HEAD_EXAMPLE: Final[dict[str, JsonValue]] = {
    "title": "Joints of SAC305, our boards",
    "reason": "Peak brought down after the trials of spring.",
}
FILE_EXAMPLE: Final[JsonValue] = {
    "wickbook_window": 1,
    "name": "Joints of SAC305, our boards",
    **{name: value for name, value in TEXT_EXAMPLE.items() if name != "format"},
}

ThicknessMm = Annotated[
    float, Field(gt=0, le=THICKEST_MM, allow_inf_nan=False, description="mm", examples=[1.7])
]
VolumeMm3 = Annotated[
    float, Field(gt=0, le=LARGEST_MM3, allow_inf_nan=False, description="mm³", examples=[382.5])
]


class TextFields(BaseModel):
    """The text of a draft: its title, why the version is made, and what it says."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"examples": [{**_HEAD_EXAMPLE, "text": TEXT_EXAMPLE}]},
    )

    title: Line
    reason: Reason
    text: WindowText


class NewWindow(TextFields):
    """A window's code and the text of its first draft."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [{"code": "OWN-SAC305", **_HEAD_EXAMPLE, "text": TEXT_EXAMPLE}]
        },
    )

    code: Code


class ImportFields(BaseModel):
    """A window's file as a JSON object, and the code of the window that it becomes."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {"code": "OWN-SAC305", "reason": "From the other plant.", "file": FILE_EXAMPLE}
            ]
        },
    )

    code: Code
    reason: Reason
    title: Line | None = None
    file: dict[str, JsonValue]


class PackageFields(BaseModel):
    """The body that a classification profile goes by; left out for every other window."""

    model_config = ConfigDict(extra="forbid")

    thickness_mm: ThicknessMm | None = None
    volume_mm3: VolumeMm3 | None = None


class StartFields(PackageFields):
    """The code and title of the own window that begins as a copy of a built-in one."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "code": "OWN-BODY-250",
                    "reason": "Our copy of the standard prints the same.",
                    "thickness_mm": 1.7,
                    "volume_mm3": 382.5,
                }
            ]
        },
    )

    code: Code
    title: Line | None = None
    reason: Reason


class PutFields(BaseModel):
    """Which draft of a recipe takes the window, and how.

    `limits`: add puts them beside the draft's own, of which those of the same metric and channels
    go; replace takes all of the draft's away. `temperatures`: take the window's, or keep the
    draft's but for the classification temperature.
    """

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [{"recipe_revision_id": 3, "limits": "add", "temperatures": "draft"}]
        },
    )

    recipe_revision_id: RowId
    limits: Literal["add", "replace"] = "add"
    temperatures: Literal["window", "draft"] = "window"


class PutBuiltInFields(PutFields, PackageFields):
    """As for a window of the plant's own; a classification profile goes by a package."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "recipe_revision_id": 3,
                    "limits": "add",
                    "temperatures": "draft",
                    "thickness_mm": 1.7,
                    "volume_mm3": 382.5,
                }
            ]
        },
    )


class PutView(BaseModel):
    """The recipe's draft after a window was put into it."""

    recipe_revision_id: int
    version: int
    digest: str
    caution: str
    changes: list[ChangeView]


class VersionLine(BaseModel):
    """A version without its text; `digest` is the SHA-256 of the text's canonical JSON."""

    id: int
    window_id: int
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


class OriginView(BaseModel):
    """What a version was copied from, and what differs; null where that text is gone."""

    key: str
    version: int
    is_built_in: bool
    digest: str
    changes: list[ChangeView] | None


class VersionView(VersionLine):
    """A version with its whole text; `cautions` are to be told wherever it is used.

    `copied_from` is null for a version that was written, or read from a file.
    """

    cautions: list[str]
    copied_from: OriginView | None
    text: WindowText


class OwnWindowView(BaseModel):
    """A window of the plant's own: its newest version, the published and the open one."""

    kind: Literal["own"] = "own"
    id: int
    code: str
    created_at: datetime
    newest: VersionLine
    published: VersionLine | None
    open: VersionLine | None


class BuiltInLineView(BaseModel):
    """A built-in window as the list shows it; it cannot be changed."""

    kind: Literal["built_in"] = "built_in"
    key: str
    version: int
    name: str
    is_never_exceed: bool
    needs_package: bool
    cautions: list[str]


AnyWindowView = Annotated[OwnWindowView | BuiltInLineView, Field(discriminator="kind")]


class ClassifiedView(BaseModel):
    """How a body was classified: the temperature, and what to know about it."""

    process: Process
    thickness_mm: float
    volume_mm3: float
    classification_c: float
    is_edge_decided: bool
    cells: list[str]
    source: str
    caution: str
    note: str


class BuiltInView(BuiltInLineView):
    """A built-in window whole; `classified` where it goes by a package."""

    digest: str
    text: WindowText
    classified: ClassifiedView | None


class ComparisonView(BaseModel):
    """What differs from one version to another."""

    old_id: int
    new_id: int
    old_digest: str
    new_digest: str
    changes: list[ChangeView]


class StandingView(BaseModel):
    """A window that is never to be exceeded at a site, and why it holds."""

    key: str
    version: int
    name: str
    is_built_in: bool
    digest: str
    why: str
    cautions: list[str]
    text: WindowText


class StandingListView(BaseModel):
    """All windows that stand for a part; `not_known` says what could not be found, and why."""

    windows: list[StandingView]
    not_known: list[str]
