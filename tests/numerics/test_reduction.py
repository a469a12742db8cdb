"""The picture of a trace keeps its ends and its extremes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics.errors import MalformedArrays, NumericsError
from app.numerics.reduction import reduce_min_max

READINGS = st.lists(
    st.one_of(st.integers(-50, 300).map(float), st.just(float("nan"))), min_size=1, max_size=300
)


def test_each_span_keeps_its_lowest_and_its_highest() -> None:
    kept = reduce_min_max(np.arange(9.0), [5, 1, 9, 4, 4, 2, 8, 3, 6], 6)
    # Two spans, 0 to 3 s and 4 to 8 s: extremes 1, 9 and 2, 8; first and last besides.
    assert kept.tolist() == [0, 1, 2, 5, 6, 8]


def test_a_single_spike_in_a_long_trace_stays_in_the_picture() -> None:
    values = np.full(9_000, 25.0)
    values[4_321] = 245.0
    kept = reduce_min_max(np.arange(9_000) * 0.2, values, 120)
    assert 4_321 in kept
    assert kept.size <= 120


def test_spans_are_of_time_not_of_samples() -> None:
    time_s = np.concatenate((np.arange(0.0, 1.0, 0.01), np.arange(1.0, 11.0)))
    kept = reduce_min_max(time_s, np.arange(time_s.size), 12)
    # The dense first second lies in the first of five spans of 2 s and takes but its share.
    assert np.count_nonzero(time_s[kept] < 2.0) == 2


def test_a_short_trace_is_kept_whole() -> None:
    assert reduce_min_max([0, 1, 2], [3, float("nan"), 5], 4).tolist() == [0, 2]
    assert reduce_min_max([], [], 4).size == 0


@given(READINGS, st.integers(4, 60))
def test_ends_and_extremes_are_kept_and_the_rest_is_bounded(
    readings: list[float], n_out: int
) -> None:
    values = np.array(readings)
    kept = reduce_min_max(np.arange(values.size), values, n_out)
    present = np.flatnonzero(~np.isnan(values))
    assert kept.size <= n_out
    assert not np.isnan(values[kept]).any()
    assert np.all(np.diff(kept) > 0)
    if present.size:
        assert (kept[0], kept[-1]) == (present[0], present[-1])
        assert values[kept].max() == np.nanmax(values)
        assert values[kept].min() == np.nanmin(values)


def test_what_is_no_trace_is_refused() -> None:
    with pytest.raises(NumericsError, match="not 3"):
        reduce_min_max([0, 1], [1, 2], 3)
    with pytest.raises(MalformedArrays, match="3 values do not fit 2"):
        reduce_min_max([0, 1], [1, 2, 3], 4)
    with pytest.raises(MalformedArrays, match="Time must rise"):
        reduce_min_max([1, 0], [1, 2], 4)
