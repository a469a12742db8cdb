"""Fewer samples for a small picture, without losing a peak."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.numerics.errors import MalformedArrays, NumericsError
from app.numerics.trace import check_time_axis

FEWEST_OUT = 4


def reduce_min_max(time_s: ArrayLike, values: ArrayLike, n_out: int) -> NDArray[np.intp]:
    """Pick at most `n_out` samples that draw the same picture, as rising indices.

    Kept are the first and the last reading and, of each of (n_out - 2) // 2 equal spans of time,
    the lowest and the highest. NaN is no reading and never kept. With no more readings than
    `n_out` all are kept. Raises NumericsError for n_out < 4, MalformedArrays for arrays that are
    no trace.
    """
    if n_out < FEWEST_OUT:
        raise NumericsError(f"A picture needs {FEWEST_OUT} samples or more, not {n_out}.")
    time = np.asarray(time_s, dtype=np.float64)
    value = np.asarray(values, dtype=np.float64)
    check_time_axis(time)
    if value.shape != time.shape:
        raise MalformedArrays(f"{value.size} values do not fit {time.size} moments, one each.")
    readings: NDArray[np.intp] = np.flatnonzero(~np.isnan(value))
    if readings.size <= n_out:
        return readings
    time, value = time[readings], value[readings]
    spans = (n_out - 2) // 2
    share = (time - time[0]) / (time[-1] - time[0])
    span = np.minimum((share * spans).astype(np.intp), spans - 1)
    # Sorted by span, then value: the extremes stand at the ends of each span's part.
    order = np.lexsort((value, span))
    starts = np.flatnonzero(np.diff(span, prepend=-1))
    ends = np.append(starts[1:], span.size) - 1
    kept = np.concatenate(([0, span.size - 1], order[starts], order[ends]))
    picked: NDArray[np.intp] = readings[np.unique(kept)]
    return picked
