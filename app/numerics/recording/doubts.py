"""What the faults of a channel forbid to say of it."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from app.numerics.faults import ChannelFault, FaultKind
from app.numerics.metrics import ChannelMetrics
from app.numerics.recording.shapes import Targets
from app.numerics.recording.spelling import spell_fault
from app.numerics.uncertainty import ChannelUncertainty
from app.numerics.values import CannotSay
from app.numerics.zones import ZoneMetrics

# These are wrong everywhere, whatever the place that shows them.
_EVERYWHERE: Final = frozenset(
    {FaultKind.SWAPPED, FaultKind.TIME_BACKWARDS, FaultKind.TIME_DOUBLED}
)


@dataclass(frozen=True, slots=True)
class Doubts:
    """The faults of one channel and of the time axis, in order, and its highest reading (°C)."""

    faults: tuple[ChannelFault, ...]
    highest_c: float

    def find_about(self, metric: str) -> CannotSay | None:
        """Find why this field of ChannelMetrics cannot be said; None where it can."""
        for fault in self.faults:
            if metric in fault.consequence.unsayable:
                return CannotSay(spell_fault(fault))
        return None

    def find_about_above(self, threshold_c: float) -> CannotSay | None:
        """Find why the time above a temperature (°C) cannot be said; None where it can."""
        return self.find_about("above_liquidus") or self.find_about_range(threshold_c)

    def find_about_range(self, *thresholds_c: float) -> CannotSay | None:
        """Find the range that ends before one of these (°C): whether it was passed is hidden."""
        for fault in self.faults:
            if fault.kind is FaultKind.SATURATION:
                end_c = next(f.value for f in fault.evidence.figures if f.name == "reading")
                ends_at_top = end_c == self.highest_c
                if any((one >= end_c) if ends_at_top else (one < end_c) for one in thresholds_c):
                    return CannotSay(spell_fault(fault))
        return None

    def find_about_time(self, from_s: float, to_s: float) -> CannotSay | None:
        """Find why the temperatures from one moment (s) to another cannot be said, or None."""
        for fault in self.faults:
            shown = fault.evidence
            if fault.kind in _EVERYWHERE or (shown.at_s <= to_s and from_s <= shown.until_s):
                return CannotSay(spell_fault(fault))
        return None

    def list_unsayable(self, targets: Targets) -> dict[str, CannotSay]:
        """List the fields of ChannelMetrics that cannot be said, each with its reason."""
        names = {name for fault in self.faults for name in fault.consequence.unsayable}
        found = {name: self.find_about(name) for name in names}
        for name, thresholds_c in (
            ("above_liquidus", (targets.liquidus_c,)),
            ("soak_time", (targets.soak_min_c, targets.soak_max_c)),
        ):
            found[name] = found.get(name) or self.find_about_range(*thresholds_c)
        return {name: doubt for name, doubt in found.items() if doubt is not None}


def list_doubts(faults: Iterable[ChannelFault], channel: str, *, highest_c: float) -> Doubts:
    """List what is doubtful about one channel: its own faults and those of the time axis."""
    return Doubts(tuple(f for f in faults if f.channel in {channel, None}), highest_c)


def doubt_metrics(metrics: ChannelMetrics, doubts: Doubts, targets: Targets) -> ChannelMetrics:
    """Return the metrics with those that cannot be said as CannotSay."""
    if not doubts.faults:
        return metrics
    unsayable = doubts.list_unsayable(targets)
    near = metrics.near_classification
    return replace(
        metrics,
        peak=unsayable.get("peak", metrics.peak),
        above_liquidus=unsayable.get("above_liquidus", metrics.above_liquidus),
        area_above_liquidus=unsayable.get("area_above_liquidus", metrics.area_above_liquidus),
        maximum_ramp=unsayable.get("maximum_ramp", metrics.maximum_ramp),
        average_ramp=unsayable.get("average_ramp", metrics.average_ramp),
        soak_time=unsayable.get("soak_time", metrics.soak_time),
        average_cooling=unsayable.get("average_cooling", metrics.average_cooling),
        maximum_fall=unsayable.get("maximum_fall", metrics.maximum_fall),
        time_25_c_to_peak=unsayable.get("time_25_c_to_peak", metrics.time_25_c_to_peak),
        near_classification=None if near is None else unsayable.get("near_classification", near),
    )


def doubt_uncertainty(
    uncertainty: ChannelUncertainty, doubts: Doubts, targets: Targets
) -> ChannelUncertainty:
    """Return the uncertainties with those of metrics that cannot be said as CannotSay."""
    if not doubts.faults:
        return uncertainty
    unsayable = doubts.list_unsayable(targets)
    near = uncertainty.near_classification
    return ChannelUncertainty(
        peak=unsayable.get("peak", uncertainty.peak),
        above_liquidus=unsayable.get("above_liquidus", uncertainty.above_liquidus),
        area_above_liquidus=unsayable.get("area_above_liquidus", uncertainty.area_above_liquidus),
        maximum_ramp=unsayable.get("maximum_ramp", uncertainty.maximum_ramp),
        average_ramp=unsayable.get("average_ramp", uncertainty.average_ramp),
        soak_time=unsayable.get("soak_time", uncertainty.soak_time),
        average_cooling=unsayable.get("average_cooling", uncertainty.average_cooling),
        maximum_fall=unsayable.get("maximum_fall", uncertainty.maximum_fall),
        time_25_c_to_peak=unsayable.get("time_25_c_to_peak", uncertainty.time_25_c_to_peak),
        near_classification=None if near is None else unsayable.get("near_classification", near),
    )


def doubt_zone(zone: ZoneMetrics, doubts: Doubts) -> ZoneMetrics:
    """Return the zone, with nothing said of it where a fault lies in it."""
    doubt = doubts.find_about_time(zone.starts_at_s, zone.ends_at_s)
    if doubt is None:
        return zone
    return replace(
        zone,
        reached=doubt,
        above_setting=None if zone.above_setting is None else doubt,
        end_rate=doubt,
        settled_for=doubt,
    )
