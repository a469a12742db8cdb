"""Expanded uncertainties against Monte Carlo: what the metrics do when the readings are wrong.

The method is JCGM 101: draw every input from its distribution, compute each metric as always, and
look how the results spread. The budget by JCGM 100 must be as large, within the stated tolerance.
The profile is smooth and made up; its peak is 240.8 °C.
"""

import math
from collections.abc import Callable
from typing import Final

import numpy as np
import pytest

from app.numerics.metrics import ChannelMetrics, analyse_channel
from app.numerics.thermocouple_limits import (
    Status,
    ThermocoupleType,
    Tolerance,
    ToleranceClass,
    get_tolerance,
)
from app.numerics.trace import FloatArray
from app.numerics.uncertainty import (
    CalibrationCorrection,
    ChannelUncertainty,
    Expanded,
    MeasurementUncertainty,
    Source,
    TimeAboveUncertainty,
    UnusableUncertainty,
    compute_uncertainty,
)
from app.numerics.values import CannotSay, Measured, Unit

LIQUIDUS_C: Final = 217.0
SOAK_C: Final = (150.0, 200.0)
CLASSIFICATION_C: Final = 245.0
TIME_S: Final = np.arange(0.0, 420.0, 0.5)
DRAWS: Final = 1_500
WIRE: Final = get_tolerance(ThermocoupleType.K, ToleranceClass.IEC_1)
# A wire that is only off, so that its error of gain does not mix in.
ONLY_OFF: Final = Tolerance(1.5, 0.0, -40.0, 1_000.0, Status.MEMORY)
COMMON: Final = frozenset({Source.THERMOCOUPLE, Source.LOGGER, Source.CALIBRATION})
OWN: Final = frozenset({Source.RESOLUTION, Source.NOISE, Source.SELECTION, Source.PEAK_MOMENT})
CLOCK: Final = frozenset({Source.TIME_BASE, Source.JITTER})

METRICS: Final = (
    "peak",
    "above_liquidus",
    "area_above_liquidus",
    "maximum_ramp",
    "average_ramp",
    "soak_time",
    "average_cooling",
    "maximum_fall",
    "time_25_c_to_peak",
    "near_classification",
)
SHIFTED: Final = tuple(name for name in METRICS if name not in {"maximum_ramp", "maximum_fall"})
SLOPES: Final = ("maximum_ramp", "average_ramp", "average_cooling", "maximum_fall")
TIMES: Final = ("above_liquidus", "soak_time", "time_25_c_to_peak", "near_classification")


def _step(at_s: float, width_s: float) -> FloatArray:
    return np.asarray(1.0 / (1.0 + np.exp(-(TIME_S - at_s) / width_s)), dtype=np.float64)


PROFILE_C: Final = (
    18.0 + 155.0 * _step(120.0, 16.0) + 82.0 * _step(235.0, 14.0) - 235.0 * _step(320.0, 15.0)
)


def _analyse(time_s: FloatArray, temperature_c: FloatArray) -> ChannelMetrics:
    return analyse_channel(
        time_s,
        temperature_c,
        liquidus_c=LIQUIDUS_C,
        soak_min_c=SOAK_C[0],
        soak_max_c=SOAK_C[1],
        classification_c=CLASSIFICATION_C,
    )


def _weigh(
    measurement: MeasurementUncertainty, temperature_c: FloatArray = PROFILE_C
) -> ChannelUncertainty:
    return compute_uncertainty(
        TIME_S,
        temperature_c,
        _analyse(TIME_S, temperature_c),
        measurement=measurement,
        liquidus_c=LIQUIDUS_C,
        soak_min_c=SOAK_C[0],
        soak_max_c=SOAK_C[1],
        classification_c=CLASSIFICATION_C,
    )


def _value_of(metrics: ChannelMetrics, name: str) -> float:
    found = getattr(metrics, name)
    value = getattr(found, "total", found)
    assert isinstance(value, Measured)
    return value.value


def _expanded_of(uncertainty: ChannelUncertainty, name: str) -> Expanded:
    found = getattr(uncertainty, name)
    value = found.total if isinstance(found, TimeAboveUncertainty) else found
    assert isinstance(value, Expanded)
    return value


def _standard_of(expanded: Expanded, sources: frozenset[Source]) -> float:
    return math.hypot(*(one.standard for one in expanded.contributions if one.source in sources))


