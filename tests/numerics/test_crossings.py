"""Time and area above a temperature, against values worked out by hand or exactly.

The triangle, the soak profile and the edge cases were recomputed with exact rational arithmetic
(Python's fractions); the exponential and the sinusoid with closed formulas.
"""

import math

import numpy as np
import pytest
from numpy.typing import ArrayLike

from app.numerics.crossings import (
    Crossing,
    Stretch,
    TimeAbove,
    compute_area_above,
    compute_time_above,
    intersect_stretches,
)
from app.numerics.errors import MalformedArrays
from app.numerics.metrics import compute_peak
from app.numerics.trace import FloatArray, read_trace

LIQUIDUS_C = 217.0
TRIANGLE = ([0.0, 220.0, 440.0], [25.0, 245.0, 25.0])
SOAK_PROFILE = (
    [0.0, 100.0, 190.0, 230.0, 250.0, 340.0],
    [25.0, 150.0, 180.0, 240.0, 240.0, 60.0],
)


def _above(time_s: ArrayLike, temperature_c: ArrayLike, threshold_c: float) -> TimeAbove:
    return compute_time_above(read_trace(time_s, temperature_c), threshold_c)


def _sample(knots: tuple[list[float], list[float]], *, step: float, offset: float) -> FloatArray:
    time = np.arange(offset, knots[0][-1] + 1e-9, step)
    return np.array([time, np.interp(time, *knots)])


def test_a_triangle_is_above_the_liquidus_for_56_seconds() -> None:
    above = _above(*TRIANGLE, LIQUIDUS_C)
    assert above.total.value == pytest.approx(56.0, abs=1e-12)
    assert above.longest.value == pytest.approx(56.0, abs=1e-12)
    assert above.crossings == (Crossing(192.0, is_upward=True), Crossing(248.0, is_upward=False))
    assert not above.total.is_censored
    assert compute_area_above(read_trace(*TRIANGLE), LIQUIDUS_C).value == pytest.approx(784.0)


@pytest.mark.parametrize(
    ("step_s", "offset_s", "count", "peak_c", "area_k_s"),
    [
        (1.0, 0.0, 441, 245.0, 784.0),
        (0.5, 0.0, 881, 245.0, 784.0),
        (0.7, 0.3, 629, 244.9, 783.94),
        (2.0, 0.5, 220, 244.5, 783.25),
        (7.0, 3.0, 63, 245.0, 784.0),
    ],
)
def test_sampling_a_triangle_keeps_its_time_above_but_may_lose_its_tip(
    step_s: float, offset_s: float, count: int, peak_c: float, area_k_s: float
) -> None:
    time_s, temperature_c = _sample(TRIANGLE, step=step_s, offset=offset_s)
    trace = read_trace(time_s, temperature_c)
    assert trace.time_s.size == count
    assert compute_time_above(trace, LIQUIDUS_C).total.value == pytest.approx(56.0, abs=1e-9)
    assert compute_peak(trace).value == pytest.approx(peak_c, abs=1e-9)
    assert compute_area_above(trace, LIQUIDUS_C).value == pytest.approx(area_k_s, abs=1e-6)


@pytest.mark.parametrize(
    ("threshold_c", "seconds"),
    [
        (150.0, 195.0),
        (180.0, 90.0),
        (183.0, 86.5),
        (217.0, 46.833333333333336),
        (220.0, 43.333333333333336),
        (230.0, 31.666666666666668),
        (240.0, 0.0),  # strictly above: the plateau at 240 °C does not count
    ],
)
def test_the_soak_profile_is_above_each_temperature_as_long_as_reckoned(
    threshold_c: float, seconds: float
) -> None:
    assert _above(*SOAK_PROFILE, threshold_c).total.value == pytest.approx(seconds, abs=1e-12)


def test_the_soak_profile_has_the_area_reckoned() -> None:
    area = compute_area_above(read_trace(*SOAK_PROFILE), LIQUIDUS_C)
    assert area.value == pytest.approx(768.5833333333334, rel=1e-12)


@pytest.mark.parametrize(
    ("step_s", "seconds"),
    [
        (0.2, 123.37340912635725),
        (0.5, 123.37315169681435),
        (1.0, 123.37208873822125),
        (2.0, 123.37732121094791),
        (5.0, 123.38389573242165),
    ],
)
def test_a_sampled_exponential_is_above_as_long_as_its_chords(
    step_s: float, seconds: float
) -> None:
    """T = 25 + 220 (1 - exp(-t / 60)) to 240 s, then decay; the smooth curve has 123.37342 s."""
    time_s = np.arange(round(400.0 / step_s) + 1) * step_s
    peak_c = 25.0 + 220.0 * (1.0 - math.exp(-4.0))
    heating = 25.0 + 220.0 * (1.0 - np.exp(-time_s / 60.0))
    cooling = 25.0 + (peak_c - 25.0) * np.exp(-(time_s - 240.0) / 60.0)
    above = _above(time_s, np.where(time_s <= 240.0, heating, cooling), LIQUIDUS_C)
    assert above.total.value == pytest.approx(seconds, abs=1e-9)


def test_a_sinusoid_is_above_its_mean_half_the_time() -> None:
    """T = 150 + 10 sin(2 pi t / 40): above 155 °C for 13.333 s a period, above 150 for 20 s."""
    time_s = np.arange(0.0, 400.0, 0.01)
    temperature_c = 150.0 + 10.0 * np.sin(2.0 * np.pi * time_s / 40.0)
    third = _above(time_s, temperature_c, 155.0)
    assert third.total.value == pytest.approx(10 * 13.333333333333332, abs=1e-3)
    assert len(third.stretches) == 10
    assert third.longest.value == pytest.approx(13.333333333333332, abs=1e-4)
    assert _above(time_s, temperature_c, 150.0).total.value == pytest.approx(200.0, abs=0.02)


