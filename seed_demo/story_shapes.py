"""What a planned half year consists of; every moment carries the plant's offset."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TypeAlias

from seed_demo.thermal_model import Variant

Values: TypeAlias = "Mapping[str, str | float]"


@dataclass(frozen=True)
class PlannedBoard:
    """One board with its serial."""

    serial: str
    assembly_part_number: str


@dataclass(frozen=True)
class PlannedLot:
    """One lot of a supply or a part; `item` is the supply's code or the part number."""

    code: str
    item: str
    received_on: date
    expires_on: date | None


@dataclass(frozen=True)
class PlannedRun:
    """One heating; everything its logger file is made from but the zones."""

    started_at: datetime
    variant: Variant
    seed: int
    dialect: str
    sample_rate_hz: int


@dataclass(frozen=True)
class PlannedInspection:
    """What the inspection found; voids as a share of the joint's area, None without X-ray."""

    visual_passed: bool
    void_pct: float | None
    electrical_passed: bool


@dataclass(frozen=True)
class PlannedStep:
    """One signed line of the work card; a skipped one has a reason and neither values nor runs."""

    designator: str
    kind: str
    signed_at: datetime
    values: Values = field(default_factory=dict)
    lots: tuple[str, ...] = ()
    remark: str = ""
    skipped_because: str | None = None
    runs: tuple[PlannedRun, ...] = ()
    inspection: PlannedInspection | None = None


@dataclass(frozen=True)
class PlannedHold:
    """A hold; not lifted where `lifted_at` is None."""

    placed_at: datetime
    placed_by: str
    reason: str
    lifted_at: datetime | None = None
    lifted_by: str | None = None
    lift_reason: str | None = None


@dataclass(frozen=True)
class PlannedCorrection:
    """An entry that replaces what step number `step_index` (from 0) of the job says."""

    step_index: int
    at: datetime
    by: str
    values: Values
    lots: tuple[str, ...]
    reason: str


@dataclass(frozen=True)
class PlannedJob:
    """One job, told in order; `outcome` None is a job that is still open at the end."""

    number: int
    serial: str
    assembly_part_number: str
    designators: tuple[str, ...]
    recipe_code: str
    recipe_revision: int
    reason: str
    reference: str
    bench: str
    operator: str
    opened_at: datetime
    cleared_at: datetime | None
    steps: tuple[PlannedStep, ...]
    holds: tuple[PlannedHold, ...]
    corrections: tuple[PlannedCorrection, ...]
    outcome: str | None
    closed_at: datetime | None
    closed_by: str | None
    closing_remark: str


@dataclass(frozen=True)
class PlannedRevision:
    """One recipe revision's life; moments that have not come are None."""

    recipe_code: str
    number: int
    author: str
    approver: str
    drafted_at: datetime
    proposed_at: datetime | None
    published_at: datetime | None
    retired_at: datetime | None
