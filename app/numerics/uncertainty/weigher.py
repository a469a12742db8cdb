"""Weighs one metric of a channel after the other: what each source of error does to it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from app.numerics.crossings import compute_area_above
from app.numerics.edges import Edges, find_edges
from app.numerics.metrics import ROOM_C, ChannelMetrics
from app.numerics.ramps import compute_average_cooling, compute_average_ramp, compute_soak_time
from app.numerics.stretches import TimeAbove
from app.numerics.thermocouple_limits import OutsideTolerance
from app.numerics.trace import Trace
from app.numerics.uncertainty.asked import list_shifts
from app.numerics.uncertainty.budget import (
    COVERAGE_FACTOR,
    Expanded,
    Parts,
    Source,
    add_parts,
    combine,
    expand,
    scale_parts,
    total,
)
from app.numerics.uncertainty.inputs import MeasurementUncertainty
from app.numerics.uncertainty.moments import Moments, compute_selection
from app.numerics.values import CannotSay, Measured, Outcome, Unit

Uncertainty = Expanded | CannotSay


@dataclass(frozen=True, slots=True)
class TimeAboveUncertainty:
    """Of the total time above a temperature and of the longest stretch."""

    total: Uncertainty
    longest: Uncertainty


class NoValue(Exception):
    """The metric has no value, or would have none within its uncertainty."""


def _get(outcome: Outcome) -> Measured:
    if isinstance(outcome, Measured):
        return outcome
    raise NoValue(outcome.reason)


def _moment_of(measured: Measured) -> float:
    if measured.at_s is None:
        raise NoValue("The value has no moment.")
    return measured.at_s


class Weigher:
    """One trace with its metrics and its measuring chain; every method weighs one metric.

    `also` are more times above a temperature that somebody will ask about; `weighed` remembers
    those done by their temperature (°C). Budgets whose sources cannot meet are joined, others are
    added in squares.
    """

    def __init__(
        self,
        trace: Trace,
        metrics: ChannelMetrics,
        measurement: MeasurementUncertainty,
        *,
        also: Iterable[TimeAbove | CannotSay] = (),
    ) -> None:
        self.trace, self.metrics, self.measurement = trace, metrics, measurement
        self.own = measurement.compute_own()
        self.moments = Moments(trace, total(self.own.values()))
        self.weighed: dict[float, TimeAboveUncertainty] = {}
        self._common: dict[float, dict[Source, float]] = {}
        self._shifts_k: dict[float, tuple[float, float]] = {}
        self.moments.prepare(self._list_crossings(also))

    def _list_crossings(self, also: Iterable[TimeAbove | CannotSay]) -> list[float]:
        metrics = self.metrics
        known = (metrics.above_liquidus, metrics.near_classification, *also)
        crossings = [
            crossing.at_s
            for above in known
            if isinstance(above, TimeAbove)
            for crossing in above.crossings
        ]
        for value in (metrics.soak_time, metrics.time_25_c_to_peak):
            if isinstance(value, Measured) and value.at_s is not None:
                crossings += [value.at_s, value.at_s + value.value]
        return crossings

    def weigh_peak(self) -> Expanded:
        """Weigh the peak: what is common, one reading's own, and the highest of many."""
        peak = _get(self.metrics.peak)
        count = self.moments.count_near_peak(self._near(peak))
        selection = {Source.SELECTION: compute_selection(self.measurement.noise_k, count)}
        common = self._common_at(peak.value)
        return expand(common | self.own | selection, peak.unit)

    def weigh_total(self, above: TimeAbove) -> Expanded:
        """Weigh the total time above a temperature."""
        crossings = [crossing.at_s for crossing in above.crossings]
        return self._weigh_time(above.total, above.threshold_c, crossings, _total_of)

    def weigh_longest(self, above: TimeAbove) -> Expanded:
        """Weigh the longest time above a temperature."""
        longest = max(above.stretches, key=lambda stretch: stretch.length_s, default=None)
        ends = [] if longest is None else [longest.start_s, longest.end_s]
        return self._weigh_time(above.longest, above.threshold_c, ends, _longest_of)

    def is_one_stretch(self, above: TimeAbove) -> bool:
        """Whether the trace is above once at most, from end to end, and stays so when it is off."""
        if len(above.stretches) > 1 or above.starts_above or above.ends_above:
            return False
        try:
            lower_k, upper_k = self._shifts_at(above.threshold_c)
        except OutsideTolerance:
            return False
        return (
            self._above_at(above.threshold_c + lower_k).count <= 1
            and self._above_at(above.threshold_c + upper_k).count <= 1
        )

    def _weigh_time(
        self,
        value: Measured,
        threshold_c: float,
        crossings: list[float],
        measure: Callable[[TimeAbove | Edges], Measured],
    ) -> Expanded:
        common, is_censored = self._shift(
            value, threshold_c, lambda shift_k: measure(self._above_at(threshold_c + shift_k))
        )
        return self._expand_time(value, common, crossings, is_censored=is_censored)

    def weigh_area(self, liquidus_c: float) -> Expanded:
        """Weigh the area above the liquidus (°C)."""
        area, peak = _get(self.metrics.area_above_liquidus), _get(self.metrics.peak)
        common, is_censored = self._shift(
            area,
            liquidus_c,
            lambda shift_k: compute_area_above(self.trace, liquidus_c + shift_k),
            widest_at_c=max(liquidus_c, peak.value),
        )
        above = self._above_at(liquidus_c).total.value
        parts = add_parts(
            common,
            scale_parts(self.own, self.moments.measure_weight(above)),
            {
                Source.TIME_BASE: area.value * self.measurement.compute_rate(),
                # A moment that is late by δ turns the step around it into an area of step·δ.
                Source.JITTER: self.measurement.timebase_jitter_s
                * self.moments.measure_steps_above(liquidus_c),
            },
        )
        return expand(parts, area.unit, is_censored=is_censored)

    def weigh_steepest(self, ramp: Outcome, *, sign: float) -> Expanded:
        """Weigh the largest rise (+1) or the largest fall (−1) over a window."""
        slope = _get(ramp)
        window_s = self.metrics.ramp_window_s
        # Two ends, each with its own reading.
        own = scale_parts(self.own, combine(1.0, 1.0) / window_s)
        one = total(own.values())
        least_k = sign * (slope.value - COVERAGE_FACTOR * one) * window_s
        count = self.moments.count_near_steepest(window_s, least_k) if one > 0.0 else 1
        parts = add_parts(
            self._gain_of(slope),
            own,
            {Source.SELECTION: compute_selection(one, count)},
            self._clock_of(slope.value, window_s),
        )
        return expand(parts, slope.unit)

    def weigh_average_ramp(self, liquidus_c: float) -> Expanded:
        """Weigh the mean rise from the liquidus (°C) to the peak."""
        slope, peak = _get(self.metrics.average_ramp), _get(self.metrics.peak)
        start_s, peak_s = _moment_of(slope), _moment_of(peak)
        common, _ = self._shift(
            slope,
            liquidus_c,
            lambda shift_k: compute_average_ramp(peak, self._above_at(liquidus_c + shift_k)),
        )
        return self._expand_slope(slope, common, crossing_s=start_s, length_s=peak_s - start_s)

    def weigh_average_cooling(self, liquidus_c: float) -> Expanded:
        """Weigh the mean fall from the peak to the liquidus (°C)."""
        slope, peak = _get(self.metrics.average_cooling), _get(self.metrics.peak)
        last_s = _moment_of(slope)
        stretch = self._above_at(liquidus_c).find_stretch_at(last_s)
        if stretch is None:
            raise NoValue("The trace has no fall from its peak.")
        common, _ = self._shift(
            slope,
            liquidus_c,
            lambda shift_k: compute_average_cooling(
                peak, self._above_at(liquidus_c + shift_k), last_at_peak_s=last_s
            ),
        )
        return self._expand_slope(
            slope, common, crossing_s=stretch.end_s, length_s=stretch.end_s - last_s
        )

    def weigh_soak(self, soak_c: tuple[float, float]) -> Expanded:
        """Weigh the time from the first of these temperatures (°C) to the second."""
        soak, peak = _get(self.metrics.soak_time), _get(self.metrics.peak)
        low_c, high_c = soak_c
        common, is_censored = self._shift(
            soak,
            high_c,
            lambda shift_k: compute_soak_time(
                peak, self._above_at(low_c + shift_k), self._above_at(high_c + shift_k)
            ),
        )
        start_s = _moment_of(soak)
        ends = [start_s, start_s + soak.value]
        return self._expand_time(soak, common, ends, is_censored=is_censored)

    def weigh_time_to_peak(self) -> Expanded:
        """Weigh the time from 25 °C to the peak."""
        value, peak = _get(self.metrics.time_25_c_to_peak), _get(self.metrics.peak)
        peak_s = _moment_of(peak)

        def measure(shift_k: float) -> Outcome:
            stretch = self._above_at(ROOM_C + shift_k).find_stretch_at(peak_s)
            if stretch is None:
                return CannotSay("Within its uncertainty the trace is never above 25 °C.")
            # A room near 25 °C is within the uncertainty: then the trace's own start is the end.
            return Measured(peak_s - stretch.start_s, Unit.SECOND, is_censored=stretch.starts_open)

        common, is_censored = self._shift(value, ROOM_C, measure)
        parts = common | {Source.PEAK_MOMENT: self._spread_of_peak(peak)}
        return self._expand_time(value, parts, [_moment_of(value)], is_censored=is_censored)

    def _above_at(self, threshold_c: float) -> Edges:
        return find_edges(self.trace, threshold_c)

    def _common_at(self, temperature_c: float) -> dict[Source, float]:
        common = self._common.get(temperature_c)
        if common is None:
            common = self._common[temperature_c] = self.measurement.compute_common(temperature_c)
        return common

    def _shifts_at(self, temperature_c: float) -> tuple[float, float]:
        shifts_k = self._shifts_k.get(temperature_c)
        if shifts_k is None:
            shifts_k = list_shifts(self._common_at(temperature_c))
            self._shifts_k[temperature_c] = shifts_k
        return shifts_k

    def _shift(
        self,
        value: Measured,
        threshold_c: float,
        measure: Callable[[float], Outcome],
        *,
        widest_at_c: float | None = None,
    ) -> tuple[dict[Source, float], bool]:
        """Weigh the error common to all readings; and whether the shifted value is censored."""
        at_c = threshold_c if widest_at_c is None else widest_at_c
        lower_k, upper_k = self._shifts_at(at_c)
        if upper_k == 0.0:
            return {}, False
        lower, upper = _get(measure(lower_k)), _get(measure(upper_k))
        change = max(abs(lower.value - value.value), abs(upper.value - value.value))
        is_censored = (lower.is_censored or upper.is_censored) and not value.is_censored
        return scale_parts(self._common_at(at_c), change / upper_k), is_censored

    def _expand_time(
        self, value: Measured, parts: Parts, crossings: list[float], *, is_censored: bool
    ) -> Expanded:
        own = scale_parts(self.own, self.moments.measure_spread(crossings))
        clock = {
            Source.TIME_BASE: value.value * self.measurement.compute_rate(),
            Source.JITTER: self.measurement.timebase_jitter_s * len(crossings) ** 0.5,
        }
        return expand({**parts, **own, **clock}, value.unit, is_censored=is_censored)

    def _expand_slope(
        self, slope: Measured, common: Parts, *, crossing_s: float, length_s: float
    ) -> Expanded:
        peak = _get(self.metrics.peak)
        per_second = slope.value / length_s
        parts = add_parts(
            common,
            self._gain_of(slope),
            # The reading at the peak, and the crossing, each in their own way.
            scale_parts(self.own, 1.0 / length_s),
            scale_parts(self.own, self.moments.measure_spread([crossing_s]) * per_second),
            {Source.PEAK_MOMENT: self._spread_of_peak(peak) * abs(per_second)},
            self._clock_of(slope.value, length_s),
        )
        return expand(parts, slope.unit)

    def _gain_of(self, slope: Measured) -> dict[Source, float]:
        return {Source.THERMOCOUPLE: abs(slope.value) * self.measurement.compute_gain()}

    def _clock_of(self, slope: float, length_s: float) -> dict[Source, float]:
        jitter_s = combine(1.0, 1.0) * self.measurement.timebase_jitter_s
        return {
            Source.TIME_BASE: abs(slope) * self.measurement.compute_rate(),
            Source.JITTER: abs(slope) * jitter_s / length_s,
        }

    def _spread_of_peak(self, peak: Measured) -> float:
        return self.moments.measure_flat_top(self._near(peak))

    def _near(self, peak: Measured) -> float:
        """From which reading (°C) on any may have been the peak."""
        measured = self.measurement
        near_k = measured.resolution_k / 2.0 + COVERAGE_FACTOR * measured.noise_k
        return peak.value - near_k


def _total_of(above: TimeAbove | Edges) -> Measured:
    return above.total


def _longest_of(above: TimeAbove | Edges) -> Measured:
    return above.longest
