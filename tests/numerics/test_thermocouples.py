"""Millivolts and °C: the printed tables, the published error bands, the order of the junction."""

import numpy as np
import pytest
import thermocouple_its90
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.errors import MalformedArrays
from app.numerics.thermocouple_tables import FUNCTIONS, ThermocoupleType
from app.numerics.thermocouples import (
    OutsideThermocoupleRange,
    approximate_temperature_c,
    compute_emf_mv,
    compute_seebeck_mv_per_k,
    compute_temperature_c,
    is_readable_emf,
    list_inverse_pieces,
)
from app.numerics.trace import FloatArray

K, J, T, N = ThermocoupleType.K, ThermocoupleType.J, ThermocoupleType.T, ThermocoupleType.N

TABLE_C = [-50.0, 0.0, 25.0, 100.0, 150.0, 183.0, 200.0, 217.0, 230.0, 245.0, 260.0, 300.0]
# NIST ITS-90 Thermocouple Database, SRD 60: the printed tables, mV to three decimals.
TABLE_MV = {
    K: [-1.889, 0.0, 1.0, 4.096, 6.138, 7.460, 8.138, 8.819, 9.343, 9.950, 10.561, 12.209],
    J: [-2.431, 0.0, 1.277, 5.269, 8.010, 9.836, 10.779, 11.723, 12.445, 13.278, 14.110, 16.327],
    T: [-1.819, 0.0, 0.992, 4.279, 6.704, 8.393, 9.288, 10.200, 10.907, 11.735, 12.574, 14.862],
    N: [-1.269, 0.0, 0.659, 2.774, 4.302, 5.357, 5.913, 6.478, 6.916, 7.426, 7.941, 9.341],
}
# Recomputed from the same coefficients in two independent programs.
FULL_MV = {
    K: {-50.0: -1.889383, 25.0: 1.000242, 217.0: 8.819357, 260.0: 10.561326, 300.0: 12.208566},
    J: {-50.0: -2.431276, 25.0: 1.277288, 217.0: 11.722652, 260.0: 14.110197, 300.0: 16.327206},
    T: {-50.0: -1.819036, 25.0: 0.991977, 217.0: 10.199720, 260.0: 12.573846, 300.0: 14.861928},
    N: {-50.0: -1.268598, 25.0: 0.658646, 217.0: 6.478338, 260.0: 7.941281, 300.0: 9.341152},
}
# fmt: off
# The inverse polynomials at the full emf of TABLE_C, recomputed.
POLYNOMIAL_C = {
    K: [-49.9950, 0.0, 24.9896, 99.9689, 150.0292, 183.0051,
        199.9839, 216.9746, 229.9784, 244.9912, 260.0062, 300.0138],
    J: [-49.9837, 0.0, 24.9646, 100.0197, 150.0152, 182.9981,
        199.9898, 216.9837, 229.9808, 244.9798, 259.9812, 299.9937],
    T: [-50.0076, 0.0, 25.0151, 100.0047, 150.0052, 182.9923,
        199.9904, 216.9932, 229.9976, 245.0034, 260.0078, 300.0023],
    N: [-49.9979, 0.0, 25.0265, 99.9846, 150.0027, 183.0111,
        200.0112, 217.0087, 230.0056, 245.0014, 259.9972, 299.9910],
}
# The root of the reference function at the printed three-decimal emf, recomputed.
ROOT_OF_TABLE_C = {
    K: [-49.9893, 0.0, 24.9940, 99.9944, 149.9915, 183.0060,
        199.9882, 216.9911, 230.0078, 244.9990, 259.9920, 300.0105],
    J: [-49.9941, 0.0, 24.9944, 100.0015, 150.0017, 183.0063,
        200.0046, 217.0063, 230.0063, 245.0070, 259.9965, 299.9963],
    T: [-49.9989, 0.0, 25.0006, 100.0103, 149.9983, 183.0029,
        199.9981, 217.0052, 229.9917, 244.9995, 260.0027, 300.0012],
    N: [-50.0165, 0.0, 25.0132, 99.9958, 150.0050, 183.0060,
        199.9874, 216.9899, 230.0101, 245.0088, 259.9919, 299.9957],
}
# fmt: on
# Type, cold junction °C, hot junction °C, measured mV, and the °C of the wrong order; recomputed.
COLD_JUNCTIONS = [
    (K, 25.0, 217.0, 7.819115, 217.004),
    (K, 25.0, 245.0, 8.949798, 245.246),
    (K, 22.5, 183.0, 6.560698, 183.011),
    (K, 35.0, 260.0, 9.154177, 260.325),
    (J, 25.0, 217.0, 10.445364, 218.993),
    (J, 25.0, 245.0, 12.000322, 247.000),
    (J, 22.5, 183.0, 8.687588, 184.768),
    (J, 35.0, 260.0, 12.313006, 262.630),
    (T, 25.0, 217.0, 9.207742, 223.487),
    (T, 25.0, 245.0, 10.743050, 251.995),
    (T, 22.5, 183.0, 7.502313, 188.260),
    (T, 35.0, 260.0, 11.170799, 269.796),
    (N, 25.0, 217.0, 5.819693, 222.156),
    (N, 25.0, 245.0, 6.767052, 250.597),
    (N, 22.5, 183.0, 4.765003, 187.123),
    (N, 35.0, 260.0, 7.012976, 267.875),
]
every_type = pytest.mark.parametrize("kind", list(ThermocoupleType))


