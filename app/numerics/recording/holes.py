"""A short time without readings, and which metrics of a channel it may touch."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from app.numerics.faults import ChannelFault, FaultKind
from app.numerics.metrics import NEAR_CLASSIFICATION_K, ROOM_C, ChannelMetrics
from app.numerics.ramps import compute_largest_ramps
from app.numerics.recording.shapes import Targets
from app.numerics.trace import Trace
from app.numerics.values import CannotSay, Measured, Outcome

# The steepest slopes are taken over this time: longer than the noise, shorter than any bend.
_SLOPE_S: Final = 2.0
_SLOPE_OF_USUAL: Final = 3.0
_KINDS: Final = frozenset({FaultKind.GAP, FaultKind.SPIKE, FaultKind.OPEN_CIRCUIT})


@dataclass(frozen=True, slots=True)
class Hole:
    """What lies between two readings (s, °C) because of a fault.

    `lowest_c` and `highest_c` are how far the trace may have gone in between at the steepest
    slopes it shows anywhere: further than it did, on the safe side.
    """

    fault: ChannelFault
    from_s: float
    to_s: float
    from_c: float
    to_c: float
    lowest_c: float
    highest_c: float

    def may_cross(self, threshold_c: float) -> bool:
        """Whether the trace may have passed a temperature (°C) unseen."""
        return self.lowest_c <= threshold_c <= self.highest_c

    def meets(self, from_s: float, to_s: float) -> bool:
        """Whether some of it lies within a time (s)."""
        return self.from_s < to_s and from_s < self.to_s

    def list_touched(self, metrics: ChannelMetrics, trace: Trace, targets: Targets) -> set[str]:
        """List the fields of ChannelMetrics that what is hidden may change."""
        return set(self._list_touched(metrics, trace, targets))

    def _list_touched(
        self, metrics: ChannelMetrics, trace: Trace, targets: Targets
    ) -> Iterator[str]:
        peak = metrics.peak
        if isinstance(peak, CannotSay):
            return
        may_be_peak = self.highest_c > peak.value
        if may_be_peak:
            yield from ("peak", "average_ramp", "average_cooling", "time_25_c_to_peak", "soak_time")
        if self.may_cross(targets.liquidus_c):
            yield "above_liquidus"
        if self.highest_c >= targets.liquidus_c:
            yield "area_above_liquidus"
        near_c = targets.classification_c
        if near_c is not None and self.may_cross(near_c - NEAR_CLASSIFICATION_K):
            yield "near_classification"
        peak_s = peak.at_s or 0.0
        for name, value, thresholds_c, until_s in (
            ("average_ramp", metrics.average_ramp, (targets.liquidus_c,), peak_s),
            ("average_cooling", metrics.average_cooling, (targets.liquidus_c,), math.inf),
            ("time_25_c_to_peak", metrics.time_25_c_to_peak, (ROOM_C,), peak_s),
            (
                "soak_time",
                metrics.soak_time,
                (targets.soak_min_c, targets.soak_max_c),
                _find_end(metrics.soak_time),
            ),
        ):
            if any(map(self.may_cross, thresholds_c)) and self._is_between(value, until_s):
                yield name
        for name, slope, sign in (
            ("maximum_ramp", metrics.maximum_ramp, 1.0),
            ("maximum_fall", metrics.maximum_fall, -1.0),
        ):
            window_s = metrics.ramp_window_s
            if isinstance(slope, Measured) and self._may_be_steeper(
                trace, slope, sign=sign, window_s=window_s, may_turn=may_be_peak
            ):
                yield name

    def _is_between(self, value: Outcome, until_s: float) -> bool:
        """Whether it lies between the moment of a value and another; anywhere for no value."""
        if not isinstance(value, Measured) or value.at_s is None:
            return not isinstance(value, CannotSay)
        return self.meets(value.at_s, until_s)

    def _may_be_steeper(
        self, trace: Trace, slope: Measured, *, sign: float, window_s: float, may_turn: bool
    ) -> bool:
        """Whether a window with an end in it may be as steep as the steepest one that is seen.

        As if the trace went one way only in between, where it can hide no peak.
        """
        at_s = slope.at_s
        if at_s is None or self.meets(at_s, at_s + window_s):
            return True
        is_long = self.to_s - self.from_s > window_s
        if is_long and may_turn:
            return True
        outside_s = (self.from_s - window_s, self.to_s + window_s)
        before_c, after_c = np.interp(outside_s, trace.time_s, trace.temperature_c).tolist()
        changes_k = [self.to_c - before_c, after_c - self.from_c]
        if is_long:
            changes_k.append(self.to_c - self.from_c)
        return max(sign * one for one in changes_k) >= slope.value * window_s


def is_hole(fault: ChannelFault) -> bool:
    """Whether a fault only hides what lies between two readings."""
    return fault.kind in _KINDS and not fault.consequence.is_left_out


def list_holes(faults: Iterable[ChannelFault], trace: Trace) -> tuple[Hole, ...]:
    """List what some faults hide of a trace; at its ends there is nothing in between."""
    found = [fault for fault in faults if is_hole(fault)]
    if not found or not trace.time_s.size:
        return ()
    rise, fall = _find_steepest(trace)
    time, value = trace.time_s, trace.temperature_c
    holes: list[Hole] = []
    for fault in found:
        before = int(np.searchsorted(time, fault.evidence.at_s, side="right")) - 1
        after = int(np.searchsorted(time, fault.evidence.until_s, side="left"))
        if before < 0 or after >= time.size or before >= after:
            continue
        from_s, to_s = float(time[before]), float(time[after])
        from_c, to_c = float(value[before]), float(value[after])
        # Up as steeply as ever and down again to the reading after, and the other way round.
        highest_c = (fall * from_c + rise * to_c + rise * fall * (to_s - from_s)) / (rise + fall)
        lowest_c = (rise * from_c + fall * to_c - rise * fall * (to_s - from_s)) / (rise + fall)
        holes.append(
            Hole(
                fault,
                from_s,
                to_s,
                from_c,
                to_c,
                min(lowest_c, from_c, to_c),
                max(highest_c, from_c, to_c),
            )
        )
    return tuple(holes)


def _find_steepest(trace: Trace) -> tuple[float, float]:
    """Find the steepest rise and fall (K/s, above 0)."""
    usual_s = float(np.median(trace.steps_s)) if trace.time_s.size > 1 else 0.0
    window_s = min(max(_SLOPE_S, _SLOPE_OF_USUAL * usual_s), trace.span_s)
    if window_s <= 0.0:
        return 1.0, 1.0
    found = compute_largest_ramps(trace, window_s)
    rise, fall = (max(one.value, 1e-9) if isinstance(one, Measured) else 1.0 for one in found)
    return rise, fall


def _find_end(soak: Outcome) -> float:
    return soak.at_s + soak.value if isinstance(soak, Measured) and soak.at_s else math.inf
