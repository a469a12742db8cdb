"""The expanded uncertainty of every metric of a channel."""

from collections.abc import Callable
from dataclasses import dataclass

from numpy.typing import ArrayLike

from app.numerics.crossings import TimeAbove, compute_area_above
from app.numerics.edges import Edges, find_edges, prepare_edges
from app.numerics.metrics import NEAR_CLASSIFICATION_K, ROOM_C, ChannelMetrics
from app.numerics.ramps import compute_average_cooling, compute_average_ramp, compute_soak_time
from app.numerics.thermocouple_limits import OutsideTolerance
from app.numerics.trace import Trace, read_trace
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


@dataclass(frozen=True, slots=True)
class ChannelUncertainty:
    """One for each metric of ChannelMetrics, by the same name; k = 2.

    CannotSay where the metric has no value, where within its uncertainty it would have none, or
    where the thermocouple's class gives no tolerance.
    """

    peak: Uncertainty
    above_liquidus: TimeAboveUncertainty | CannotSay
    area_above_liquidus: Uncertainty
    maximum_ramp: Uncertainty
    average_ramp: Uncertainty
    soak_time: Uncertainty
    average_cooling: Uncertainty
    maximum_fall: Uncertainty
    time_25_c_to_peak: Uncertainty
    near_classification: TimeAboveUncertainty | CannotSay | None


def compute_uncertainty(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    metrics: ChannelMetrics,
    *,
    measurement: MeasurementUncertainty,
    liquidus_c: float,
    soak_min_c: float,
    soak_max_c: float,
    classification_c: float | None = None,
) -> ChannelUncertainty:
    """Compute U (k = 2) for each metric that analyse_channel gave for the same arguments.

    By the law of propagation, JCGM 100 (GUM): contributions are independent and add in squares.

    - An error common to all readings is the same as a shift of the temperature measured against:
      each metric is computed again for limits moved by ± twice the common uncertainty, and the
      larger change counts. This is the slope at the crossings, and stays right where the trace
      is bent. Slopes between two ends lose it; what remains is the wire's error of gain.
    - Resolution and noise are independent at each crossing and act through the slope there.
    - A moment of the peak is as uncertain as the top is flat: all readings within half a digit
      and twice the noise of the peak are as likely.
    - The highest of many noisy readings, and the steepest of many windows, are too high; by how
      much, counts as uncertainty.
    - Clock rate acts on every duration, jitter on every moment.

    Not in it: the sensor's own lag and fit, drift of used wire, and the true course between two
    samples.
    """
    trace = read_trace(time_s, temperature_c)
    prepare_edges(
        trace,
        list_weighed_c(
            measurement,
            liquidus_c=liquidus_c,
            soak_min_c=soak_min_c,
            soak_max_c=soak_max_c,
            classification_c=classification_c,
        ),
    )
    return weigh_channel(
        trace,
        metrics,
        measurement=measurement,
        liquidus_c=liquidus_c,
        soak_min_c=soak_min_c,
        soak_max_c=soak_max_c,
        classification_c=classification_c,
    )


def weigh_channel(
    trace: Trace,
    metrics: ChannelMetrics,
    *,
    measurement: MeasurementUncertainty,
    liquidus_c: float,
    soak_min_c: float,
    soak_max_c: float,
    classification_c: float | None = None,
) -> ChannelUncertainty:
    """Compute U (k = 2) for each metric of a trace read already: see compute_uncertainty."""
    chain = _Chain(trace, metrics, measurement)
    soak = (soak_min_c, soak_max_c)
    return ChannelUncertainty(
        peak=_guard(chain.weigh_peak),
        above_liquidus=_weigh_above(chain, metrics.above_liquidus),
        area_above_liquidus=_guard(lambda: chain.weigh_area(liquidus_c)),
        maximum_ramp=_guard(lambda: chain.weigh_steepest(metrics.maximum_ramp, sign=1.0)),
        average_ramp=_guard(lambda: chain.weigh_average_ramp(liquidus_c)),
        soak_time=_guard(lambda: chain.weigh_soak(soak)),
        average_cooling=_guard(lambda: chain.weigh_average_cooling(liquidus_c)),
        maximum_fall=_guard(lambda: chain.weigh_steepest(metrics.maximum_fall, sign=-1.0)),
        time_25_c_to_peak=_guard(chain.weigh_time_to_peak),
        near_classification=None
        if classification_c is None or metrics.near_classification is None
        else _weigh_above(chain, metrics.near_classification),
    )


