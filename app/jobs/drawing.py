"""Picks the points of a trace that a picture needs; gaps stay gaps."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.numerics.reduction import reduce_min_max
from app.traces.queries import RecordedTrace
from app.traces.rules import ChannelRole

CHART_POINTS: Final = 2_000
FULL_POINTS: Final = 20_000
PICTURE_POINTS: Final = 120

# Readings further apart than this many of a channel's usual steps are not joined by a line: one
# reading that failed is nothing, two in a row are. Our own rule.
LONGEST_STEP_OF_USUAL: Final = 2.5


@dataclass(frozen=True)
class DrawnChannel:
    """A channel's points in s and °C; None stands where the line is interrupted.

    `correction_k` is what a calibration added to its readings, in K.
    """

    name: str
    role: ChannelRole
    designator: str | None
    time_s: tuple[float, ...]
    temperature_c: tuple[float | None, ...]
    correction_k: float = 0.0


def draw_channels(
    recorded: RecordedTrace,
    *,
    points: int,
    from_s: float = -math.inf,
    to_s: float = math.inf,
) -> tuple[DrawnChannel, ...]:
    """Return each channel in at most `points` readings (4 or more), peaks kept, with its gaps.

    Only a part is drawn when its ends are given, in s since the first sample; the readings next
    to it are kept, so that the lines run to its edges.
    """
    return tuple(
        DrawnChannel(
            channel.name,
            channel.role,
            channel.designator,
            *_draw(
                recorded.time_s, channel.temperature_c(), points=points, from_s=from_s, to_s=to_s
            ),
            channel.correction_k,
        )
        for channel in recorded.channels
    )


def is_reduced(recorded: RecordedTrace, *, points: int) -> bool:
    """Say whether some channel has more readings than are drawn."""
    return any(int((~c.column.missing).sum()) > points for c in recorded.channels)


def _draw(
    time_s: NDArray[np.float64],
    temperature_c: NDArray[np.float64],
    *,
    points: int,
    from_s: float,
    to_s: float,
) -> tuple[tuple[float, ...], tuple[float | None, ...]]:
    is_there = ~np.isnan(temperature_c)
    time_s, temperature_c = time_s[is_there], temperature_c[is_there]
    is_gap = np.diff(time_s, prepend=time_s[:1]) > compute_longest_step_s(time_s)
    gaps_before = np.cumsum(is_gap)
    first = max(int(np.searchsorted(time_s, from_s, side="right")) - 1, 0)
    seen = slice(first, int(np.searchsorted(time_s, to_s)) + 1)
    time_s, temperature_c, gaps_before = time_s[seen], temperature_c[seen], gaps_before[seen]
    kept = reduce_min_max(time_s, temperature_c, points)
    moments: list[float] = []
    values: list[float | None] = []
    for place, sample in enumerate(kept.tolist()):
        if place and gaps_before[sample] > gaps_before[kept[place - 1]]:
            moments.append(float((time_s[kept[place - 1]] + time_s[sample]) / 2))
            values.append(None)
        moments.append(float(time_s[sample]))
        values.append(float(temperature_c[sample]))
    return tuple(moments), tuple(values)


def compute_longest_step_s(reading_s: NDArray[np.float64]) -> float:
    """Return how far apart in s two readings of a channel are joined; 0 below two readings."""
    if reading_s.size < 2:  # noqa: PLR2004 - a step has two ends
        return 0.0
    return LONGEST_STEP_OF_USUAL * float(np.median(np.diff(reading_s)))


def split_at_gaps(channel: DrawnChannel) -> list[list[tuple[float, float]]]:
    """Return a channel's points as unbroken lines."""
    lines: list[list[tuple[float, float]]] = [[]]
    for moment, value in zip(channel.time_s, channel.temperature_c, strict=True):
        if value is None:
            lines.append([])
        else:
            lines[-1].append((moment, value))
    return [line for line in lines if line]


def find_span(channels: Sequence[DrawnChannel]) -> tuple[float, float, float, float] | None:
    """Return first and last moment, lowest and highest temperature; None without readings."""
    moments = [moment for channel in channels for moment in channel.time_s]
    values = [v for channel in channels for v in channel.temperature_c if v is not None]
    return (min(moments), max(moments), min(values), max(values)) if values else None


def spread_apart(
    places: Sequence[float], *, apart: float, first: float, last: float
) -> tuple[float, ...]:
    """Return places for labels as near as can be to those wanted, `apart` from each other.

    They keep their order and lie between `first` and `last`; where there is no room for all at
    that distance, at the largest one for which there is.
    """
    if not places:
        return ()
    order = sorted(range(len(places)), key=lambda place: places[place])
    step = min(apart, (last - first) / max(len(places) - 1, 1))
    spread = [0.0] * len(places)
    least = first
    for place in order:
        spread[place] = max(places[place], least)
        least = spread[place] + step
    most = last
    for place in reversed(order):
        spread[place] = min(spread[place], most)
        most = spread[place] - step
    return tuple(spread)
