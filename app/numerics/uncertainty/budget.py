"""The budget of one value: contributions, combined and expanded."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from operator import itemgetter
from typing import Final

from app.numerics.values import Unit

COVERAGE_FACTOR: Final = 2.0


class Source(StrEnum):
    """Where a contribution comes from."""

    THERMOCOUPLE = "thermocouple class"
    LOGGER = "logger accuracy"
    CALIBRATION = "calibration correction"
    RESOLUTION = "resolution"
    NOISE = "noise"
    SELECTION = "highest of many"
    PEAK_MOMENT = "moment of the peak"
    TIME_BASE = "time base"
    JITTER = "time jitter"


_SIZE: Final = itemgetter(1)

Parts = Mapping[Source, float]


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one source adds: a standard uncertainty in the unit of the value."""

    source: Source
    standard: float


@dataclass(frozen=True, slots=True)
class Expanded:
    """Expanded uncertainty U = 2·u of a value, in its unit, with its budget, largest part first.

    U covers about 95 % where several parts matter. Where one rectangular part rules, 2·u is wider
    than the part's own bounds by a sixth: on the safe side. Censored: within its uncertainty the
    trace begins too late or ends too early, so that the value may be larger still.
    """

    expanded: float
    unit: Unit
    contributions: tuple[Contribution, ...]
    is_censored: bool = False

    @property
    def standard(self) -> float:
        """The combined standard uncertainty u."""
        return self.expanded / COVERAGE_FACTOR


def combine(*sizes: float) -> float:
    """Combine independent standard uncertainties: the root of the sum of squares (JCGM 100)."""
    return math.hypot(*sizes)


def add_parts(*budgets: Parts) -> dict[Source, float]:
    """Add budgets of independent effects, source by source."""
    together: dict[Source, float] = {}
    for budget in budgets:
        for source, standard in budget.items():
            known = together.get(source)
            together[source] = standard if known is None else math.hypot(known, standard)
    return together


def scale_parts(parts: Parts, factor: float) -> dict[Source, float]:
    """Scale a budget by a sensitivity, whatever its sign."""
    size = abs(factor)
    return {source: standard * size for source, standard in parts.items()}


def total(parts: Iterable[float]) -> float:
    """Return the combined standard uncertainty of a budget's values."""
    return combine(*parts)


def expand(parts: Parts, unit: Unit, *, is_censored: bool = False) -> Expanded:
    """Expand a budget by k = 2; parts of size 0 are left out of it."""
    shown = sorted(parts.items(), key=_SIZE, reverse=True)
    return Expanded(
        expanded=COVERAGE_FACTOR * math.hypot(*parts.values()),
        unit=unit,
        contributions=tuple(
            [Contribution(source, standard) for source, standard in shown if standard > 0.0]
        ),
        is_censored=is_censored,
    )
