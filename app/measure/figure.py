"""One figure that a measure found, and the target it is held against."""

from dataclasses import dataclass
from enum import StrEnum


class Bound(StrEnum):
    """Which side of the target is good; NONE for a figure that is only shown."""

    AT_LEAST = "at least"
    AT_MOST = "at most"
    NONE = "shown"


@dataclass(frozen=True)
class Figure:
    """What was measured, the number with its unit, and the target."""

    measure: str
    what: str
    value: float
    unit: str
    bound: Bound = Bound.NONE
    target: float | None = None

    @property
    def is_met(self) -> bool | None:
        """Whether the target is met; None where there is no target."""
        if self.target is None or self.bound is Bound.NONE:
            return None
        if self.bound is Bound.AT_LEAST:
            return self.value >= self.target
        return self.value <= self.target
