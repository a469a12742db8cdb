"""What a built-in window is made of: rows that say where they come from."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from app.recipes.body.alloys import Status
from app.recipes.body.window import METRICS, Metric
from app.traces.rules import ChannelRole

BODY: Final = (ChannelRole.BODY,)
JOINTS: Final = (ChannelRole.JOINT_CENTRE, ChannelRole.JOINT_CORNER)
ADJACENT: Final = (ChannelRole.ADJACENT,)

# What to tell whoever uses a value, by how sure it is; empty when nothing is in doubt.
CAUTIONS: Final[Mapping[Status, str]] = {
    Status.SEEN: "",
    Status.MEMORY: "from memory; confirm against your copy",
    Status.CONFLICT: "sources differ, the stricter holds; confirm against your copy",
}


@dataclass(frozen=True, slots=True)
class Source:
    """Where a value was seen: the document and its revision, the clause, and what restates it."""

    document: str
    clause: str
    seen_in: str
    status: Status

    @property
    def words(self) -> str:
        """The source as it is printed beside a value."""
        place = ", ".join(part for part in (self.document, self.clause) if part)
        return f"{place} ({self.seen_in})" if self.seen_in else place

    @property
    def caution(self) -> str:
        """What to tell whoever uses the value; empty when nothing is in doubt."""
        return CAUTIONS[self.status]


@dataclass(frozen=True, slots=True)
class OtherPrint:
    """What another source prints for the same limit."""

    lower: float | None
    upper: float | None
    where: str


@dataclass(frozen=True, slots=True)
class WindowRow:
    """One limit in its metric's unit. `roles` is empty for a metric of the whole site.

    Where sources differ, the row holds the stricter and `others` what else is printed.
    """

    metric: Metric
    roles: tuple[ChannelRole, ...]
    lower: float | None
    upper: float | None
    source: Source
    note: str = ""
    others: tuple[OtherPrint, ...] = ()

    @property
    def unit(self) -> str:
        """The unit, which the metric decides."""
        return METRICS[self.metric].unit


@dataclass(frozen=True, slots=True)
class BuiltInWindow:
    """A named, versioned set of limits, with the temperatures that its metrics are measured at.

    `key` and `version` never change their meaning: a changed value is a new version. The alloy is
    empty and temperatures are None where no row needs them. `is_never_exceed` tells a limit that
    protects parts from an aim for joints.
    """

    key: str
    version: int
    name: str
    note: str
    rows: tuple[WindowRow, ...]
    liquidus_c: float | None = None
    soak_min_c: float | None = None
    soak_max_c: float | None = None
    classification_c: float | None = None
    alloy: str = ""
    solidus_c: float | None = None
    is_never_exceed: bool = False

    @property
    def cautions(self) -> tuple[str, ...]:
        """Every caution of its rows, once each, in order."""
        return tuple(dict.fromkeys(row.source.caution for row in self.rows if row.source.caution))

    def find_row(self, metric: Metric) -> WindowRow | None:
        """Find the row that limits a metric."""
        return next((row for row in self.rows if row.metric is metric), None)
