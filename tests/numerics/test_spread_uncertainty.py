"""The uncertainty of the spread against Monte Carlo (JCGM 101), and where there is none."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
import pytest

from app.numerics.lift import compute_spread_at_coldest_peak
from app.numerics.metrics import analyse_site
from app.numerics.recording.spread import weigh_difference, weigh_spread
from app.numerics.thermocouple_limits import Status, Tolerance
from app.numerics.trace import FloatArray, read_trace
from app.numerics.uncertainty import Expanded, MeasurementUncertainty, Source
from app.numerics.values import CannotSay, Measured, Outcome
from tests.numerics.recordings import PROFILE, TIME_S

DRAWS: Final = 2_000
HOT_C: Final = np.interp(TIME_S, *PROFILE)
# Its slope is that of the other one, so that the spread stands where it is.
COLD_C: Final = HOT_C - 9.0
WIRE: Final = Tolerance(1.5, 0.0, -40.0, 1_000.0, Status.MEMORY)
CHAINS: Final = {
    "hot": MeasurementUncertainty(thermocouple=WIRE, logger_accuracy_k=1.0),
    "cold": MeasurementUncertainty(thermocouple=replace(WIRE, fixed_k=0.8)),
}


def _spread(hot_c: FloatArray, cold_c: FloatArray) -> Outcome:
    site = analyse_site(
        TIME_S, {"hot": hot_c, "cold": cold_c}, joints=("hot", "cold"), liquidus_c=217.0
    )
    return site.spread


def _weigh(
    chains: Mapping[str, MeasurementUncertainty],
    *,
    hot_c: FloatArray = HOT_C,
    cold_c: FloatArray = COLD_C,
) -> object:
    traces = {"hot": read_trace(TIME_S, hot_c), "cold": read_trace(TIME_S, cold_c)}
    return weigh_spread(traces, _spread(hot_c, cold_c), chains)


def _standard(weighed: object) -> float:
    assert isinstance(weighed, Expanded)
    return weighed.standard


def test_two_chains_that_are_off_each_in_their_own_way_add_in_squares() -> None:
    dice = np.random.default_rng(417)
    wire = dice.uniform(-1.5, 1.5, DRAWS) + dice.uniform(-1.0, 1.0, DRAWS)
    other = dice.uniform(-0.8, 0.8, DRAWS)
    spreads = []
    for hot_k, cold_k in zip(wire, other, strict=True):
        drawn = _spread(HOT_C + hot_k, COLD_C + cold_k)
        assert isinstance(drawn, Measured)
        spreads.append(drawn.value)
    assert _standard(_weigh(CHAINS)) == pytest.approx(float(np.std(spreads)), rel=0.05)


def test_the_widest_of_many_noisy_moments_is_within_its_uncertainty_of_the_true_one() -> None:
    dice = np.random.default_rng(418)
    chains = dict.fromkeys(CHAINS, MeasurementUncertainty(noise_k=0.5))
    within = 0
    for _ in range(200):
        hot_c, cold_c = (values + dice.normal(0.0, 0.5, TIME_S.size) for values in (HOT_C, COLD_C))
        drawn, weighed = _spread(hot_c, cold_c), _weigh(chains, hot_c=hot_c, cold_c=cold_c)
        assert isinstance(drawn, Measured)
        assert isinstance(weighed, Expanded)
        within += abs(drawn.value - 9.0) <= weighed.expanded
    assert within >= 0.95 * 200


def test_a_chain_known_exactly_leaves_the_other_one_alone() -> None:
    chains = {"hot": MeasurementUncertainty(), "cold": CHAINS["cold"]}
    weighed = _weigh(chains)
    assert _standard(weighed) == pytest.approx(0.8 / 3.0**0.5)
    assert isinstance(weighed, Expanded)
    assert [part.source for part in weighed.contributions] == [Source.THERMOCOUPLE]


def test_a_spread_of_channels_without_a_chain_has_no_uncertainty() -> None:
    assert _weigh({}) is None
    assert _weigh({"hot": CHAINS["hot"]}) is None


def test_a_spread_beyond_the_class_of_a_wire_cannot_say() -> None:
    short = {"hot": CHAINS["hot"], "cold": MeasurementUncertainty(replace(WIRE, highest_c=200.0))}
    assert isinstance(_weigh(short), CannotSay)


def test_a_spread_without_a_value_has_an_uncertainty_that_says_why() -> None:
    cool = {"hot_c": HOT_C - 100.0, "cold_c": COLD_C - 100.0}
    weighed = _weigh(CHAINS, **cool)
    assert weighed == CannotSay("No channel is above 217 °C.")


def test_the_spread_at_the_coldest_peak_is_weighed_at_its_own_moment() -> None:
    traces = {"hot": read_trace(TIME_S, HOT_C), "cold": read_trace(TIME_S, COLD_C)}
    spread = compute_spread_at_coldest_peak(list(traces.values()))
    assert _standard(weigh_difference(traces, spread, CHAINS)) == pytest.approx(
        _standard(_weigh(CHAINS))
    )
