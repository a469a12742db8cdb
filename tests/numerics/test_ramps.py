"""Ramps over a window, against values recomputed with exact rational arithmetic or formulas."""

import math

import numpy as np
import pytest
from numpy.typing import ArrayLike

from app.numerics.ramps import UnusableWindow, compute_largest_ramps
from app.numerics.trace import read_trace
from app.numerics.values import CannotSay, Measured, Outcome, Unit

SOAK_PROFILE = (
    [0.0, 100.0, 190.0, 230.0, 250.0, 340.0],
    [25.0, 150.0, 180.0, 240.0, 240.0, 60.0],
)


def _measured(outcome: Outcome) -> Measured:
    assert isinstance(outcome, Measured)
    assert outcome.unit is Unit.KELVIN_PER_SECOND
    return outcome


def _ramps(
    time_s: ArrayLike, temperature_c: ArrayLike, window_s: float
) -> tuple[Measured, Measured]:
    rise, fall = compute_largest_ramps(read_trace(time_s, temperature_c), window_s)
    return _measured(rise), _measured(fall)


def test_a_triangle_rises_and_falls_at_one_kelvin_a_second() -> None:
    rise, fall = _ramps([0.0, 220.0, 440.0], [25.0, 245.0, 25.0], 5.0)
    assert rise.value == pytest.approx(1.0, abs=1e-12)
    assert fall.value == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    ("window_s", "rise_k_per_s", "slope_down_k_per_s"),
    [
        (1.0, 1.5, -2.0),
        (2.0, 1.5, -2.0),
        (5.0, 1.5, -2.0),
        (10.0, 1.5, -2.0),
        (20.0, 1.5, -2.0),
        (30.0, 1.5, -2.0),
        (60.0, 1.25, -2.0),
        (100.0, 1.25, -1.8),
    ],
)
def test_the_soak_profile_ramps_as_reckoned(
    window_s: float, rise_k_per_s: float, slope_down_k_per_s: float
) -> None:
    rise, fall = _ramps(*SOAK_PROFILE, window_s)
    assert rise.value == pytest.approx(rise_k_per_s, abs=1e-12)
    assert fall.value == pytest.approx(-slope_down_k_per_s, abs=1e-12)


def test_the_moment_of_a_ramp_is_the_start_of_its_window() -> None:
    rise, fall = _ramps([0, 10, 14, 20, 22, 40], [20, 20, 40, 40, 10, 28], 4.0)
    assert (rise.value, rise.at_s) == (5.0, 10.0)
    assert (fall.value, fall.at_s) == (7.5, 18.0)


@pytest.mark.parametrize(
    ("window_s", "slope_k_per_s"),
    [
        (1.0, 3.636280159244152),
        (2.0, 3.6062289469793507),
        (5.0, 3.5180457563097756),
        (10.0, 3.3774020524064894),
        (30.0, 2.8854418287740216),
    ],
)
def test_an_exponential_is_steepest_in_its_first_window(
    window_s: float, slope_k_per_s: float
) -> None:
    """T = 25 + 220 (1 - exp(-t / 60)); the instantaneous slope at 0 is 3.667 K/s."""
    time_s = np.arange(0.0, 241.0, 1.0)
    rise, _ = _ramps(time_s, 25.0 + 220.0 * (1.0 - np.exp(-time_s / 60.0)), window_s)
    assert rise.value == pytest.approx(slope_k_per_s, abs=1e-12)
    assert rise.at_s == 0.0


@pytest.mark.parametrize(
    ("window_s", "slope_k_per_s"),
    [
        (1.0, 1.5691819145568988),
        (2.0, 1.5643446504023086),
        (5.0, 1.5307337294603591),
        (10.0, 1.414213562373095),
        (20.0, 1.0),
        (40.0, 0.0),
    ],
)
def test_a_sinusoid_ramps_by_the_formula(window_s: float, slope_k_per_s: float) -> None:
    """T = 150 + 10 sin(2 pi t / 40): the largest mean slope over w is (20 / w) sin(pi w / 40)."""
    time_s = np.arange(-400, 2001) / 16.0
    rise, fall = _ramps(time_s, 150.0 + 10.0 * np.sin(2.0 * math.pi * time_s / 40.0), window_s)
    assert rise.value == pytest.approx(slope_k_per_s, abs=1e-9)
    assert fall.value == pytest.approx(slope_k_per_s, abs=1e-9)


def test_no_window_anywhere_beats_the_largest_ramp() -> None:
    """A fine search over window starts comes close to the exact value and never over it."""
    rng = np.random.default_rng(20)
    time_s = np.cumsum(rng.uniform(0.2, 3.0, 60))
    temperature_c = np.cumsum(rng.normal(0.0, 4.0, 60))
    rise, fall = _ramps(time_s, temperature_c, 5.0)
    starts = np.linspace(time_s[0], time_s[-1] - 5.0, 200_001)
    slopes = (
        np.interp(starts + 5.0, time_s, temperature_c) - np.interp(starts, time_s, temperature_c)
    ) / 5.0
    assert slopes.max() <= rise.value + 1e-12
    assert slopes.max() == pytest.approx(rise.value, abs=1e-2)
    assert -slopes.min() <= fall.value + 1e-12
    assert -slopes.min() == pytest.approx(fall.value, abs=1e-2)


def test_a_trace_that_only_rises_has_a_negative_largest_fall() -> None:
    _, fall = _ramps([0, 10, 20], [20, 30, 50], 5.0)
    assert fall.value == -1.0


def test_a_trace_as_long_as_the_window_has_one_window() -> None:
    rise, fall = _ramps([0.1, 0.3], [20.0, 21.0], 0.2)
    assert rise.value == pytest.approx(5.0)
    assert fall.value == pytest.approx(-5.0)


def test_a_trace_shorter_than_the_window_cannot_say() -> None:
    rise, fall = compute_largest_ramps(read_trace([0, 4], [20, 30]), 5.0)
    assert rise == fall == CannotSay("The trace is shorter than the ramp window of 5 s.")


@pytest.mark.parametrize("window_s", [0.0, -1.0, math.nan, math.inf])
def test_a_window_that_is_no_time_is_refused(window_s: float) -> None:
    with pytest.raises(UnusableWindow, match="no time above 0 s"):
        compute_largest_ramps(read_trace([0, 4], [20, 30]), window_s)
