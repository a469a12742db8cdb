"""The form of a run's kept figures on their way out, key by key as they are kept.

What older definitions did not keep is left out, never filled in: the figures' digest is in the log.
"""

from typing import Any, NotRequired

from typing_extensions import TypedDict


class OutcomeFields(TypedDict, total=False):
    """A value with its unit, moment (s) and U (`expanded`, k = 2), or why there is none.

    `is_censored`: the trace does not show all of it. U of a value in °C is in K.
    """

    value: float
    unit: str
    at_s: float | None
    is_censored: bool
    expanded: float
    not_reached: str
    cannot_say: str


class TimeAboveFields(OutcomeFields, total=False):
    """Time above a temperature: total, longest, and [up, down] in s; null lies outside."""

    longest: OutcomeFields
    threshold_c: float
    stretches: list[list[float | None]]


class CeilingFields(TypedDict, total=False):
    """A channel beside the joints against one upper limit of its peak."""

    ceiling_c: float
    peak: OutcomeFields
    headroom: OutcomeFields
    above: OutcomeFields
    area_above: OutcomeFields
    cannot_say: str


class ZoneFields(TypedDict):
    """What a channel shows of one zone; `set_c` is the top heater's, null where it is off."""

    name: str
    starts_at_s: float
    ends_at_s: float
    set_c: float | None
    reached: OutcomeFields
    above_setting: OutcomeFields | None
    end_rate: OutcomeFields
    settled_for: OutcomeFields


class ChannelFigures(TypedDict):
    """One usable channel; `correction_k` was added to its readings, which stay as recorded."""

    name: str
    role: str
    correction_k: NotRequired[float | None]
    resolution_k: NotRequired[float]
    noise_k: NotRequired[float]
    reading_count: int
    missing_count: int
    ramp_window_s: float
    peak: OutcomeFields
    above_liquidus: TimeAboveFields
    area_above_liquidus: OutcomeFields
    maximum_ramp: OutcomeFields
    average_ramp: OutcomeFields
    soak_time: OutcomeFields
    average_cooling: OutcomeFields
    maximum_fall: OutcomeFields
    time_25_c_to_peak: OutcomeFields
    near_classification: TimeAboveFields | None
    ceilings: NotRequired[list[CeilingFields]]
    zones: NotRequired[list[ZoneFields]]


class LiftFields(TypedDict):
    """When the part was lifted, and the time since the lift rule was met; below 0 is too early."""

    lifted_at_s: float
    rule_met: OutcomeFields
    margin: OutcomeFields
    was_early: bool | None
    cold_channels: list[str] | None


class SiteFigures(TypedDict):
    """What the joints show together."""

    spread: OutcomeFields
    spread_at_coldest_peak: NotRequired[OutcomeFields]
    all_above_liquidus: OutcomeFields
    lift: OutcomeFields | None
    lifted: NotRequired[LiftFields | None]


class FaultFigure(TypedDict):
    """One number that shows a fault."""

    name: str
    value: float
    unit: str | None


class FaultFields(TypedDict):
    """A fault; samples count from 0, both included; `unsayable` names a channel's figures."""

    channel: str | None
    kind: str
    partner: str | None
    sentence: str
    first_sample: int
    last_sample: int
    at_s: float
    until_s: float
    figures: list[FaultFigure]
    is_left_out: bool
    unsayable: list[str]


class BudgetFields(TypedDict):
    """U (k = 2), and the share of each part in its square, in %."""

    expanded: float
    is_censored: bool
    parts: dict[str, float]


class LineFields(TypedDict):
    """One limit held against one channel; `channel` is empty for the site.

    `over_s`: the time a steepest slope is the mean over; null for all else.
    """

    metric: str
    channel: str
    role: NotRequired[str | None]
    over_s: NotRequired[float | None]
    value: float | None
    unit: str
    lower: float | None
    upper: float | None
    state: str
    window_use_pct: float | None
    reason: str
    at_s: float | None
    is_censored: NotRequired[bool]
    uncertainty: NotRequired[BudgetFields | None]


class VerdictFields(TypedDict):
    """The verdict, and the rule that every line was decided by."""

    state: str
    rule: NotRequired[str]
    window_use_pct: float | None
    deciding: LineFields | None
    lines: list[LineFields]
    left_out: list[str]


class ChainFields(TypedDict):
    """What the uncertainties were reckoned with; `is_assumed` where no chain was described."""

    is_assumed: bool
    words: str
    described: dict[str, Any]


class FiguresFields(TypedDict):
    """A run's figures, by the definitions of their number."""

    definitions: int
    chain: NotRequired[ChainFields]
    channels: list[ChannelFigures]
    site: SiteFigures
    faults: dict[str, str]
    findings: NotRequired[list[FaultFields]]
    verdict: VerdictFields
