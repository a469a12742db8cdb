"""Where a trace answers a step, and when no number may be given."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.cut import UnusablePart
from app.numerics.identification import StepAnswer, TwoPointAnswer
from app.numerics.lumped import Body, Surroundings, compute_lumped, compute_temperature_after
from app.numerics.step_judgement import StepJudgement, judge_step
from app.numerics.step_stretch import StepStretch, find_steepest_stretch
from app.numerics.trace import FloatArray, Trace, read_trace
from app.numerics.values import CannotSay


def _answer(time_s: FloatArray, *, tau: float, theta: float, start: float, final: float) -> Trace:
    since = np.maximum(time_s - theta, 0.0)
    return read_trace(time_s, final + (start - final) * np.exp(-since / tau))


def _judge(trace: Trace, from_s: float | None = None, to_s: float | None = None) -> StepJudgement:
    return judge_step(
        trace,
        from_s=float(trace.time_s[0]) if from_s is None else from_s,
        to_s=float(trace.time_s[-1]) if to_s is None else to_s,
    )


def _fit(judgement: StepJudgement) -> StepAnswer:
    assert judgement.reasons == ()
    assert isinstance(judgement.fit, StepAnswer)
    return judgement.fit


def _two(judgement: StepJudgement) -> TwoPointAnswer:
    assert isinstance(judgement.two_points, TwoPointAnswer)
    return judgement.two_points


def test_a_plate_thermometer_put_into_a_furnace() -> None:
    """A curve with the answer of a published furnace record: τ 75.040 s, θ 4.097 s.

    Plate thermometer of a fire laboratory's open records (National Institute of Standards and
    Technology), every 5 s from 23.9 °C to 479.7055 °C; least squares over 1065 s recomputed from
    the record by two programs.
    """
    exact = _answer(
        np.arange(0.0, 1066.0, 5.0), tau=75.040, theta=4.097, start=23.9, final=479.7055
    )
    recorded = read_trace(exact.time_s, np.round(exact.temperature_c, 1))
    judgement = _judge(recorded)
    fit = _fit(judgement)
    assert fit.time_constant_s == pytest.approx(75.040, abs=0.02)
    assert fit.dead_time_s == pytest.approx(4.097, abs=0.02)
    assert fit.final_c == pytest.approx(479.7055, abs=0.02)
    # Straight lines between readings 5 s apart: within half a per cent.
    assert _two(judgement).time_constant_s == pytest.approx(75.040, rel=0.005)
    assert judgement.noise_k < 0.06


def test_a_bead_in_hot_gas_has_the_time_constant_of_its_sum() -> None:
    """Incropera & DeWitt, Example 5.1: ρ 8500, c 400, 0.706 mm, h 400: τ 1 s, 199 °C at 5.16 s."""
    body = Body(8500.0, 400.0, 20.0, length_m=0.706e-3 / 6.0)
    around = Surroundings(gas_c=200.0, film_w_per_m2_k=400.0)
    moments = np.arange(0.0, 8.0, 0.05)
    heated = [
        compute_temperature_after(body, around, from_c=25.0, time_s=float(moment))
        for moment in moments
    ]
    fit = _fit(_judge(read_trace(moments, heated)))
    assert fit.time_constant_s == pytest.approx(1.0, abs=0.001)
    lump = compute_lumped(body, around, body_c=25.0)
    assert fit.time_constant_s == pytest.approx(lump.time_constant_s, rel=1e-6)
    assert np.interp(5.16, moments, heated) == pytest.approx(199.0, abs=0.01)


def test_a_junction_in_a_gas_stream_has_the_time_constant_of_its_sum() -> None:
    """Cengel, Heat and Mass Transfer, Example 4-1: D 1 mm, k 35, ρ 8500, c 320, h 210.

    1/τ = 0.462 per s in the book (from memory), 0.463235 recomputed.
    """
    body = Body(8500.0, 320.0, 35.0, length_m=0.001 / 6.0)
    around = Surroundings(gas_c=100.0, film_w_per_m2_k=210.0)
    moments = np.arange(0.0, 20.0, 0.1)
    heated = [
        compute_temperature_after(body, around, from_c=0.0, time_s=float(moment))
        for moment in moments
    ]
    fit = _fit(_judge(read_trace(moments, heated)))
    assert 1.0 / fit.time_constant_s == pytest.approx(0.463235, abs=1e-6)


@given(
    tau=st.floats(5.0, 40.0),
    theta=st.floats(0.0, 20.0),
    change=st.one_of(st.floats(-200.0, -30.0), st.floats(30.0, 200.0)),
    before_s=st.floats(5.0, 60.0),
)
def test_the_steepest_stretch_of_a_step_gives_its_time_constant(
    tau: float, theta: float, change: float, before_s: float
) -> None:
    trace = _answer(
        np.arange(0.0, 300.0, 0.5), tau=tau, theta=before_s + theta, start=60.0, final=60.0 + change
    )
    found = find_steepest_stretch(trace)
    assert isinstance(found, StepStretch)
    assert before_s + theta - 1.0 <= found.from_s <= before_s + theta + 0.1 * tau + 0.5
    # It begins where the trace had risen by 5 % of the steepest at most, and ends within 1 %.
    assert found.change_k == pytest.approx(change, rel=0.06)
    fit = _fit(_judge(trace, found.from_s, found.to_s))
    assert fit.time_constant_s == pytest.approx(tau, rel=0.02)


def test_the_steepest_of_several_changes_is_found() -> None:
    trace = read_trace([0, 100, 200, 210, 400, 500, 520, 700], [25, 25, 75, 76, 76, 76, 226, 226])
    dense_s = np.arange(0.0, 701.0)
    found = find_steepest_stretch(
        read_trace(dense_s, np.interp(dense_s, trace.time_s, trace.temperature_c))
    )
    assert isinstance(found, StepStretch)
    assert 480.0 <= found.from_s <= 502.0
    assert found.to_s == 700.0
    assert found.change_k == pytest.approx(150.0, abs=4.0)


def test_a_trace_without_a_change_has_no_steepest_stretch() -> None:
    flat = find_steepest_stretch(read_trace(range(20), [25.0 + 0.1 * (n % 3) for n in range(20)]))
    assert isinstance(flat, CannotSay)
    assert "less than 5 K" in flat.reason
    assert isinstance(find_steepest_stretch(read_trace([0, 1], [0, 100])), CannotSay)
    assert isinstance(find_steepest_stretch(read_trace([], [])), CannotSay)


TIME_S = np.arange(0.0, 400.0, 1.0)
NOISE = np.random.default_rng(11).normal(0.0, 1.0, TIME_S.size)
STEP = _answer(TIME_S, tau=30.0, theta=10.0, start=25.0, final=225.0)
RAMP_TO_PLATEAU = read_trace(TIME_S, np.interp(TIME_S, [0, 20, 120, 400], [25, 25, 225, 225]))


@pytest.mark.parametrize(
    ("trace", "to_s", "words"),
    [
        (read_trace(TIME_S, STEP.temperature_c + 8.0 * NOISE), None, "Too noisy"),
        (STEP, 60.0, "Too short: the stretch ends 1.7 time constants"),
        (RAMP_TO_PLATEAU, None, "Not a step: beyond their noise"),
        (_answer(TIME_S, tau=1.5, theta=10.0, start=25.0, final=225.0), None, "Too coarse"),
        (read_trace(TIME_S, 25.0 + 0.4 * TIME_S), None, "no step"),
        (read_trace(TIME_S, np.full(TIME_S.size, 25.0)), None, "does not change"),
        (STEP, 3.0, "5 readings or more"),
    ],
)
def test_what_does_not_hold_says_why(trace: Trace, to_s: float | None, words: str) -> None:
    judgement = _judge(trace, to_s=to_s)
    assert not judgement.holds
    assert any(words in reason for reason in judgement.reasons), judgement.reasons


def test_cooling_by_radiation_is_no_step_of_first_order() -> None:
    """A thin plate at 480 °C taken out into a room: most of its heat goes by radiation."""
    body = Body(7800.0, 500.0, 25.0, length_m=0.0007)
    around = Surroundings(gas_c=25.0, film_w_per_m2_k=3.0, walls_c=25.0, emissivity=0.9)
    moments = np.arange(0.0, 900.0, 5.0)
    cooled = [
        compute_temperature_after(body, around, from_c=480.0, time_s=float(moment))
        for moment in moments
    ]
    judgement = _judge(read_trace(moments, cooled))
    assert any("Not a step" in reason for reason in judgement.reasons)


def test_an_ordinary_cooling_tail_is_no_step() -> None:
    """Two masses, the joint behind the package, when the gas turns cold within some seconds."""
    time_s = np.arange(0.0, 130.0, 0.25)
    gas_c = 25.0 + 285.0 * np.exp(-time_s / 8.0)
    package_c = joint_c = 240.0
    cooled = []
    for now_c in gas_c:
        package_c += (now_c - package_c) * 0.25 / 24.0
        joint_c += (package_c - joint_c) * 0.25 / 4.0
        cooled.append(joint_c)
    trace = read_trace(time_s, np.round(cooled, 1))
    found = find_steepest_stretch(trace)
    assert isinstance(found, StepStretch)
    judgement = _judge(trace, found.from_s, found.to_s)
    assert not judgement.holds
    assert any("Not a step of first order" in reason for reason in judgement.reasons)


def test_the_uncertainty_of_the_fit_is_that_of_many_noisy_steps() -> None:
    """Monte Carlo, JCGM 101: the fitted τ and θ of 60 steps with noise of 1 K scatter by U/2."""
    fits = []
    for seed in range(60):
        noise = np.random.default_rng(seed).normal(0.0, 1.0, TIME_S.size)
        fits.append(_fit(_judge(read_trace(TIME_S, STEP.temperature_c + noise), from_s=8.0)))
    for name in ("time_constant_s", "dead_time_s"):
        scatter = float(np.std([getattr(fit, name) for fit in fits], ddof=1))
        told = float(np.mean([getattr(fit, f"expanded_{name}") for fit in fits])) / 2.0
        assert told == pytest.approx(scatter, rel=0.35)


def test_a_curve_that_is_not_met_is_less_certain_than_its_noise() -> None:
    bent = STEP.temperature_c + 0.5 * np.sin(TIME_S / 20.0)
    noisy = STEP.temperature_c + 0.5 * NOISE / np.sqrt(2.0)
    wrong, right = (_judge(read_trace(TIME_S, values)).fit for values in (bent, noisy))
    assert isinstance(wrong, StepAnswer)
    assert isinstance(right, StepAnswer)
    assert wrong.expanded_time_constant_s is not None
    assert right.expanded_time_constant_s is not None
    assert wrong.expanded_time_constant_s > 3.0 * right.expanded_time_constant_s


def test_noise_within_bounds_is_estimated_and_forgiven() -> None:
    judgement = _judge(read_trace(TIME_S, STEP.temperature_c + 0.5 * NOISE))
    fit = _fit(judgement)
    assert judgement.noise_k == pytest.approx(0.5, rel=0.15)
    assert fit.time_constant_s == pytest.approx(30.0, rel=0.02)
    assert float(np.sqrt(np.mean(judgement.residual_k**2))) == pytest.approx(fit.rms_k)


def test_a_long_stretch_is_thinned_and_says_so() -> None:
    moments = np.arange(0.0, 500.0, 0.01)
    judgement = _judge(_answer(moments, tau=40.0, theta=5.0, start=25.0, final=225.0))
    assert judgement.taken_every == 3
    assert judgement.time_s.size <= 20_000
    assert _fit(judgement).time_constant_s == pytest.approx(40.0, rel=1e-4)


def test_a_stretch_without_time_is_refused() -> None:
    with pytest.raises(UnusablePart):
        judge_step(STEP, from_s=10.0, to_s=10.0)