@every_type
def test_the_reference_function_gives_the_printed_tables(kind: ThermocoupleType) -> None:
    emf = compute_emf_mv(TABLE_C, kind)
    assert np.abs(emf - TABLE_MV[kind]).max() <= 0.0005


@every_type
def test_the_reference_function_holds_to_the_sixth_decimal(kind: ThermocoupleType) -> None:
    for at_c, emf_mv in FULL_MV[kind].items():
        assert float(compute_emf_mv(at_c, kind)) == pytest.approx(emf_mv, abs=5.1e-7)


@every_type
def test_the_inverse_polynomials_give_their_own_values(kind: ThermocoupleType) -> None:
    found = approximate_temperature_c(compute_emf_mv(TABLE_C, kind), kind)
    assert np.abs(found - POLYNOMIAL_C[kind]).max() <= 6e-5


@every_type
def test_the_exact_inverse_of_a_printed_emf_is_the_root(kind: ThermocoupleType) -> None:
    found = compute_temperature_c(TABLE_MV[kind], kind)
    assert np.abs(found - ROOT_OF_TABLE_C[kind]).max() <= 6e-5


@every_type
def test_the_inverse_polynomials_keep_their_printed_error_bands(kind: ThermocoupleType) -> None:
    for piece in list_inverse_pieces(kind):
        emf = np.linspace(piece.from_mv, piece.to_mv, 2001)[1:]
        error = approximate_temperature_c(emf, kind) - _root(emf, kind)
        # The bands are printed to two decimals.
        assert piece.error_low_k - 0.005 <= error.min()
        assert error.max() <= piece.error_high_k + 0.005
        # And no band is generous: a wrong coefficient would not hide in it.
        assert max(-error.min(), error.max()) > 0.01


def _root(emf: FloatArray, kind: ThermocoupleType) -> FloatArray:
    low, high = np.full(emf.shape, -210.0), np.full(emf.shape, FUNCTIONS[kind].to_c)
    for _ in range(60):
        middle = (low + high) / 2.0
        is_low = compute_emf_mv(middle, kind) < emf
        low, high = np.where(is_low, middle, low), np.where(is_low, high, middle)
    return low


@every_type
def test_both_directions_agree_with_an_independent_library(kind: ThermocoupleType) -> None:
    other = thermocouple_its90.get(kind.value)
    functions = FUNCTIONS[kind]
    assert other.range == (functions.from_c, functions.to_c)
    # Off the pieces' ends, where the printed coefficients jump by a millionth.
    at_c = np.linspace(functions.from_c, functions.to_c, 997)[1:-1]
    emf = compute_emf_mv(at_c, kind)
    assert np.abs(emf - [other.emf(float(t)) for t in at_c]).max() <= 1e-12
    slopes = compute_seebeck_mv_per_k(at_c, kind)
    assert np.abs(slopes - [other.seebeck(float(t)) for t in at_c]).max() <= 1e-12
    usual = at_c[at_c > -200.0][::20]
    read_c = compute_temperature_c(compute_emf_mv(usual, kind), kind)
    theirs = [other.temperature(float(mv)) for mv in compute_emf_mv(usual, kind)]
    assert np.abs(read_c - theirs).max() <= 1e-5


