"""How far the difference between two joint channels may be off."""

from collections.abc import Mapping

import numpy as np

from app.numerics.cut import find_temperature_at
from app.numerics.thermocouple_limits import OutsideTolerance
from app.numerics.trace import Trace
from app.numerics.uncertainty import MeasurementUncertainty, Uncertainty
from app.numerics.uncertainty.budget import (
    COVERAGE_FACTOR,
    Parts,
    Source,
    add_parts,
    combine,
    expand,
)
from app.numerics.uncertainty.moments import compute_selection
from app.numerics.values import CannotSay, Measured, Outcome

_FEWEST_TO_COMPARE = 2


def weigh_spread(
    joints: Mapping[str, Trace],
    spread: Outcome,
    chains: Mapping[str, MeasurementUncertainty],
) -> Uncertainty | None:
    """Compute U (k = 2, K) of a spread between joint channels at its moment.

    Two independent chains: the root of the sum of squares (JCGM 100) of what the hottest and the
    coldest channel contribute at their temperatures there. What both share, such as one logger's
    cold junction or wire of one spool, cancels in truth but is counted here: on the safe side.
    The widest of many noisy moments is too wide; by how much, counts as uncertainty. None when
    one of the two has no chain, CannotSay where the spread has no value or a wire's class gives
    no tolerance.
    """
    if not chains:
        return None
    if not isinstance(spread, Measured) or spread.at_s is None:
        return CannotSay(
            "The spread has no value." if isinstance(spread, Measured) else spread.reason
        )
    at = {
        name: value_c
        for name, trace in joints.items()
        if (value_c := find_temperature_at(trace, spread.at_s)) is not None
    }
    if len(at) < _FEWEST_TO_COMPARE:
        return CannotSay("No two joint channels have readings at that moment.")
    hottest, coldest = max(at, key=at.__getitem__), min(at, key=at.__getitem__)
    if hottest not in chains or coldest not in chains:
        return None
    try:
        parts: Parts = add_parts(
            *(chains[name].compute_common(at[name]) for name in (hottest, coldest)),
            *(chains[name].compute_own() for name in (hottest, coldest)),
        )
    except OutsideTolerance as refusal:
        return CannotSay(str(refusal))
    noise_k = combine(chains[hottest].noise_k, chains[coldest].noise_k)
    near_k = spread.value - COVERAGE_FACTOR * noise_k
    count = _count_near(joints[hottest], joints[coldest], near_k)
    selection = {Source.SELECTION: compute_selection(noise_k, count)}
    return expand(add_parts(parts, selection), spread.unit)


def _count_near(hot: Trace, cold: Trace, near_k: float) -> int:
    """Count the readings at which two channels are `near_k` (K) apart or more."""
    if hot.time_s is cold.time_s or np.array_equal(hot.time_s, cold.time_s):
        apart_k = hot.temperature_c - cold.temperature_c
    else:
        apart_k = hot.temperature_c - np.interp(hot.time_s, cold.time_s, cold.temperature_c)
    return int(np.count_nonzero(apart_k >= near_k))