def _draw(
    make: Callable[[np.random.Generator], tuple[FloatArray, FloatArray]],
) -> dict[str, FloatArray]:
    """Return what each metric is in every draw."""
    dice = np.random.default_rng(20260304)
    drawn = [_analyse(*make(dice)) for _ in range(DRAWS)]
    return {name: np.array([_value_of(one, name) for one in drawn]) for name in METRICS}


def _draw_common(dice: np.random.Generator) -> float:
    return float(dice.uniform(-1.5, 1.5) + dice.uniform(-0.8, 0.8) + dice.normal(0.0, 0.25))


def test_an_error_common_to_all_readings_spreads_as_the_budget_says() -> None:
    drawn = _draw(lambda dice: (TIME_S, PROFILE_C + _draw_common(dice)))
    weighed = _weigh(
        MeasurementUncertainty(
            thermocouple=ONLY_OFF,
            logger_accuracy_k=0.8,
            calibration=CalibrationCorrection(correction_k=-0.6, expanded_k=0.5),
        )
    )
    for name in SHIFTED:
        if name == "near_classification":
            continue
        standard = _standard_of(_expanded_of(weighed, name), COMMON)
        # Never smaller; larger where the trace is bent, for there the worse side counts.
        spread = drawn[name].std()
        # The soak's two ends move together, and what is left of them is hundredths of a second.
        assert 0.97 * spread <= standard <= 1.25 * spread + 0.05, name
    # So near the peak the times are no bell any more: some are 0. What is held is what U covers.
    near = drawn["near_classification"]
    off = np.abs(near - _value_of(_analyse(TIME_S, PROFILE_C), "near_classification"))
    assert np.count_nonzero(near == 0.0) > 0
    expanded = _expanded_of(weighed, "near_classification").expanded
    assert np.mean(off <= expanded + 1e-9) >= 0.95
    assert np.quantile(off, 0.95) >= 0.7 * expanded
    for name in ("maximum_ramp", "maximum_fall"):
        assert drawn[name].std() < 1e-9
        assert _standard_of(_expanded_of(weighed, name), COMMON) == 0.0


def test_noise_and_resolution_spread_as_the_budget_says() -> None:
    noise_k, digit_k = 0.05, 0.1
    drawn = _draw(
        lambda dice: (
            TIME_S,
            np.round((PROFILE_C + dice.normal(0.0, noise_k, TIME_S.size)) / digit_k) * digit_k,
        )
    )
    weighed = _weigh(MeasurementUncertainty(resolution_k=digit_k, noise_k=noise_k))
    for name in ("above_liquidus", "area_above_liquidus", "soak_time"):
        standard = _standard_of(_expanded_of(weighed, name), OWN)
        assert 0.85 <= standard / drawn[name].std() <= 1.3, name
    # A flat top: the moment of its highest reading is taken for wider than it is.
    for name in ("average_ramp", "average_cooling", "time_25_c_to_peak"):
        standard = _standard_of(_expanded_of(weighed, name), OWN)
        assert 0.85 <= standard / drawn[name].std() <= 2.5, name
    # The steepest of many windows and the highest of many readings spread less than one alone.
    for name in ("peak", "maximum_ramp", "maximum_fall"):
        assert _standard_of(_expanded_of(weighed, name), OWN) >= 0.95 * drawn[name].std(), name


def test_an_error_of_gain_reaches_the_slopes() -> None:
    gain = WIRE.share
    drawn = _draw(
        lambda dice: (TIME_S, 217.0 + (PROFILE_C - 217.0) * (1.0 + dice.uniform(-gain, gain)))
    )
    weighed = _weigh(MeasurementUncertainty(thermocouple=WIRE))
    for name in ("maximum_ramp", "maximum_fall"):
        expanded = _expanded_of(weighed, name)
        assert expanded.standard == pytest.approx(drawn[name].std(), rel=0.05), name


def test_the_clock_reaches_every_duration_and_every_slope() -> None:
    rate, jitter_s = 0.01, 0.02

    def make(dice: np.random.Generator) -> tuple[FloatArray, FloatArray]:
        jitter = dice.normal(0.0, jitter_s, TIME_S.size)
        return TIME_S * (1.0 + dice.uniform(-rate, rate)) + jitter, PROFILE_C

    drawn = _draw(make)
    weighed = _weigh(MeasurementUncertainty(timebase_relative=rate, timebase_jitter_s=jitter_s))
    for name in (*TIMES, "area_above_liquidus", "average_ramp", "average_cooling"):
        standard = _standard_of(_expanded_of(weighed, name), CLOCK)
        assert 0.9 <= standard / drawn[name].std() <= 1.2, name
    for name in ("maximum_ramp", "maximum_fall"):
        standard = _standard_of(_expanded_of(weighed, name), CLOCK)
        assert 0.9 <= standard / drawn[name].std() <= 1.6, name


