"""What a recording is asked, and what it answers."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.numerics.ceilings import AgainstCeiling
from app.numerics.crossings import TimeAbove
from app.numerics.faults import ChannelFault
from app.numerics.lift import LiftJudgement
from app.numerics.metrics import DEFAULT_RAMP_WINDOW_S, ChannelMetrics, SiteMetrics
from app.numerics.site import LiftRule
from app.numerics.uncertainty import ChannelUncertainty, TimeAboveUncertainty, Uncertainty
from app.numerics.values import CannotSay, Outcome
from app.numerics.zones import ZoneMetrics, ZonePlan


@dataclass(frozen=True, slots=True)
class Targets:
    """What every channel is measured against; temperatures in °C, moments on the trace's own axis.

    `times_above_c` are asked of every channel, `ceilings_c` of the channels named (one that is
    not there is passed over). The first zone begins at `zones_start_s`. A lift is judged when
    both the rule and `lifted_at_s` are given.
    """

    liquidus_c: float
    soak_min_c: float
    soak_max_c: float
    ramp_window_s: float = DEFAULT_RAMP_WINDOW_S
    classification_c: float | None = None
    times_above_c: tuple[float, ...] = ()
    ceilings_c: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    zones: tuple[ZonePlan, ...] = ()
    zones_start_s: float = 0.0
    lift_rule: LiftRule | None = None
    lifted_at_s: float | None = None


@dataclass(frozen=True, slots=True)
class ChannelAnalysis:
    """One usable channel; what a fault makes unsayable is CannotSay with the fault as reason.

    `times_above` answers `Targets.times_above_c` one by one. `noise_k` is the standard deviation
    of the noise, estimated from the readings. Uncertainties are None when no chain was given; a
    ceiling's is that of the time above it (its headroom is as uncertain as the peak).
    """

    metrics: ChannelMetrics
    uncertainty: ChannelUncertainty | None
    times_above: tuple[TimeAbove | CannotSay, ...]
    ceilings: tuple[AgainstCeiling | CannotSay, ...]
    zones: tuple[ZoneMetrics, ...]
    noise_k: float
    times_above_uncertainty: tuple[TimeAboveUncertainty | CannotSay, ...] | None = None
    ceilings_uncertainty: tuple[TimeAboveUncertainty | CannotSay, ...] | None = None


@dataclass(frozen=True, slots=True)
class SiteAnalysis:
    """What the joint channels show together; `lift` is None where none was to be judged.

    An uncertainty is None when the channels it rests on have no chain.
    """

    metrics: SiteMetrics
    spread_uncertainty: Uncertainty | None
    spread_at_coldest_peak: Outcome
    spread_at_coldest_peak_uncertainty: Uncertainty | None
    lift: LiftJudgement | None


@dataclass(frozen=True, slots=True)
class RecordingAnalysis:
    """The usable channels, the site, every fault found, and channel → why it is left out."""

    channels: Mapping[str, ChannelAnalysis]
    site: SiteAnalysis
    faults: tuple[ChannelFault, ...]
    left_out: Mapping[str, str]
