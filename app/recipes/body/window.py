"""The window: the named limits that a trace is held against."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Final, Self

from pydantic import Field, model_validator

from app.core.text import Line, Note
from app.recipes.body.fields import (
    AsNumber,
    ListOfWords,
    Number,
    Part,
    Temperature,
    at_least,
    refuse_at,
)
from app.traces.rules import ChannelRole


class Metric(StrEnum):
    """What can be limited; each is defined in the numerics of a trace."""

    PEAK_C = "peak_c"
    TIME_ABOVE_LIQUIDUS_S = "time_above_liquidus_s"
    MAX_RAMP_UP_K_PER_S = "max_ramp_up_k_per_s"
    MAX_RAMP_DOWN_K_PER_S = "max_ramp_down_k_per_s"
    AVERAGE_RAMP_K_PER_S = "average_ramp_k_per_s"
    SOAK_TIME_S = "soak_time_s"
    TIME_25_TO_PEAK_S = "time_25_to_peak_s"
    TIME_WITHIN_5_OF_CLASSIFICATION_S = "time_within_5_of_classification_s"
    SPREAD_K = "spread_k"
    LONGEST_ABOVE_LIQUIDUS_S = "longest_above_liquidus_s"
    AREA_ABOVE_LIQUIDUS_K_S = "area_above_liquidus_k_s"
    AVERAGE_COOLING_K_PER_S = "average_cooling_k_per_s"
    SPREAD_AT_COLDEST_PEAK_K = "spread_at_coldest_peak_k"


@dataclass(frozen=True)
class MetricFacts:
    """A metric's words, unit and range of limits; `zero` is what a one-sided use counts from."""

    label: str
    unit: str
    least: float
    most: float
    zero: float = 0.0
    is_of_site: bool = False


# Ranges are those of the settings (0 to 450 °C, five zones of at most 1800 s) and, for slopes, ten
# times what any published profile allows; an area is at most 110 K for 9000 s (common practice, no
# source).
METRICS: Final[Mapping[Metric, MetricFacts]] = {
    Metric.PEAK_C: MetricFacts("Peak temperature", "°C", 25, 450, zero=25),
    Metric.TIME_ABOVE_LIQUIDUS_S: MetricFacts("Time above liquidus", "s", 0, 9000),
    Metric.MAX_RAMP_UP_K_PER_S: MetricFacts("Maximum ramp up", "K/s", 0, 60),
    Metric.MAX_RAMP_DOWN_K_PER_S: MetricFacts("Maximum ramp down", "K/s", 0, 60),
    Metric.AVERAGE_RAMP_K_PER_S: MetricFacts("Average ramp, liquidus to peak", "K/s", 0, 60),
    Metric.SOAK_TIME_S: MetricFacts("Soak time", "s", 0, 9000),
    Metric.TIME_25_TO_PEAK_S: MetricFacts("Time from 25 °C to peak", "s", 0, 9000),
    Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S: MetricFacts(
        "Time within 5 °C of classification", "s", 0, 9000
    ),
    Metric.SPREAD_K: MetricFacts("Spread between joints", "K", 0, 100, is_of_site=True),
    Metric.LONGEST_ABOVE_LIQUIDUS_S: MetricFacts("Longest time above liquidus", "s", 0, 9000),
    Metric.AREA_ABOVE_LIQUIDUS_K_S: MetricFacts("Area above liquidus", "K·s", 0, 1_000_000),
    Metric.AVERAGE_COOLING_K_PER_S: MetricFacts("Cooling rate, peak to liquidus", "K/s", 0, 60),
    Metric.SPREAD_AT_COLDEST_PEAK_K: MetricFacts(
        "Spread at the coldest joint's peak", "K", 0, 100, is_of_site=True
    ),
}