def test_the_expanded_uncertainty_covers_the_true_value_in_95_of_100_cases() -> None:
    gain, noise_k, digit_k = WIRE.share, 0.1, 0.1

    def make(dice: np.random.Generator) -> tuple[FloatArray, FloatArray]:
        noise = dice.normal(0.0, noise_k, TIME_S.size)
        turned = 217.0 + (PROFILE_C - 217.0) * (1.0 + dice.uniform(-gain, gain) / 4.0)
        read = np.round((turned + _draw_common(dice) + noise) / digit_k) * digit_k
        moments = TIME_S * (1.0 + dice.uniform(-1e-3, 1e-3))
        return moments + dice.normal(0.0, 0.01, TIME_S.size), read

    drawn = _draw(make)
    weighed = _weigh(
        MeasurementUncertainty(
            thermocouple=WIRE,
            logger_accuracy_k=0.8,
            resolution_k=digit_k,
            calibration=CalibrationCorrection(correction_k=0.0, expanded_k=0.5),
            noise_k=noise_k,
            timebase_relative=1e-3,
            timebase_jitter_s=0.01,
        )
    )
    true = _analyse(TIME_S, PROFILE_C)
    for name in METRICS:
        off = np.abs(drawn[name] - _value_of(true, name))
        expanded = _expanded_of(weighed, name).expanded
        assert np.mean(off <= expanded + 1e-9) >= 0.95, name
        # And it is no exaggeration: some draws use up a good part of it.
        assert np.quantile(off, 0.99) >= 0.4 * expanded, name


def test_a_peak_in_class_1_of_type_k_by_hand() -> None:
    weighed = _weigh(
        MeasurementUncertainty(
            thermocouple=WIRE,
            logger_accuracy_k=1.0,
            resolution_k=0.1,
            calibration=CalibrationCorrection(correction_k=0.4, expanded_k=0.6),
            noise_k=0.15,
        )
    )
    count = int(np.count_nonzero(PROFILE_C.max() - 0.05 - 0.3 <= PROFILE_C))
    too_high = 0.15 * math.sqrt(2.0 * math.log(count))
    squares = 1.5**2 / 3 + 1.0**2 / 3 + 0.1**2 / 12 + 0.3**2 + 0.15**2 + (too_high / 2.0) ** 2
    peak = _expanded_of(weighed, "peak")
    assert peak.expanded == pytest.approx(2.0 * math.sqrt(squares))
    assert peak.unit is Unit.CELSIUS
    assert peak.contributions[0].source is Source.THERMOCOUPLE


def test_a_common_kelvin_moves_both_crossings_of_a_triangle() -> None:
    time_s, temperature_c = np.array([0.0, 220.0, 440.0]), np.array([25.0, 245.0, 25.0])
    weighed = compute_uncertainty(
        time_s,
        temperature_c,
        _analyse(time_s, temperature_c),
        measurement=MeasurementUncertainty(logger_accuracy_k=math.sqrt(3.0)),
        liquidus_c=LIQUIDUS_C,
        soak_min_c=SOAK_C[0],
        soak_max_c=SOAK_C[1],
        classification_c=CLASSIFICATION_C,
    )
    # At 1 K/s both ways a standard error of 1 K is 1 s at each crossing, both in one direction.
    assert _expanded_of(weighed, "above_liquidus").expanded == pytest.approx(4.0)
    assert _expanded_of(weighed, "soak_time").expanded == pytest.approx(0.0, abs=1e-9)
    # The area is h² for a height of h kelvins: 28² of them, 30² with twice the standard error.
    area = _expanded_of(weighed, "area_above_liquidus").expanded
    assert area == pytest.approx((30.0**2 - 28.0**2), rel=1e-9)


@pytest.mark.parametrize("name", METRICS)
def test_without_any_input_only_the_sampling_of_the_peak_is_left(name: str) -> None:
    expanded = _expanded_of(_weigh(MeasurementUncertainty()), name)
    assert {one.source for one in expanded.contributions} <= {Source.PEAK_MOMENT}
    if name not in {"average_ramp", "average_cooling", "time_25_c_to_peak"}:
        assert expanded.expanded == 0.0