@pytest.mark.parametrize(
    ("time_s", "temperature_c", "seconds"),
    [
        pytest.param([0, 1, 2], [20, 30, 25], 0.0, id="never above"),
        pytest.param([0, 1, 2], [220, 230, 225], 2.0, id="always above"),
        pytest.param([0, 10, 20], [227, 217, 207], 10.0, id="starts above"),
        pytest.param([0, 1, 2], [216, 218, 216], 1.0, id="single spike"),
        pytest.param([0, 10, 20, 30, 40], [207, 227, 207, 227, 207], 20.0, id="two visits"),
        pytest.param([0, 10, 20], [207, 217, 207], 0.0, id="touches the threshold"),
        pytest.param([0, 10, 20, 30], [207, 217, 217, 207], 0.0, id="plateau at the threshold"),
        pytest.param(
            [0, 0.5, 3, 3.2, 9, 10], [210, 215, 225, 226, 216, 200], 7.42, id="irregular sampling"
        ),
        pytest.param([0, 4], [216, 220], 3.0, id="two samples"),
    ],
)
def test_the_edge_cases_come_out_as_reckoned(
    time_s: list[float], temperature_c: list[float], seconds: float
) -> None:
    total = _above(time_s, temperature_c, LIQUIDUS_C).total
    assert total.value == pytest.approx(seconds, abs=1e-12)


def test_two_visits_are_told_apart() -> None:
    above = _above([0, 10, 20, 30, 40], [207, 227, 207, 227, 207], LIQUIDUS_C)
    assert above.stretches == (Stretch(5.0, 15.0), Stretch(25.0, 35.0))
    assert above.longest.value == 10.0
    assert above.longest.at_s == 5.0


def test_a_trace_that_starts_above_says_so() -> None:
    above = _above([0, 10, 20], [227, 217, 207], LIQUIDUS_C)
    assert above.starts_above
    assert not above.ends_above
    assert above.total.is_censored
    assert above.crossings == (Crossing(10.0, is_upward=False),)


def test_a_trace_that_ends_above_says_so() -> None:
    above = _above([0, 4], [216, 220], LIQUIDUS_C)
    assert above.ends_above
    assert not above.starts_above
    assert above.longest.is_censored
    assert above.crossings == (Crossing(1.0, is_upward=True),)


def test_a_trace_always_above_has_no_crossing() -> None:
    above = _above([0, 1, 2], [220, 230, 225], LIQUIDUS_C)
    assert above.crossings == ()
    assert above.stretches == (Stretch(0.0, 2.0, starts_open=True, ends_open=True),)


def test_a_touch_from_above_breaks_a_stretch_and_costs_no_time() -> None:
    above = _above([0, 10, 20, 30, 40], [207, 227, 217, 227, 207], LIQUIDUS_C)
    assert above.stretches == (Stretch(5.0, 20.0), Stretch(20.0, 35.0))
    assert above.total.value == 30.0
    assert above.longest.value == 15.0


def test_missing_readings_are_bridged_by_the_straight_line() -> None:
    above = _above([0, 110, 220, 330, 440], [25, np.nan, 245, np.nan, 25], LIQUIDUS_C)
    assert above.total.value == pytest.approx(56.0, abs=1e-12)


def test_a_channel_without_readings_is_never_above() -> None:
    trace = read_trace([0, 1], [np.nan, np.nan])
    assert compute_time_above(trace, LIQUIDUS_C).stretches == ()
    assert compute_area_above(trace, LIQUIDUS_C).value == 0.0


def test_an_area_that_is_cut_off_says_so() -> None:
    area = compute_area_above(read_trace([0, 10], [217, 227]), LIQUIDUS_C)
    assert area.value == pytest.approx(50.0)
    assert area.is_censored


def test_common_stretches_are_those_of_every_channel() -> None:
    one = (Stretch(0, 10, starts_open=True), Stretch(20, 30), Stretch(40, 50))
    two = (Stretch(0, 5, starts_open=True), Stretch(8, 25), Stretch(29, 60, ends_open=True))
    assert intersect_stretches([one, two]) == (
        Stretch(0, 5, starts_open=True),
        Stretch(8, 10),
        Stretch(20, 25),
        Stretch(29, 30),
        Stretch(40, 50),
    )
    assert intersect_stretches([one]) == one
    assert intersect_stretches([]) == ()


def test_a_common_start_is_a_crossing_when_one_channel_crosses_there() -> None:
    one, two = (Stretch(0, 10, starts_open=True),), (Stretch(0, 8),)
    assert intersect_stretches([one, two]) == (Stretch(0, 8),)


@pytest.mark.parametrize(
    ("time_s", "temperature_c", "sentence"),
    [
        ([0, 1, 1], [1, 2, 3], "sample 2 is at 1 s, after 1 s"),
        ([0, 2, 1], [1, 2, 3], "sample 2 is at 1 s, after 2 s"),
        ([0, np.nan, 1], [1, 2, 3], "no number"),
        ([0, np.inf], [1, 2], "beyond"),
        ([0, 1], [1, np.inf], "beyond"),
        ([0, 1], [1, -np.inf], "beyond"),
        ([0, 1], [1, 2, 3], "3 temperatures do not fit 2 moments"),
        ([[0, 1]], [[1, 2]], "2 dimensions"),
    ],
)
def test_arrays_that_are_no_trace_are_refused(
    time_s: ArrayLike, temperature_c: ArrayLike, sentence: str
) -> None:
    with pytest.raises(MalformedArrays, match=sentence):
        read_trace(time_s, temperature_c)