@every_type
@given(share=st.floats(0.0, 1.0), cold_c=st.floats(-20.0, 60.0))
def test_what_is_read_is_what_was_measured(
    kind: ThermocoupleType, share: float, cold_c: float
) -> None:
    hot_c = -200.0 + share * (FUNCTIONS[kind].to_c + 200.0)
    measured = compute_emf_mv(hot_c, kind) - compute_emf_mv(cold_c, kind)
    total = measured + compute_emf_mv(cold_c, kind)
    # The sum may leave the range by its last digit at the very top.
    if total <= compute_emf_mv(FUNCTIONS[kind].to_c, kind):
        read_c = compute_temperature_c(measured, kind, cold_junction_c=cold_c)
        assert float(read_c) == pytest.approx(hot_c, abs=2e-5)


@every_type
def test_the_emf_rises_over_the_whole_range(kind: ThermocoupleType) -> None:
    functions = FUNCTIONS[kind]
    emf = compute_emf_mv(np.linspace(functions.from_c, functions.to_c, 20_001), kind)
    assert np.diff(emf).min() > 0.0


@pytest.mark.parametrize(("kind", "cold_c", "hot_c", "measured_mv", "wrong_c"), COLD_JUNCTIONS)
def test_the_emf_of_the_junction_is_added_before_inverting(
    kind: ThermocoupleType, cold_c: float, hot_c: float, measured_mv: float, wrong_c: float
) -> None:
    read_c = float(compute_temperature_c(measured_mv, kind, cold_junction_c=cold_c))
    assert read_c == pytest.approx(hot_c, abs=3e-5)
    by_polynomial = float(approximate_temperature_c(measured_mv, kind, cold_junction_c=cold_c))
    assert by_polynomial == pytest.approx(hot_c, abs=0.06)
    inverted_first = float(compute_temperature_c(measured_mv, kind)) + cold_c
    assert inverted_first == pytest.approx(wrong_c, abs=6e-4)


def test_each_sample_may_have_its_own_cold_junction() -> None:
    read = compute_temperature_c([8.949798, 9.154177], K, cold_junction_c=[25.0, 35.0])
    assert read.tolist() == pytest.approx([245.0, 260.0], abs=3e-5)


def test_a_missing_reading_stays_missing() -> None:
    read = compute_temperature_c([np.nan, 1.0], K, cold_junction_c=[25.0, np.nan])
    assert np.isnan(read).all()
    assert np.isnan(approximate_temperature_c([np.nan], K)).all()
    assert np.isnan(compute_emf_mv([np.nan], T)).all()


def test_nothing_is_read_from_nothing() -> None:
    assert compute_temperature_c([], K).size == 0


@pytest.mark.parametrize("at_c", [-270.01, 1372.01, np.inf, -np.inf])
def test_a_temperature_outside_the_range_is_refused(at_c: float) -> None:
    with pytest.raises(OutsideThermocoupleRange, match=r"Type K .* -270 to 1372 °C; value 1 is"):
        compute_emf_mv([20.0, at_c], K)
    with pytest.raises(OutsideThermocoupleRange):
        compute_seebeck_mv_per_k(at_c, K)


@every_type
def test_an_emf_outside_the_range_is_refused(kind: ThermocoupleType) -> None:
    for emf_mv in (-9.9, 99.9, np.inf, -np.inf):
        with pytest.raises(OutsideThermocoupleRange, match="mV"):
            compute_temperature_c([emf_mv], kind)
        with pytest.raises(OutsideThermocoupleRange, match="mV"):
            approximate_temperature_c([emf_mv], kind)


def test_the_inverse_polynomials_end_where_they_are_published_to_end() -> None:
    assert float(compute_temperature_c(-5.9, K)) < -200.0
    with pytest.raises(OutsideThermocoupleRange, match=r"-5.891 to 54.886 mV"):
        approximate_temperature_c(-5.9, K)


def test_a_junction_outside_the_range_is_refused() -> None:
    with pytest.raises(OutsideThermocoupleRange, match="°C"):
        compute_temperature_c([1.0], T, cold_junction_c=401.0)


def test_a_short_column_of_junctions_is_refused() -> None:
    with pytest.raises(MalformedArrays, match="2 cold-junction temperatures do not fit 3 emfs"):
        compute_temperature_c([1.0, 1.0, 1.0], K, cold_junction_c=[25.0, 25.0])


def test_readable_emfs_are_told_from_those_of_an_open_circuit() -> None:
    emf = [8.9, 99.0, np.nan, np.inf, 8.9]
    junction = [25.0, 25.0, 25.0, 25.0, 9999.0]
    readable = is_readable_emf(emf, K, cold_junction_c=junction)
    assert readable.tolist() == [True, False, False, False, False]