@pytest.mark.parametrize("name", METRICS)
def test_a_worse_chain_never_has_a_smaller_uncertainty(name: str) -> None:
    good = MeasurementUncertainty(ONLY_OFF, 0.2, 0.1, None, 0.05, 1e-5, 0.001)
    bad = MeasurementUncertainty(
        get_tolerance(ThermocoupleType.K, ToleranceClass.IEC_2),
        1.0,
        0.5,
        CalibrationCorrection(0.0, 1.0),
        0.2,
        1e-3,
        0.01,
    )
    assert _expanded_of(_weigh(good), name).expanded <= _expanded_of(_weigh(bad), name).expanded, (
        name
    )


def test_a_metric_without_a_value_has_no_uncertainty() -> None:
    cold = np.minimum(PROFILE_C, 190.0)
    weighed = _weigh(MeasurementUncertainty(thermocouple=WIRE), cold)
    assert isinstance(weighed.average_ramp, CannotSay)
    assert isinstance(weighed.soak_time, CannotSay)
    assert "never above" in weighed.soak_time.reason
    # Never above is a value too: 0 s, and certain, 27 K below.
    assert _expanded_of(weighed, "above_liquidus").expanded == 0.0
    assert _expanded_of(weighed, "peak").expanded > 1.7


def test_a_peak_just_below_the_liquidus_may_have_been_above_it() -> None:
    close = PROFILE_C * (216.5 / PROFILE_C.max())
    weighed = _weigh(MeasurementUncertainty(thermocouple=WIRE), close)
    assert _value_of(_analyse(TIME_S, close), "above_liquidus") == 0.0
    assert _expanded_of(weighed, "above_liquidus").expanded > 5.0


def test_a_soak_end_that_may_not_have_been_reached_cannot_be_weighed() -> None:
    close = PROFILE_C * (201.0 / PROFILE_C.max())
    weighed = _weigh(MeasurementUncertainty(thermocouple=WIRE), close)
    assert isinstance(weighed.soak_time, CannotSay)


def test_a_room_near_25_degrees_is_told_as_open_to_one_side() -> None:
    warm = np.maximum(PROFILE_C, 24.5)
    weighed = _weigh(MeasurementUncertainty(thermocouple=WIRE), warm)
    assert _expanded_of(weighed, "time_25_c_to_peak").is_censored
    assert not _expanded_of(_weigh(MeasurementUncertainty()), "time_25_c_to_peak").is_censored


def test_beyond_the_range_of_the_wires_class_nothing_is_said() -> None:
    short_range = Tolerance(1.5, 0.004, -40.0, 230.0, Status.MEMORY)
    weighed = _weigh(MeasurementUncertainty(thermocouple=short_range))
    assert isinstance(weighed.peak, CannotSay)
    assert "holds from -40 °C to 230 °C" in weighed.peak.reason
    assert _expanded_of(weighed, "above_liquidus").expanded > 0.0


@pytest.mark.parametrize("readings", [[], [25.0], [math.nan] * 4])
def test_a_channel_without_readings_says_nothing(readings: list[float]) -> None:
    time_s = np.arange(len(readings), dtype=np.float64)
    temperature_c = np.array(readings, dtype=np.float64)
    weighed = compute_uncertainty(
        time_s,
        temperature_c,
        _analyse(time_s, temperature_c),
        measurement=MeasurementUncertainty(thermocouple=WIRE, noise_k=0.1),
        liquidus_c=LIQUIDUS_C,
        soak_min_c=SOAK_C[0],
        soak_max_c=SOAK_C[1],
        classification_c=CLASSIFICATION_C,
    )
    assert all(isinstance(getattr(weighed, name), CannotSay) for name in METRICS)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: MeasurementUncertainty(noise_k=-0.1), "noise_k"),
        (lambda: MeasurementUncertainty(resolution_k=math.nan), "resolution_k"),
        (lambda: MeasurementUncertainty(timebase_relative=math.inf), "timebase_relative"),
        (
            lambda: MeasurementUncertainty(calibration=CalibrationCorrection(0.0, -1.0)),
            "calibration.expanded_k",
        ),
        (
            lambda: MeasurementUncertainty(calibration=CalibrationCorrection(math.nan, 1.0)),
            "calibration.correction_k",
        ),
    ],
)
def test_an_input_that_is_no_size_is_refused(
    make: Callable[[], MeasurementUncertainty], said: str
) -> None:
    with pytest.raises(UnusableUncertainty, match=said):
        make()
