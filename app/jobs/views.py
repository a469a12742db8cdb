"""The JSON of jobs and runs on its way out."""

from datetime import datetime
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from app.jobs.clearance import Signal
from app.jobs.figure_views import FiguresFields
from app.jobs.rules import EntryKind, JobState, Outcome, RunState, StepKind
from app.jobs.schemas import InspectionResult, LotUsed, ValueUsed
from app.numerics.thermocouple_tables import ThermocoupleType
from app.recipes.schemas import PersonView
from app.traces.rules import Channel, ChannelRole, ColumnRole, ReadingChoices, TemperatureUnit


class BoardName(BaseModel):
    """A board by number, serial and assembly."""

    id: int
    serial: str
    assembly: str
    assembly_revision: str


class RecipeName(BaseModel):
    """The recipe revision a site follows, with the digest of its text."""

    revision_id: int
    code: str
    number: int
    title: str
    state: str
    digest: str


class NextStep(BaseModel):
    """The first line of the work card that is not written yet."""

    step_id: int
    designator: str
    kind: StepKind


class JobLine(BaseModel):
    """A job as lists show it."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": 1,
                    "number": "J-00001",
                    "board": {
                        "id": 1,
                        "serial": "0417",
                        "assembly": "LIMNET-07",
                        "assembly_revision": "B",
                    },
                    "designators": ["U3"],
                    "state": "open",
                    "outcome": None,
                    "is_held": False,
                    "reason": "Opens under U3 in the boundary test",
                    "reference": "NC-2291",
                    "opened_at": "2026-03-04T09:00:00Z",
                    "closed_at": None,
                    "version": 1,
                }
            ]
        }
    )

    id: int
    number: str
    board: BoardName
    designators: list[str]
    state: JobState
    outcome: Outcome | None
    is_held: bool
    reason: str
    reference: str
    opened_at: datetime
    closed_at: datetime | None
    version: int


class FindingView(BaseModel):
    """One thing that was checked before heat; `way_out` says what would put it right."""

    code: str
    signal: Signal
    sentence: str
    source: str
    way_out: str


class ClearanceView(BaseModel):
    """What is found now for a bench; `is_clear` when nothing stops the heat."""

    bench_id: int
    is_clear: bool
    rules: int
    findings: list[FindingView]


class EntryView(BaseModel):
    """What was written on a line; `is_valid` on the newest, `corrects_id` names the old one."""

    id: int
    step_id: int
    kind: EntryKind
    values: list[ValueUsed]
    lots: list[LotUsed]
    inspection: InspectionResult | None
    remark: str
    reason: str
    run_id: int | None = Field(description="The run that counts for a heated line.")
    corrects_id: int | None
    is_valid: bool
    by: PersonView
    at: datetime


class RunLine(BaseModel):
    """A run as the work card shows it."""

    id: int
    step_id: int
    state: RunState
    bench: str
    started_at: datetime
    ended_at: datetime | None
    verdict: str | None
    window_use_pct: float | None
    is_set_aside: bool = Field(description="Somebody said that this run does not count.")
    version: int


class SetAsideView(BaseModel):
    """Who said that a run does not count, when and why."""

    by: PersonView
    at: datetime
    reason: str


class StepView(BaseModel):
    """One line of the work card with all that was written on it, oldest first."""

    id: int
    ordinal: int
    kind: StepKind
    is_heated: bool
    is_written: bool
    entries: list[EntryView]
    runs: list[RunLine]


class SiteView(BaseModel):
    """One site of a job."""

    id: int
    site_id: int
    designator: str
    part_number: str
    recipe: RecipeName
    steps: list[StepView]


class HoldView(BaseModel):
    """A stop on a job."""

    id: int
    reason: str
    placed_by: PersonView
    placed_at: datetime
    lifted_by: PersonView | None
    lifted_at: datetime | None
    lift_reason: str | None


class JobView(JobLine):
    """A job with its whole work card."""

    # The example of a line of a list is none of a whole job.
    model_config = ConfigDict(json_schema_extra={"examples": []})

    opened_by: PersonView
    bench: str | None
    clearance: dict[str, Any] | None
    closed_by: PersonView | None
    closing_remark: str | None
    next_step: NextStep | None
    doubts: list[str] = Field(description="What an acceptance has to say something about.")
    holds: list[HoldView]
    sites: list[SiteView]


class RunView(RunLine):
    """A run with everything that was found before it and computed after it."""

    job_id: int
    job_number: str
    board: BoardName
    designator: str
    kind: StepKind
    bench_id: int
    recipe: RecipeName
    by: PersonView
    file_name: str | None
    file_sha256: str | None
    trace_id: int | None
    samples_sha256: str | None
    sample_count: int | None
    duration_s: float | None
    reading: dict[str, Any] | None
    channels: list[dict[str, Any]]
    clearance: dict[str, Any]
    figures: FiguresFields | None
    set_aside: SetAsideView | None
    abort_reason: str | None
    remark: str


class ColumnView(BaseModel):
    """What a column of the file is taken for, and why; `index` counts from 0."""

    index: int
    header: str
    role: ColumnRole
    unit: TemperatureUnit | None
    time_format: str | None
    thermocouple: ThermocoupleType | None
    cold_junction: int | None
    cold_junction_c: float | None
    why: str
    samples: list[str]


class TakenView(BaseModel):
    """What the file was taken for in one respect; `about` names the choice that changes it."""

    about: str
    what: str
    why: str


class FileFindingView(BaseModel):
    """Something amiss in a column (index from 0) or, without one, in the file's rows (from 1)."""

    column: int | None
    kind: str
    first_row: int
    last_row: int
    count: int
    sentence: str


class QuestionView(BaseModel):
    """What the file does not say; `about` names the choice that answers it."""

    about: str
    column: int
    sentence: str


class ReadingView(BaseModel):
    """How the run's file is read, and the channels that are suggested for its columns."""

    run_id: int
    is_remembered: bool
    choices: ReadingChoices
    encoding: str
    sheet: str | None
    sheets: list[str]
    delimiter: str
    decimal_mark: str
    header_row: int | None
    header_last_row: int | None
    units_row: int | None
    sample_count: int
    first_time: str
    taken: list[TakenView]
    columns: list[ColumnView]
    findings: list[FileFindingView]
    assumptions: list[str]
    questions: list[QuestionView]
    channels: list[Channel]


class ChannelSamples(BaseModel):
    """One channel for drawing; a null temperature is a stretch without readings."""

    name: str
    role: ChannelRole
    designator: str | None
    time_s: list[float]
    temperature_c: list[float | None]


class SamplesView(BaseModel):
    """A run's trace in °C against seconds since its first sample."""

    run_id: int
    trace_id: int
    sample_count: int
    is_reduced: bool
    channels: list[ChannelSamples]


class RecipeOffer(BaseModel):
    """A published recipe revision, and whether it may be used at the site; the reason where not."""

    recipe: RecipeName
    fits: bool
    reason: str
