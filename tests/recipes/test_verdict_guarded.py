"""The guard band: a value nearer to its limit than its uncertainty is too close to call."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.metrics import analyse_channel, analyse_site
from app.numerics.recording import SiteAnalysis
from app.numerics.thermocouple_limits import ThermocoupleType, ToleranceClass, get_tolerance
from app.numerics.uncertainty import (
    Expanded,
    MeasurementUncertainty,
    Source,
    compute_uncertainty,
)
from app.numerics.uncertainty.budget import expand
from app.numerics.values import CannotSay, Measured, NotReached, Unit
from app.recipes.body.setup import Thermocouple
from app.recipes.body.window import Limit, Metric, Window
from app.recipes.verdict import ChannelReading, DecisionRule, Verdict, VerdictState, judge
from app.recipes.verdict_line import Reached, VerdictLine, judge_outcome
from app.traces.rules import ChannelRole

CENTRE = ChannelRole.JOINT_CENTRE
PEAK = Limit(metric=Metric.PEAK_C, roles=(CENTRE,), lower=230, upper=245)
ABOVE = Limit(metric=Metric.TIME_ABOVE_LIQUIDUS_S, roles=(CENTRE,), lower=30)
TO_PEAK = Limit(metric=Metric.TIME_25_TO_PEAK_S, roles=(CENTRE,), upper=480)
COOLING = Limit(metric=Metric.SOAK_TIME_S, roles=(CENTRE,), lower=60)

INSIDE, OUTSIDE = VerdictState.INSIDE, VerdictState.OUTSIDE
TOO_CLOSE, CANNOT_SAY = VerdictState.TOO_CLOSE, VerdictState.CANNOT_SAY


def about(expanded: float, *, is_censored: bool = False) -> Expanded:
    return expand({Source.THERMOCOUPLE: expanded / 2}, Unit.CELSIUS, is_censored=is_censored)


def hold(
    limit: Limit, value: float, expanded: float, *, is_censored: bool = False, is_open: bool = False
) -> VerdictLine:
    unit = Unit.CELSIUS if limit.unit == "°C" else Unit.SECOND
    return judge_outcome(
        limit,
        "T1",
        Measured(value, unit, is_censored=is_censored),
        about(expanded, is_censored=is_open),
    )


@pytest.mark.parametrize(
    ("value", "state", "reason"),
    [
        (238, INSIDE, ""),
        (242, INSIDE, ""),
        (242.1, TOO_CLOSE, "closer to the upper limit of 245 °C than its uncertainty"),
        (245, TOO_CLOSE, "closer to the upper limit of 245 °C than its uncertainty"),
        (247.9, TOO_CLOSE, "above the upper limit of 245 °C, by less than its uncertainty"),
        (248.1, OUTSIDE, "above the upper limit of 245 °C"),
        (233, INSIDE, ""),
        (229, TOO_CLOSE, "below the lower limit of 230 °C, by less than its uncertainty"),
        (226.9, OUTSIDE, "below the lower limit of 230 °C"),
    ],
)
def test_the_guard_band_is_as_wide_as_the_uncertainty(
    value: float, state: VerdictState, reason: str
) -> None:
    line = hold(PEAK, value, 3.0)
    assert (line.state, line.reason) == (state, reason)
    assert line.uncertainty is not None
    assert line.uncertainty.expanded == 3.0


@pytest.mark.parametrize(
    ("limit", "value", "state"),
    [
        # Above the limit even without what is cut off, and with its uncertainty.
        (PEAK, 249, OUTSIDE),
        (PEAK, 246, CANNOT_SAY),
        (PEAK, 238, CANNOT_SAY),
        (PEAK, 220, CANNOT_SAY),
        # More cannot undo that a lower limit is kept.
        (ABOVE, 34, INSIDE),
        (ABOVE, 31, CANNOT_SAY),
        (ABOVE, 10, CANNOT_SAY),
    ],
)
def test_a_value_that_is_cut_off_shows_only_what_more_of_it_could_not_undo(
    limit: Limit, value: float, state: VerdictState
) -> None:
    assert hold(limit, value, 3.0, is_censored=True).state is state
    # Cut off within its uncertainty is cut off all the same.
    assert hold(limit, value, 3.0, is_open=True).state is state


def test_the_way_to_the_peak_is_counted_from_the_recordings_start_in_a_room_near_25_c() -> None:
    assert hold(TO_PEAK, 300, 12, is_open=True).state is INSIDE
    assert hold(TO_PEAK, 470, 12, is_open=True).state is TOO_CLOSE
    assert hold(TO_PEAK, 300, 12, is_censored=True).state is CANNOT_SAY


def test_a_value_without_an_uncertainty_decides_nothing() -> None:
    measured = Measured(238, Unit.CELSIUS)
    line = judge_outcome(PEAK, "T1", measured, CannotSay("The class ends at 350 °C."))
    assert line.state is CANNOT_SAY
    assert line.reason == "its uncertainty cannot be told: The class ends at 350 °C."
    assert line.value == 238
    assert judge_outcome(PEAK, "T1", measured).state is CANNOT_SAY


@pytest.mark.parametrize(
    ("peak_c", "state"), [(196.9, OUTSIDE), (197.0, TOO_CLOSE), (199.9, TOO_CLOSE)]
)
def test_what_did_not_happen_breaks_a_lower_limit_unless_it_nearly_did(
    peak_c: float, state: VerdictState
) -> None:
    line = judge_outcome(
        COOLING, "T1", NotReached("Never above 200 °C."), reached=Reached(200, peak_c, 3.0)
    )
    assert line.state is state


def test_a_state_is_worse_than_another_in_this_order() -> None:
    assert sorted(VerdictState, key=lambda state: state.severity) == [
        INSIDE,
        TOO_CLOSE,
        CANNOT_SAY,
        OUTSIDE,
    ]


# From 20 °C 1 K/s to 150 °C, 0.5 K/s to 200 °C, 1 K/s to the peak at 270 s, then 2 K/s down.
TIMES_S = (0.0, 130.0, 230.0, 270.0, 380.0)
JOINT_C = (20.0, 150.0, 200.0, 240.0, 20.0)
WIRE = get_tolerance(ThermocoupleType.K, ToleranceClass.IEC_2)


def judge_trace(*limits: Limit, chain: MeasurementUncertainty | None) -> Verdict:
    window = Window(
        alloy="Sn96.5Ag3.0Cu0.5 (SAC305)",
        solidus_c=217,
        liquidus_c=220,
        soak_min_c=150,
        soak_max_c=200,
        limits=limits,
    )
    metrics = analyse_channel(TIMES_S, JOINT_C, liquidus_c=220, soak_min_c=150, soak_max_c=200)
    weighed = (
        None
        if chain is None
        else compute_uncertainty(
            TIMES_S,
            JOINT_C,
            metrics,
            measurement=chain,
            liquidus_c=220,
            soak_min_c=150,
            soak_max_c=200,
        )
    )
    site = analyse_site(TIMES_S, {"T1": JOINT_C}, joints=("T1",), liquidus_c=220)
    nothing = CannotSay("A spread needs two joint channels or more.")
    return judge(
        window,
        plan=(Thermocouple(channel="T1", role=CENTRE, required=True),),
        channels=(ChannelReading("T1", CENTRE, metrics, weighed),),
        site=SiteAnalysis(site, nothing, nothing, nothing, None),
    )


def test_a_peak_within_a_class_2_wire_of_its_limit_is_too_close_and_decides() -> None:
    # ±2.5 K as a rectangle, k = 2: U = 5/√3 = 2.89 K (JCGM 100, 4.3.7).
    near = PEAK.model_copy(update={"upper": 242.0})
    verdict = judge_trace(near, ABOVE_UPPER, chain=MeasurementUncertainty(thermocouple=WIRE))
    assert verdict.state is TOO_CLOSE
    assert verdict.deciding is verdict.lines[0]
    assert verdict.rule is DecisionRule.GUARDED
    assert verdict.lines[0].uncertainty is not None
    assert verdict.lines[0].uncertainty.expanded == pytest.approx(5 / 3**0.5)
    assert verdict.lines[0].uncertainty.contributions[0].source is Source.THERMOCOUPLE


ABOVE_UPPER = Limit(metric=Metric.TIME_ABOVE_LIQUIDUS_S, roles=(CENTRE,), upper=90)


def test_outside_beats_cannot_say_and_that_beats_too_close() -> None:
    chain = MeasurementUncertainty(thermocouple=WIRE)
    near = PEAK.model_copy(update={"upper": 242.0})
    lost = Limit(metric=Metric.SPREAD_K, upper=7)
    far = Limit(metric=Metric.MAX_RAMP_UP_K_PER_S, roles=(CENTRE,), upper=0.5)
    assert judge_trace(near, ABOVE_UPPER, chain=chain).state is TOO_CLOSE
    assert judge_trace(near, lost, chain=chain).state is CANNOT_SAY
    assert judge_trace(near, lost, far, chain=chain).state is OUTSIDE


def test_without_a_measuring_chain_nothing_is_inside() -> None:
    verdict = judge_trace(PEAK, chain=None)
    assert verdict.state is CANNOT_SAY
    assert "no measuring chain" in verdict.lines[0].reason


@given(
    st.floats(min_value=200, max_value=280),
    st.floats(min_value=0, max_value=20),
    st.floats(min_value=0.01, max_value=20),
)
def test_more_uncertainty_never_makes_a_verdict_surer(
    value: float, expanded: float, more: float
) -> None:
    surer, other = hold(PEAK, value, expanded).state, hold(PEAK, value, expanded + more).state
    assert other in {surer, TOO_CLOSE}
