"""What the faults of a channel forbid to say of it."""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from app.numerics.faults import ChannelFault, FaultKind
from app.numerics.faults.shapes import EVERY_METRIC, caution
from app.numerics.metrics import ChannelMetrics
from app.numerics.recording.holes import Hole, is_hole, list_holes
from app.numerics.recording.shapes import Targets
from app.numerics.recording.spelling import spell_fault
from app.numerics.trace import Trace
from app.numerics.uncertainty import ChannelUncertainty
from app.numerics.values import CannotSay
from app.numerics.zones import ZoneMetrics

# These are wrong everywhere, whatever the place that shows them.
_EVERYWHERE: Final = frozenset(
    {FaultKind.SWAPPED, FaultKind.TIME_BACKWARDS, FaultKind.TIME_DOUBLED}
)


@dataclass(frozen=True, slots=True)
class Doubts:
    """The faults of one channel and of the time axis, in order, and its trace.

    Those which only hide what lies between two readings are `holes`, all others `faults`.
    """

    faults: tuple[ChannelFault, ...]
    holes: tuple[Hole, ...]
    trace: Trace

    def find_about_peak(self) -> CannotSay | None:
        """Find why the peak cannot be said; None where it can."""
        highest_c = self._highest_c
        return self._find_about("peak") or self._find_hole(lambda hole: hole.highest_c > highest_c)

    def find_about_above(self, threshold_c: float) -> CannotSay | None:
        """Find why the time above a temperature (°C) cannot be said; None where it can."""
        return (
            self._find_about("above_liquidus")
            or self._find_about_range(threshold_c)
            or self._find_hole(lambda hole: hole.may_cross(threshold_c))
        )

    def find_about_hot(self, threshold_c: float) -> CannotSay | None:
        """Find why not all that happened above a temperature (°C) is seen; None where it is."""
        above = self.find_about_above(threshold_c)
        return above or self._find_hole(lambda hole: hole.highest_c >= threshold_c)

    def find_about_time(self, from_s: float, to_s: float) -> CannotSay | None:
        """Find why the temperatures from one moment (s) to another cannot be said, or None."""
        for fault in self.faults:
            shown = fault.evidence
            if fault.kind in _EVERYWHERE or (shown.at_s <= to_s and from_s <= shown.until_s):
                return CannotSay(spell_fault(fault))
        return self._find_hole(lambda hole: hole.from_s < to_s and from_s < hole.to_s)

    def list_unsayable(self, metrics: ChannelMetrics, targets: Targets) -> dict[str, CannotSay]:
        """List the fields of ChannelMetrics that cannot be said, each with its reason."""
        names = {name for fault in self.faults for name in fault.consequence.unsayable}
        found = {name: self._find_about(name) for name in names}
        for name, thresholds_c in (
            ("above_liquidus", (targets.liquidus_c,)),
            ("soak_time", (targets.soak_min_c, targets.soak_max_c)),
        ):
            found[name] = found.get(name) or self._find_about_range(*thresholds_c)
        for hole in self.holes:
            for name in hole.list_touched(metrics, self.trace, targets):
                found[name] = found.get(name) or CannotSay(spell_fault(hole.fault))
        return {name: doubt for name, doubt in found.items() if doubt is not None}

    @property
    def _highest_c(self) -> float:
        return float(self.trace.temperature_c.max()) if self.trace.time_s.size else -math.inf

    def _find_about(self, metric: str) -> CannotSay | None:
        for fault in self.faults:
            if metric in fault.consequence.unsayable:
                return CannotSay(spell_fault(fault))
        return None

    def _find_about_range(self, *thresholds_c: float) -> CannotSay | None:
        """Find the range that ends before one of these (°C): whether it was passed is hidden."""
        for fault in self.faults:
            if fault.kind is FaultKind.SATURATION:
                end_c = next(f.value for f in fault.evidence.figures if f.name == "reading")
                ends_at_top = end_c == self._highest_c
                if any((one >= end_c) if ends_at_top else (one < end_c) for one in thresholds_c):
                    return CannotSay(spell_fault(fault))
        return None

    def _find_hole(self, may_hide: Callable[[Hole], bool]) -> CannotSay | None:
        for hole in self.holes:
            if may_hide(hole):
                return CannotSay(spell_fault(hole.fault))
        return None


def list_doubts(faults: Iterable[ChannelFault], channel: str, trace: Trace) -> Doubts:
    """List what is doubtful about one channel: its own faults and those of the time axis."""
    about = [fault for fault in faults if fault.channel in {channel, None}]
    whole = tuple(fault for fault in about if not is_hole(fault))
    return Doubts(whole, list_holes(about, trace), trace)


def narrow_fault(fault: ChannelFault, metrics: Mapping[str, ChannelMetrics]) -> ChannelFault:
    """Return a fault with the metrics that are unsayable by it in its channel, or in any of them.

    What only hides what lies between two readings is found with all that it might touch;
    `metrics` are those of the usable channels, with their doubts.
    """
    about = [one for name, one in metrics.items() if fault.channel in {name, None}]
    if not is_hole(fault) or not about:
        return fault
    reason = CannotSay(spell_fault(fault))
    touched = [name for name in EVERY_METRIC if any(getattr(m, name) == reason for m in about)]
    return replace(fault, consequence=caution(*touched))


def doubt_metrics(metrics: ChannelMetrics, doubts: Doubts, targets: Targets) -> ChannelMetrics:
    """Return the metrics with those that cannot be said as CannotSay."""
    unsayable = doubts.list_unsayable(metrics, targets)
    if not unsayable:
        return metrics
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
    uncertainty: ChannelUncertainty, metrics: ChannelMetrics, doubts: Doubts, targets: Targets
) -> ChannelUncertainty:
    """Return the uncertainties with those of metrics that cannot be said as CannotSay.

    `metrics` are those without doubts.
    """
    unsayable = doubts.list_unsayable(metrics, targets)
    if not unsayable:
        return uncertainty
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
    """Return the zone, with nothing said of it from a time in which a fault lies."""
    end_s = zone.ends_at_s
    at_end = doubts.find_about_time(end_s, end_s)
    for_rate = doubts.find_about_time(max(end_s - zone.end_window_s, zone.starts_at_s), end_s)
    for_whole = doubts.find_about_time(zone.starts_at_s, end_s)
    return replace(
        zone,
        reached=at_end or zone.reached,
        above_setting=None if zone.above_setting is None else at_end or zone.above_setting,
        end_rate=for_rate or zone.end_rate,
        settled_for=for_whole or zone.settled_for,
    )
