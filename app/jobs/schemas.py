"""What is said at the bench: new jobs, entries, corrections, inspections, outcomes."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from app.core.text import Code, Line, Note, OptionalLine, RowId
from app.jobs.rules import Outcome
from app.traces.rules import ChannelMap, ReadingChoices

MAX_VALUES = 60
MAX_LOTS = 20
MAX_SITES = 20
LATEST_LIFT_S = 1e6


class Said(BaseModel):
    """The form of everything said here: no other fields than these."""

    model_config = ConfigDict(extra="forbid")


class NewJobSite(Said):
    """One site to rework, and the published recipe revision to follow."""

    designator: Code
    recipe_revision_id: RowId


class NewJob(Said):
    """A request to rework sites of one board."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "board_id": 1,
                    "reason": "Opens under U3 in the boundary test",
                    "reference": "NC-2291",
                    "sites": [{"designator": "U3", "recipe_revision_id": 1}],
                }
            ]
        },
    )

    board_id: RowId
    reason: Annotated[Note, Field(min_length=1)]
    reference: OptionalLine = ""
    sites: Annotated[list[NewJobSite], Field(min_length=1, max_length=MAX_SITES)]


class ValueUsed(Said):
    """A setting or result as it really was: `Nozzle`, `N-15`."""

    label: Line
    value: Annotated[Line, Field(max_length=200)]


class LotUsed(Said):
    """A lot that was scanned or typed for this line, as it stands on the label."""

    what: OptionalLine = ""
    lot: Annotated[Line, Field(max_length=120)]


CheckResult = Literal["pass", "fail", "not done"]


class InspectionResult(Said):
    """What the inspection found; voids as the largest share of one joint's X-ray area in %."""

    visual: CheckResult = "not done"
    xray: CheckResult = "not done"
    largest_void_pct: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] | None = None
    electrical: CheckResult = "not done"

    @property
    def has_failed(self) -> bool:
        """Whether any check failed."""
        return "fail" in {self.visual, self.xray, self.electrical}


class StepDone(Said):
    """What is signed on a line of the work card."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "values": [{"label": "Flux depth", "value": "0.15 mm"}],
                    "lots": [{"what": "flux", "lot": "F-2231"}],
                    "remark": "",
                }
            ]
        },
    )

    values: Annotated[list[ValueUsed], Field(max_length=MAX_VALUES)] = []
    lots: Annotated[list[LotUsed], Field(max_length=MAX_LOTS)] = []
    inspection: InspectionResult | None = None
    run_id: (
        Annotated[
            RowId,
            Field(
                description="Which of the line's complete runs counts, where it has several. The "
                "newest one where nothing is said; a correction leaves it at the run that the "
                "corrected entry names. Runs that were set aside never count."
            ),
        ]
        | None
    ) = None
    remark: Annotated[
        Note,
        Field(
            description="What else is to be said. A person who signs on a page with a run that is "
            "outside its window, was lifted too early or cannot be judged says why here."
        ),
    ] = ""


class StepSkipped(Said):
    """Why a line is left out."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"reason": "Site was cleaned before the board came in"}]}
    )

    reason: Annotated[Note, Field(min_length=1)]


class StepCorrected(StepDone):
    """What should have been written, and why it is corrected."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "values": [{"label": "Flux depth", "value": "0.20 mm"}],
                    "reason": "Read the wrong gauge",
                }
            ]
        }
    )

    reason: Annotated[Note, Field(min_length=1)]


class ClearJob(Said):
    """At which bench the job is to be heated."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"bench_id": 1}]})

    bench_id: RowId


class ReasonGiven(Said):
    """Why something is done."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"reason": "Thermocouple came loose"}]}
    )

    reason: Annotated[Note, Field(min_length=1)]


class CloseJob(Said):
    """How a job ends."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"outcome": "accepted", "remark": ""}]}
    )

    outcome: Outcome
    remark: Note = ""


class TraceChosen(Said):
    """How a logger's file is to be read, and which column is which channel."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "choices": {"delimiter": ";", "decimal_mark": ","},
                    "channel_map": {
                        "channels": [
                            {"column": 1, "name": "U3 centre", "role": "joint_centre"},
                            {"column": 2, "name": "C41", "role": "adjacent", "designator": "C41"},
                        ]
                    },
                    "remember": True,
                }
            ]
        }
    )

    choices: ReadingChoices = ReadingChoices()
    channel_map: ChannelMap
    lifted_at_s: (
        Annotated[
            float,
            Field(
                ge=0,
                le=LATEST_LIFT_S,
                allow_inf_nan=False,
                description="When the part was lifted, in s since the first sample; removals only.",
            ),
        ]
        | None
    ) = None
    remember: bool = True
    remark: Note = ""
