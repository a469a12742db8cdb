"""One channel of a recording: everything that is asked of it."""

import math
from collections.abc import Sequence
from dataclasses import replace

from app.numerics.areas import prepare_areas
from app.numerics.ceilings import AgainstCeiling, compare_with_ceiling, list_times_above
from app.numerics.crossings import TimeAbove
from app.numerics.edges import prepare_edges
from app.numerics.metrics import (
    FEWEST_READINGS,
    NEAR_CLASSIFICATION_K,
    ROOM_C,
    compute_peak,
    measure_channel,
)
from app.numerics.recording.doubts import Doubts, doubt_metrics, doubt_uncertainty, doubt_zone
from app.numerics.recording.shapes import ChannelAnalysis, Targets
from app.numerics.trace import Trace
from app.numerics.uncertainty import (
    MeasurementUncertainty,
    Weigher,
    list_weighed_areas_c,
    list_weighed_c,
    weigh_channel,
    weigh_time_above,
)
from app.numerics.values import CannotSay
from app.numerics.zones import measure_zones


def analyse_one(
    trace: Trace,
    *,
    targets: Targets,
    ceilings_c: Sequence[float],
    doubts: Doubts,
    noise_k: float,
    chain: MeasurementUncertainty | None,
) -> ChannelAnalysis:
    """Measure one channel and its uncertainty; `noise_k` is the estimate (K, one sigma).

    Refuses targets as measure_channel, compare_with_ceiling and measure_zones do.
    """
    _prepare(trace, targets, ceilings_c, chain)
    metrics = measure_channel(
        trace,
        liquidus_c=targets.liquidus_c,
        soak_min_c=targets.soak_min_c,
        soak_max_c=targets.soak_max_c,
        ramp_window_s=targets.ramp_window_s,
        classification_c=targets.classification_c,
    )
    times_above = _list_times_above(trace, targets.times_above_c, doubts)
    ceilings = tuple(_hold_against(trace, ceiling_c, doubts) for ceiling_c in ceilings_c)
    zones = measure_zones(trace, targets.zones, starts_at_s=targets.zones_start_s)
    analysis = ChannelAnalysis(
        metrics=doubt_metrics(metrics, doubts, targets),
        uncertainty=None,
        times_above=times_above,
        ceilings=ceilings,
        zones=tuple(doubt_zone(zone, doubts) for zone in zones),
        noise_k=noise_k,
    )
    if chain is None:
        return analysis
    # From the numbers as they are: what is doubtful about one says nothing of the others.
    above_ceilings = [one if isinstance(one, CannotSay) else one.above for one in ceilings]
    weigher = Weigher(trace, metrics, chain, also=(*times_above, *above_ceilings))
    weighed = weigh_channel(
        weigher,
        liquidus_c=targets.liquidus_c,
        soak_min_c=targets.soak_min_c,
        soak_max_c=targets.soak_max_c,
        classification_c=targets.classification_c,
    )
    return replace(
        analysis,
        uncertainty=doubt_uncertainty(weighed, metrics, doubts, targets),
        times_above_uncertainty=tuple(weigh_time_above(weigher, one) for one in times_above),
        ceilings_uncertainty=tuple(weigh_time_above(weigher, one) for one in above_ceilings),
    )


def add_noise(chain: MeasurementUncertainty, noise_k: float) -> MeasurementUncertainty:
    """Return the chain with the estimated noise (K) where it is larger than the stated one."""
    return chain if chain.noise_k >= noise_k else replace(chain, noise_k=noise_k)


def _prepare(
    trace: Trace,
    targets: Targets,
    ceilings_c: Sequence[float],
    chain: MeasurementUncertainty | None,
) -> None:
    """Find at once when the trace is above each temperature that somebody will ask about.

    What is no temperature is refused by those who ask for it.
    """
    if not trace.time_s.size:
        return
    asked = [
        targets.liquidus_c,
        targets.soak_min_c,
        targets.soak_max_c,
        ROOM_C,
        *targets.times_above_c,
        *ceilings_c,
    ]
    if targets.classification_c is not None:
        asked.append(targets.classification_c - NEAR_CLASSIFICATION_K)
    if targets.lift_rule is not None:
        asked.append(targets.lift_rule.above_c)
    if chain is not None:
        asked += list_weighed_c(
            chain,
            liquidus_c=targets.liquidus_c,
            soak_min_c=targets.soak_min_c,
            soak_max_c=targets.soak_max_c,
            classification_c=targets.classification_c,
            more_c=(*targets.times_above_c, *ceilings_c),
        )
    areas_of = [targets.liquidus_c, *ceilings_c]
    if chain is not None:
        peak_c = compute_peak(trace).value
        areas_of += list_weighed_areas_c(chain, liquidus_c=targets.liquidus_c, peak_c=peak_c)
    prepare_edges(trace, (one for one in asked if math.isfinite(one)))
    prepare_areas(trace, (one for one in areas_of if math.isfinite(one)))


def _list_times_above(
    trace: Trace, thresholds_c: Sequence[float], doubts: Doubts
) -> tuple[TimeAbove | CannotSay, ...]:
    times = list_times_above(trace, thresholds_c)
    if trace.time_s.size < FEWEST_READINGS:
        few = CannotSay(f"The channel has fewer than {FEWEST_READINGS} readings.")
        return tuple(few for _ in times)
    return tuple(doubts.find_about_above(one.threshold_c) or one for one in times)


def _hold_against(trace: Trace, ceiling_c: float, doubts: Doubts) -> AgainstCeiling | CannotSay:
    against = compare_with_ceiling(trace, ceiling_c)
    return doubts.find_about_peak() or doubts.find_about_above(ceiling_c) or against
