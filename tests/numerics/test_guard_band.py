"""Conformity by the guard band.

The three probabilities are the worked examples of JCGM 106:2012, clause 7 (a diode's breakdown
voltage, the burst strength of a container, the viscosity of an oil), from memory: confirm against
your copy. Their arithmetic is checked here to more digits than are printed there.
"""

import math
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.guard_band import (
    Conformity,
    DecisionRule,
    UndecidableLimit,
    compute_conformance_probability,
    decide,
)

INSIDE, OUTSIDE, TOO_CLOSE = Conformity
SIMPLE = DecisionRule.SIMPLE

numbers = st.floats(-1e6, 1e6, allow_nan=False)
uncertainties = st.floats(0.0, 1e4, allow_nan=False)


@pytest.mark.parametrize(
    ("value", "u", "lower", "upper", "printed"),
    [
        (-5.47, 0.05, None, -5.40, 0.92),
        (509.7, 8.6, 490.0, None, 0.99),
        (13.6, 1.8, 12.5, 16.3, 0.66),
    ],
)
def test_the_published_probabilities_come_out(
    value: float, u: float, lower: float | None, upper: float | None, printed: float
) -> None:
    found = compute_conformance_probability(value, u, lower=lower, upper=upper)
    normal = NormalDist(value, u)
    exact = (1.0 if upper is None else normal.cdf(upper)) - (
        0.0 if lower is None else normal.cdf(lower)
    )
    assert found == pytest.approx(exact, abs=1e-12)
    assert round(found, 2) == printed


def test_a_value_at_the_edge_of_guarded_acceptance_conforms_in_977_cases_of_a_thousand() -> None:
    found = compute_conformance_probability(248.0, 1.0, upper=250.0)
    assert found == pytest.approx(0.97725, abs=1e-5)
    assert decide(248.0, 2.0, upper=250.0) is INSIDE


def test_small_probabilities_keep_their_digits() -> None:
    found = compute_conformance_probability(20.0, 1.0, lower=0.0, upper=10.0)
    assert found == pytest.approx(math.erfc(10.0 / math.sqrt(2.0)) / 2.0, rel=1e-9)
    assert found > 0.0


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (227.9, OUTSIDE),
        (228.0, TOO_CLOSE),
        (230.0, TOO_CLOSE),
        (231.9, TOO_CLOSE),
        (232.0, INSIDE),
        (240.0, INSIDE),
        (248.0, INSIDE),
        (248.1, TOO_CLOSE),
        (252.0, TOO_CLOSE),
        (252.1, OUTSIDE),
    ],
)
def test_a_peak_of_230_to_250_with_two_kelvin_of_uncertainty(value: float, said: str) -> None:
    assert decide(value, 2.0, lower=230.0, upper=250.0) is said


@pytest.mark.parametrize(
    ("value", "said"), [(229.9, OUTSIDE), (230.0, INSIDE), (250.0, INSIDE), (250.1, OUTSIDE)]
)
def test_simple_acceptance_knows_no_too_close(value: float, said: str) -> None:
    assert decide(value, 2.0, lower=230.0, upper=250.0, rule=SIMPLE) is said


def test_limits_closer_than_twice_the_uncertainty_accept_nothing() -> None:
    said = {decide(value / 10, 2.0, lower=60.0, upper=63.0) for value in range(500, 750)}
    assert said == {OUTSIDE, TOO_CLOSE}


@given(numbers, uncertainties, uncertainties, numbers, st.floats(0.0, 1e5))
def test_more_uncertainty_never_turns_an_answer_into_a_firmer_one(
    value: float, less: float, more: float, lower: float, width: float
) -> None:
    less, more = sorted((less, more))
    upper = lower + width
    before = decide(value, less, lower=lower, upper=upper)
    after = decide(value, more, lower=lower, upper=upper)
    assert after in {before, TOO_CLOSE}


@given(st.lists(numbers, min_size=2, max_size=8), uncertainties, numbers)
def test_against_an_upper_limit_a_larger_value_is_never_better(
    values: list[float], expanded: float, upper: float
) -> None:
    order = [INSIDE, TOO_CLOSE, OUTSIDE]
    ranks = [order.index(decide(value, expanded, upper=upper)) for value in sorted(values)]
    assert ranks == sorted(ranks)


@given(numbers, uncertainties, numbers)
def test_a_lower_limit_mirrors_an_upper_one(value: float, expanded: float, limit: float) -> None:
    assert decide(value, expanded, upper=limit) is decide(-value, expanded, lower=-limit)


@given(numbers, st.floats(1e-3, 1e4), numbers, st.floats(0.0, 1e5))
def test_inside_is_likely_and_outside_is_not(
    value: float, u: float, lower: float, width: float
) -> None:
    upper = lower + width
    found = compute_conformance_probability(value, u, lower=lower, upper=upper)
    assert 0.0 <= found <= 1.0
    said = decide(value, 2.0 * u, lower=lower, upper=upper)
    # Two limits may both be near: 2.28 % beyond each.
    assert said is not INSIDE or found >= 0.9544
    assert said is not OUTSIDE or found <= 0.0228


def test_without_uncertainty_it_is_certain() -> None:
    assert compute_conformance_probability(250.0, 0.0, upper=250.0) == 1.0
    assert compute_conformance_probability(250.1, 0.0, upper=250.0) == 0.0
    assert decide(250.0, 0.0, upper=250.0) is INSIDE


@pytest.mark.parametrize(
    ("value", "expanded", "lower", "upper"),
    [
        (1.0, 1.0, None, None),
        (math.nan, 1.0, 0.0, None),
        (1.0, math.nan, 0.0, None),
        (1.0, -0.1, 0.0, None),
        (1.0, math.inf, 0.0, None),
        (1.0, 1.0, 2.0, 1.0),
        (1.0, 1.0, None, math.inf),
    ],
)
def test_what_cannot_be_decided_is_refused(
    value: float, expanded: float, lower: float | None, upper: float | None
) -> None:
    with pytest.raises(UndecidableLimit):
        decide(value, expanded, lower=lower, upper=upper)
    with pytest.raises(UndecidableLimit):
        compute_conformance_probability(value, expanded, lower=lower, upper=upper)
