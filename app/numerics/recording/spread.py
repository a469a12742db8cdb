"""How far the difference between two joint channels may be off."""

from collections.abc import Mapping
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class _Pair:
    """The hottest and the coldest joint at one moment, and the budget (K) of their difference."""

    difference: Measured
    hottest: str
    coldest: str
    parts: Parts


def weigh_spread(
    joints: Mapping[str, Trace],
    spread: Outcome,
    chains: Mapping[str, MeasurementUncertainty],
) -> Uncertainty | None:
    """Compute U (k = 2, K) of the widest spread between joint channels, at its moment.

    As of a difference; and the widest of many noisy moments is too wide: by how much, counts as
    uncertainty.
    """
    pair = _find_pair(joints, spread, chains)
    if not isinstance(pair, _Pair):
        return pair
    noise_k = combine(chains[pair.hottest].noise_k, chains[pair.coldest].noise_k)
    near_k = pair.difference.value - COVERAGE_FACTOR * noise_k
    count = _count_near(joints[pair.hottest], joints[pair.coldest], near_k) if noise_k else 1
    selection = {Source.SELECTION: compute_selection(noise_k, count)}
    return expand(add_parts(pair.parts, selection), pair.difference.unit)


def weigh_difference(
    joints: Mapping[str, Trace],
    difference: Outcome,
    chains: Mapping[str, MeasurementUncertainty],
) -> Uncertainty | None:
    """Compute U (k = 2, K) of a difference between joint channels at one moment.

    Two independent chains: the root of the sum of squares (JCGM 100) of what the hottest and the
    coldest channel contribute at their temperatures there. What both share, such as one logger's
    cold junction or wire of one spool, cancels in truth but is counted here: on the safe side.
    None when one of the two has no chain, CannotSay where the difference has no value or a wire's
    class gives no tolerance. How the moment itself is chosen is not in it.
    """
    pair = _find_pair(joints, difference, chains)
    return expand(pair.parts, pair.difference.unit) if isinstance(pair, _Pair) else pair


def _find_pair(
    joints: Mapping[str, Trace],
    spread: Outcome,
    chains: Mapping[str, MeasurementUncertainty],
) -> _Pair | CannotSay | None:
    if not chains:
        return None
    if not isinstance(spread, Measured):
        return CannotSay(spread.reason)
    at = {
        name: value_c
        for name, trace in joints.items()
        if spread.at_s is not None
        and (value_c := find_temperature_at(trace, spread.at_s)) is not None
    }
    if len(at) < _FEWEST_TO_COMPARE:
        return CannotSay("No two joint channels have readings at that moment.")
    pair = max(at, key=at.__getitem__), min(at, key=at.__getitem__)
    if any(name not in chains for name in pair):
        return None
    try:
        common = [chains[name].compute_common(at[name]) for name in pair]
    except OutsideTolerance as refusal:
        return CannotSay(str(refusal))
    return _Pair(spread, *pair, add_parts(*common, *(chains[name].compute_own() for name in pair)))


def _count_near(hot: Trace, cold: Trace, near_k: float) -> int:
    """Count the readings at which two channels are `near_k` (K) apart or more."""
    if hot.time_s is cold.time_s or np.array_equal(hot.time_s, cold.time_s):
        apart_k = hot.temperature_c - cold.temperature_c
    else:
        apart_k = hot.temperature_c - np.interp(hot.time_s, cold.time_s, cold.temperature_c)
    return int(np.count_nonzero(apart_k >= near_k))