class BareLimit(Part):
    """One metric's lower and upper limit, in the metric's own unit, for channels of some roles.

    Spreads are figures of the whole site and take no roles; every other metric needs at least one.
    """

    metric: Metric
    roles: Annotated[tuple[ChannelRole, ...], Field(max_length=6), ListOfWords] = ()
    lower: Number | None = None
    upper: Number | None = None

    @property
    def unit(self) -> str:
        """The unit, which the metric decides."""
        return METRICS[self.metric].unit

    @model_validator(mode="after")
    def _check_limits(self) -> Self:
        facts = METRICS[self.metric]
        if self.lower is None and self.upper is None:
            refuse_at("upper", sentence="must be given, or lower")
        self._check_range(facts)
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            refuse_at("lower", sentence=f"must be less than upper, {self.upper:g}")
        if self.lower is None and self.upper is not None and self.upper <= facts.zero:
            refuse_at("upper", sentence=f"must be more than {facts.zero:g} {facts.unit}")
        if len(set(self.roles)) != len(self.roles):
            refuse_at("roles", sentence="may each be named once")
        if facts.is_of_site and self.roles:
            refuse_at("roles", sentence=f"must be empty: {self.metric} is of the whole site")
        if not facts.is_of_site and not self.roles:
            refuse_at("roles", sentence="must name at least one")
        return self

    def _check_range(self, facts: MetricFacts) -> None:
        for field, limit in (("lower", self.lower), ("upper", self.upper)):
            if limit is not None and limit < facts.least:
                bound = f"at least {facts.least:g} {facts.unit}"
                refuse_at(field, sentence=f"must be {bound}, not {limit:g}")
            if limit is not None and limit > facts.most:
                bound = f"at most {facts.most:g} {facts.unit}"
                refuse_at(field, sentence=f"must be {bound}, not {limit:g}")


def _is_not_given(value: object) -> bool:
    return value is None


class TakenFrom(Part):
    """The window that a limit came out of: its numbers there, its status in words, its source.

    The numbers are kept so that a limit which was changed afterwards never passes for the
    window's. `status` and `source` are spelt as they were printed on the day.
    """

    window: Line
    version: Annotated[int, Field(ge=1)]
    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    lower: Number | None = None
    upper: Number | None = None
    status: Line
    source: Note = ""


class Limit(BareLimit):
    """A limit of a recipe; `taken_from` says which window it came out of, where it did.

    What is not given is left out of the text, so that recipes without it keep their digests.
    """

    taken_from: Annotated[TakenFrom | None, Field(exclude_if=_is_not_given)] = None

    @property
    def is_as_taken(self) -> bool:
        """Whether the limit has the numbers of the window that it came out of."""
        taken = self.taken_from
        return taken is not None and (self.lower, self.upper) == (taken.lower, taken.upper)


class Window(Part):
    """The alloy's melting range, the definitions the metrics need, and the limits.

    Solidus and liquidus 50 to 450 °C; slopes are taken over `ramp_window_s`, 0.5 to 60 s; soak is
    the time from `soak_min_c` to `soak_max_c`.
    """

    alloy: Line
    solidus_c: Annotated[float, Field(ge=50, le=450), AsNumber]
    liquidus_c: Annotated[float, Field(ge=50, le=450), AsNumber]
    ramp_window_s: Annotated[float, Field(ge=0.5, le=60), AsNumber] = 5.0
    soak_min_c: Temperature
    soak_max_c: Temperature
    classification_c: Annotated[float, Field(ge=150, le=300), AsNumber] | None = None
    limits: Annotated[
        tuple[Limit, ...], Field(max_length=40, json_schema_extra={"minItems": 1}), at_least(1)
    ]

    @model_validator(mode="after")
    def _check_temperatures(self) -> Self:
        if self.solidus_c > self.liquidus_c:
            refuse_at("solidus_c", sentence=f"must be at most liquidus_c, {self.liquidus_c:g}")
        if self.soak_min_c >= self.soak_max_c:
            refuse_at("soak_min_c", sentence=f"must be less than soak_max_c, {self.soak_max_c:g}")
        return self

    @model_validator(mode="after")
    def _check_limits(self) -> Self:
        seen: set[tuple[Metric, ChannelRole | None]] = set()
        for place, limit in enumerate(self.limits):
            for role in limit.roles or (None,):
                if (limit.metric, role) in seen:
                    of_role = f" of {role.words}" if role else ""
                    refuse_at("limits", place, sentence=f"{limit.metric}{of_role} is limited twice")
                seen.add((limit.metric, role))
        if self.classification_c is None and any(
            one.metric is Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S for one in self.limits
        ):
            sentence = f"must be given where {Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S} is limited"
            refuse_at("classification_c", sentence=sentence)
        return self