class _NoValue(Exception):
    """The metric has no value, or would have none within its uncertainty."""


def _guard(weigh: Callable[[], Expanded]) -> Uncertainty:
    try:
        return weigh()
    except (_NoValue, OutsideTolerance) as refusal:
        return CannotSay(str(refusal))


def _weigh_above(chain: "_Chain", above: TimeAbove | CannotSay) -> TimeAboveUncertainty | CannotSay:
    if isinstance(above, CannotSay):
        return CannotSay(above.reason)
    return TimeAboveUncertainty(
        total=(whole := _guard(lambda: chain.weigh_total(above))),
        longest=whole
        if chain.is_one_stretch(above)
        else _guard(lambda: chain.weigh_longest(above)),
    )


def _get(outcome: Outcome) -> Measured:
    if isinstance(outcome, Measured):
        return outcome
    raise _NoValue(outcome.reason)


def _moment_of(measured: Measured) -> float:
    if measured.at_s is None:
        raise _NoValue("The value has no moment.")
    return measured.at_s


class _Chain:
    """One trace with its metrics and its measuring chain; every method weighs one metric."""

    def __init__(
        self, trace: Trace, metrics: ChannelMetrics, measurement: MeasurementUncertainty
    ) -> None:
        self.trace, self.metrics, self.measurement = trace, metrics, measurement
        self.own = measurement.compute_own()
        self.moments = Moments(trace, total(self.own.values()))
        self._common: dict[float, dict[Source, float]] = {}
        self.moments.prepare(self._list_crossings())

    def _list_crossings(self) -> list[float]:
        metrics = self.metrics
        known = (metrics.above_liquidus, metrics.near_classification)
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
        peak = _get(self.metrics.peak)
        count = self.moments.count_near_peak(self._near(peak))
        selection = {Source.SELECTION: compute_selection(self.measurement.noise_k, count)}
        common = self._common_at(peak.value)
        return expand(add_parts(common, self.own, selection), peak.unit)

    def weigh_total(self, above: TimeAbove) -> Expanded:
        crossings = [crossing.at_s for crossing in above.crossings]
        return self._weigh_time(above.total, above.threshold_c, crossings, _total_of)

    def weigh_longest(self, above: TimeAbove) -> Expanded:
        longest = max(above.stretches, key=lambda stretch: stretch.length_s, default=None)
        ends = [] if longest is None else [longest.start_s, longest.end_s]
        return self._weigh_time(above.longest, above.threshold_c, ends, _longest_of)

    def is_one_stretch(self, above: TimeAbove) -> bool:
        """Whether the trace is above once at most, from end to end, and stays so when it is off."""
        if above.total.is_censored:
            return False
        try:
            shifts_k = _list_shifts(self._common_at(above.threshold_c))
        except OutsideTolerance:
            return False
        return all(
            self._above_at(above.threshold_c + shift_k).count <= 1 for shift_k in (0.0, *shifts_k)
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
        slope, peak = _get(self.metrics.average_ramp), _get(self.metrics.peak)
        start_s, peak_s = _moment_of(slope), _moment_of(peak)
        common, _ = self._shift(
            slope,
            liquidus_c,
            lambda shift_k: compute_average_ramp(peak, self._above_at(liquidus_c + shift_k)),
        )
        return self._expand_slope(slope, common, crossing_s=start_s, length_s=peak_s - start_s)

    def weigh_average_cooling(self, liquidus_c: float) -> Expanded:
        slope, peak = _get(self.metrics.average_cooling), _get(self.metrics.peak)
        last_s = _moment_of(slope)
        stretch = self._above_at(liquidus_c).find_stretch_at(last_s)
        if stretch is None:
            raise _NoValue("The trace has no fall from its peak.")
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
        value, peak = _get(self.metrics.time_25_c_to_peak), _get(self.metrics.peak)
        peak_s = _moment_of(peak)

        def measure(shift_k: float) -> Outcome:
            stretch = self._above_at(ROOM_C + shift_k).find_stretch_at(peak_s)
            if stretch is None:
                return CannotSay("Within its uncertainty the trace is never above 25 °C.")
            # A room near 25 °C is within the uncertainty: then the trace's own start is the end.
            return Measured(peak_s - stretch.start_s, Unit.SECOND, is_censored=stretch.starts_open)

        common, is_censored = self._shift(value, ROOM_C, measure)
        parts = add_parts(common, {Source.PEAK_MOMENT: self._spread_of_peak(peak)})
        return self._expand_time(value, parts, [_moment_of(value)], is_censored=is_censored)

    def _above_at(self, threshold_c: float) -> Edges:
        return find_edges(self.trace, threshold_c)

    def _common_at(self, temperature_c: float) -> dict[Source, float]:
        common = self._common.get(temperature_c)
        if common is None:
            common = self._common[temperature_c] = self.measurement.compute_common(temperature_c)
        return common

    def _shift(
        self,
        value: Measured,
        threshold_c: float,
        measure: Callable[[float], Outcome],
        *,
        widest_at_c: float | None = None,
    ) -> tuple[dict[Source, float], bool]:
        """Weigh the error common to all readings; and whether the shifted value is censored."""
        common = self._common_at(threshold_c if widest_at_c is None else widest_at_c)
        together_k = total(common.values())
        if together_k == 0.0:
            return {}, False
        shifted = [_get(measure(shift_k)) for shift_k in _list_shifts(common)]
        change = max(abs(one.value - value.value) for one in shifted)
        per_kelvin = change / (COVERAGE_FACTOR * together_k)
        is_censored = any(one.is_censored for one in shifted) and not value.is_censored
        return scale_parts(common, per_kelvin), is_censored

    def _expand_time(
        self, value: Measured, parts: Parts, crossings: list[float], *, is_censored: bool
    ) -> Expanded:
        own = scale_parts(self.own, self.moments.measure_spread(crossings))
        clock = {
            Source.TIME_BASE: value.value * self.measurement.compute_rate(),
            Source.JITTER: self.measurement.timebase_jitter_s * len(crossings) ** 0.5,
        }
        return expand(add_parts(parts, own, clock), value.unit, is_censored=is_censored)

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


def list_weighed_c(
    measurement: MeasurementUncertainty,
    *,
    liquidus_c: float,
    soak_min_c: float,
    soak_max_c: float,
    classification_c: float | None = None,
) -> list[float]:
    """List the temperatures (°C) at which weigh_channel will ask when the trace is above them."""
    asked: list[tuple[float, ...]] = [(liquidus_c,), (ROOM_C,), (soak_max_c, soak_min_c)]
    if classification_c is not None:
        asked.append((classification_c - NEAR_CLASSIFICATION_K,))
    return [moved_c for together in asked for moved_c in _move(measurement, together)]


def list_weighed_areas_c(
    measurement: MeasurementUncertainty, *, liquidus_c: float, peak_c: float
) -> list[float]:
    """List the temperatures (°C) above which weigh_channel will ask for the area."""
    try:
        shifts_k = _list_shifts(measurement.compute_common(max(liquidus_c, peak_c)))
    except OutsideTolerance:
        return []
    return [liquidus_c + shift_k for shift_k in shifts_k]


def _move(measurement: MeasurementUncertainty, thresholds_c: tuple[float, ...]) -> list[float]:
    """Move temperatures by twice what all readings share near the first of them."""
    try:
        shifts_k = _list_shifts(measurement.compute_common(thresholds_c[0]))
    except OutsideTolerance:
        return []
    return [one + shift_k for one in thresholds_c for shift_k in shifts_k]


def _list_shifts(common: Parts) -> tuple[float, float]:
    """List by how much (K) limits are moved to see what a common error does."""
    shift_k = COVERAGE_FACTOR * total(common.values())
    return -shift_k, shift_k


def _total_of(above: TimeAbove | Edges) -> Measured:
    return above.total


def _longest_of(above: TimeAbove | Edges) -> Measured:
    return above.longest
