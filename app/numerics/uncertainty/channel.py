"""The expanded uncertainty of every metric of a channel."""

from collections.abc import Callable
from dataclasses import dataclass

from numpy.typing import ArrayLike

from app.numerics.edges import prepare_edges
from app.numerics.metrics import ChannelMetrics
from app.numerics.stretches import TimeAbove
from app.numerics.thermocouple_limits import OutsideTolerance
from app.numerics.trace import read_trace
from app.numerics.uncertainty.asked import list_weighed_c
from app.numerics.uncertainty.budget import Expanded
from app.numerics.uncertainty.inputs import MeasurementUncertainty
from app.numerics.uncertainty.weigher import NoValue, TimeAboveUncertainty, Uncertainty, Weigher
from app.numerics.values import CannotSay


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
      is bent: there the true value may be further off to one side than to the other, and one
      number ± has to cover the longer side. By choice it is larger than half the spread of both
      sides, which is what a Monte Carlo (JCGM 101) gives as 2·u: a time above by 5 % to 10 % where
      the trace is within some 20 K of its peak, hardly at all elsewhere. Slopes between two ends
      lose it; what remains is the wire's error of gain.
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
        Weigher(trace, metrics, measurement),
        liquidus_c=liquidus_c,
        soak_min_c=soak_min_c,
        soak_max_c=soak_max_c,
        classification_c=classification_c,
    )


def weigh_channel(
    chain: Weigher,
    *,
    liquidus_c: float,
    soak_min_c: float,
    soak_max_c: float,
    classification_c: float | None = None,
) -> ChannelUncertainty:
    """Compute U (k = 2) for each metric of the channel that is weighed: see compute_uncertainty."""
    metrics = chain.metrics
    soak = (soak_min_c, soak_max_c)
    return ChannelUncertainty(
        peak=_guard(chain.weigh_peak),
        above_liquidus=weigh_time_above(chain, metrics.above_liquidus),
        area_above_liquidus=_guard(lambda: chain.weigh_area(liquidus_c)),
        maximum_ramp=_guard(lambda: chain.weigh_steepest(metrics.maximum_ramp, sign=1.0)),
        average_ramp=_guard(lambda: chain.weigh_average_ramp(liquidus_c)),
        soak_time=_guard(lambda: chain.weigh_soak(soak)),
        average_cooling=_guard(lambda: chain.weigh_average_cooling(liquidus_c)),
        maximum_fall=_guard(lambda: chain.weigh_steepest(metrics.maximum_fall, sign=-1.0)),
        time_25_c_to_peak=_guard(chain.weigh_time_to_peak),
        near_classification=None
        if classification_c is None or metrics.near_classification is None
        else weigh_time_above(chain, metrics.near_classification),
    )


def weigh_time_above(
    chain: Weigher, above: TimeAbove | CannotSay
) -> TimeAboveUncertainty | CannotSay:
    """Compute U (k = 2) of a time above a temperature, of the channel that is weighed."""
    if isinstance(above, CannotSay):
        return CannotSay(above.reason)
    known = chain.weighed.get(above.threshold_c)
    if known is None:
        whole = longest = _guard(lambda: chain.weigh_total(above))
        if not chain.is_one_stretch(above):
            longest = _guard(lambda: chain.weigh_longest(above))
        known = chain.weighed[above.threshold_c] = TimeAboveUncertainty(whole, longest)
    return known


def _guard(weigh: Callable[[], Expanded]) -> Uncertainty:
    try:
        return weigh()
    except (NoValue, OutsideTolerance) as refusal:
        return CannotSay(str(refusal))
