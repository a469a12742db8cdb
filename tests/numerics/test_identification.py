"""Time constant and dead time of answers whose own are known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.cut import UnusablePart
from app.numerics.identification import (
    EXACT_FRACTIONS,
    ROUNDED_FRACTIONS,
    StepAnswer,
    TwoPointAnswer,
    fit_step,
    read_step_two_points,
)
from app.numerics.trace import FloatArray, Trace, read_trace
from app.numerics.values import CannotSay


def _answer(time_s: FloatArray, *, tau: float, theta: float, start: float, change: float) -> Trace:
    since = np.maximum(time_s - theta, 0.0)
    return read_trace(time_s, start + change * (1.0 - np.exp(-since / tau)))


def _fit(trace: Trace, *, final_c: float | None = None) -> StepAnswer:
    fitted = fit_step(trace, final_c=final_c)
    assert isinstance(fitted, StepAnswer)
    return fitted


def _read(trace: Trace, final_c: float, fractions: tuple[float, float]) -> TwoPointAnswer:
    read = read_step_two_points(
        trace,
        step_at_s=0.0,
        until_s=float(trace.time_s[-1]),
        baseline_c=float(trace.temperature_c[0]),
        final_c=final_c,
        fractions=fractions,
    )
    assert isinstance(read, TwoPointAnswer)
    return read


# 1/(s+1)³ answers a step with 1 − e^(−t)·(1 + t + t²/2); values recomputed by an independent
# least-squares and a root-finding program.
THIRD_ORDER_S = np.arange(1501) * 0.01
THIRD_ORDER = read_trace(
    THIRD_ORDER_S,
    1.0 - np.exp(-THIRD_ORDER_S) * (1.0 + THIRD_ORDER_S + THIRD_ORDER_S**2 / 2.0),
)


def test_least_squares_of_a_third_order_answer() -> None:
    fitted = _fit(THIRD_ORDER, final_c=1.0)
    assert fitted.time_constant_s == pytest.approx(1.998054, abs=2e-6)
    assert fitted.dead_time_s == pytest.approx(1.125371, abs=2e-6)
    assert fitted.rms_k == pytest.approx(0.022860, abs=1e-6)
    assert fitted.reading_count == 1501


def test_a_fitted_final_value_can_only_fit_better() -> None:
    free = _fit(THIRD_ORDER)
    assert free.rms_k < _fit(THIRD_ORDER, final_c=1.0).rms_k
    assert free.final_c == pytest.approx(1.0145, abs=1e-4)


def test_two_points_of_a_third_order_answer() -> None:
    # The reference values are of the rounded fractions 0.283 and 0.632.
    read = _read(THIRD_ORDER, 1.0, ROUNDED_FRACTIONS)
    assert read.at_28_s == pytest.approx(1.850736, abs=2e-6)
    assert read.at_63_s == pytest.approx(3.257662, abs=5e-6)
    assert read.time_constant_s == pytest.approx(2.110389, abs=1e-5)
    assert read.dead_time_s == pytest.approx(1.147273, abs=1e-5)


def test_exact_fractions_read_a_first_order_answer_exactly() -> None:
    """Marlin, Process Control, Example 6.1 (numbers from memory): 5.7 and 9.7 min, τ 6, θ 3.7."""
    trace = _answer(np.linspace(0.0, 60.0, 60_001), tau=6.0, theta=3.7, start=50.0, change=13.1)
    exact = _read(trace, 63.1, EXACT_FRACTIONS)
    assert exact.at_28_s == pytest.approx(5.7, abs=1e-6)
    assert exact.at_63_s == pytest.approx(9.7, abs=1e-6)
    assert exact.time_constant_s == pytest.approx(6.0, abs=1e-6)
    assert exact.dead_time_s == pytest.approx(3.7, abs=1e-6)
    rounded = _read(trace, 63.1, ROUNDED_FRACTIONS)
    assert rounded.time_constant_s == pytest.approx(6.002936, abs=1e-6)


def test_least_squares_of_an_answer_that_first_goes_the_wrong_way() -> None:
    """0.05(1−2s)/(25s²+10s+1), Kantor, CBE30338 notebook 03.04; fit recomputed elsewhere."""
    t = np.linspace(0.0, 35.0, 100)
    y = 5.0 * (1.0 - (1.0 + t / 5.0) * np.exp(-t / 5.0)) - 10.0 * (t / 25.0) * np.exp(-t / 5.0)
    fitted = _fit(read_trace(t, y))
    assert fitted.change_k == pytest.approx(5.1923634, abs=1e-5)
    assert fitted.time_constant_s == pytest.approx(8.855939, abs=1e-5)
    assert fitted.dead_time_s == pytest.approx(4.131454, abs=1e-5)
    read = _read(read_trace(t, y), 5.0, ROUNDED_FRACTIONS)
    assert read.time_constant_s == pytest.approx(8.0383, abs=0.05)


@given(
    tau=st.floats(2.0, 60.0),
    theta=st.floats(0.0, 40.0),
    change=st.one_of(st.floats(-300.0, -1.0), st.floats(1.0, 300.0)),
    start=st.floats(-20.0, 260.0),
)
def test_what_made_the_answer_is_found_again(
    tau: float, theta: float, change: float, start: float
) -> None:
    trace = _answer(np.arange(0.0, 200.0, 0.5), tau=tau, theta=theta, start=start, change=change)
    fitted = _fit(trace)
    assert fitted.rms_k <= 2e-3 * abs(change)
    assert fitted.time_constant_s == pytest.approx(tau, rel=0.02)
    assert fitted.dead_time_s == pytest.approx(theta, abs=0.25)
    assert fitted.change_k == pytest.approx(change, rel=0.02)


def test_noise_moves_the_result_only_a_little() -> None:
    clean = _answer(np.arange(0.0, 400.0, 1.0), tau=75.0, theta=4.0, start=24.0, change=220.0)
    noise = np.random.default_rng(7).normal(0.0, 0.5, clean.time_s.size)
    fitted = fit_step(read_trace(clean.time_s, clean.temperature_c + noise), baseline_c=24.0)
    assert isinstance(fitted, StepAnswer)
    assert fitted.time_constant_s == pytest.approx(75.0, abs=0.5)
    assert fitted.dead_time_s == pytest.approx(4.0, abs=0.3)
    assert fitted.rms_k == pytest.approx(0.5, abs=0.05)


def test_no_nearby_values_fit_better() -> None:
    fitted = _fit(THIRD_ORDER, final_c=1.0)
    for tau_by, theta_by in ((0.01, 0.0), (-0.01, 0.0), (0.0, 0.01), (0.0, -0.01), (0.01, -0.01)):
        since = np.maximum(THIRD_ORDER_S - fitted.dead_time_s - theta_by, 0.0)
        model = 1.0 - np.exp(-since / (fitted.time_constant_s + tau_by))
        rms = math.sqrt(float(np.mean((THIRD_ORDER.temperature_c - model) ** 2)))
        assert rms > fitted.rms_k


@given(shift_s=st.floats(-1e4, 1e4), scale=st.floats(0.1, 10.0))
def test_moments_and_scales_change_nothing(shift_s: float, scale: float) -> None:
    trace = _answer(np.arange(0.0, 60.0, 0.7), tau=8.0, theta=3.0, start=25.0, change=100.0)
    moved = _fit(read_trace(trace.time_s * scale + shift_s, trace.temperature_c))
    assert moved.time_constant_s == pytest.approx(8.0 * scale, rel=1e-4)
    assert moved.dead_time_s == pytest.approx(3.0 * scale, rel=1e-3)


def test_a_dead_time_counts_from_the_step() -> None:
    trace = _answer(np.arange(0.0, 100.0, 0.5), tau=10.0, theta=32.0, start=25.0, change=100.0)
    fitted = fit_step(trace, step_at_s=30.0)
    assert isinstance(fitted, StepAnswer)
    assert fitted.dead_time_s == pytest.approx(2.0, abs=1e-6)
    read = read_step_two_points(trace, step_at_s=30.0, until_s=99.0, baseline_c=25.0, final_c=125.0)
    assert isinstance(read, TwoPointAnswer)
    assert read.dead_time_s == pytest.approx(2.0, abs=0.02)


def test_an_answer_already_under_way_has_its_dead_time_at_the_limit() -> None:
    t = np.arange(0.0, 60.0, 0.5)
    fitted = fit_step(read_trace(t, 100.0 * (1.0 - np.exp(-(t + 3.0) / 10.0))), baseline_c=0.0)
    assert isinstance(fitted, StepAnswer)
    assert (fitted.dead_time_s, fitted.is_dead_time_at_limit) == (0.0, True)


@pytest.mark.parametrize(
    "temperature_c",
    [
        [25.0] * 10,
        [25.0 + 3.0 * place for place in range(10)],
        [25.0 + float(place) ** 2 for place in range(10)],
    ],
    ids=["flat", "ramp", "parabola"],
)
def test_what_is_no_step_cannot_say(temperature_c: list[float]) -> None:
    assert isinstance(fit_step(read_trace(range(10), temperature_c)), CannotSay)


def test_too_few_readings_cannot_say() -> None:
    few = read_trace([0.0, 1.0, 2.0, 3.0], [0.0, 1.0, 2.0, 2.0])
    assert isinstance(fit_step(few), CannotSay)
    assert isinstance(fit_step(read_trace([], [])), CannotSay)
    assert isinstance(fit_step(THIRD_ORDER, step_at_s=14.97), CannotSay)
    assert isinstance(
        read_step_two_points(few, step_at_s=0.0, until_s=3.0, baseline_c=0.0, final_c=2.0),
        CannotSay,
    )


@pytest.mark.parametrize(
    ("baseline_c", "final_c", "words"),
    [(0.0, 0.0, "no change"), (0.0, 3.0, "does not reach"), (-2.0, 1.0, "starts beyond")],
)
def test_two_points_that_are_not_there_cannot_say(
    baseline_c: float, final_c: float, words: str
) -> None:
    read = read_step_two_points(
        THIRD_ORDER, step_at_s=0.0, until_s=15.0, baseline_c=baseline_c, final_c=final_c
    )
    assert isinstance(read, CannotSay)
    assert words in read.reason


def test_a_step_after_the_trace_is_refused() -> None:
    with pytest.raises(UnusablePart):
        fit_step(THIRD_ORDER, step_at_s=20.0)
