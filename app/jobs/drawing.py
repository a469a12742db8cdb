"""Picks the points of a trace that a picture needs; gaps stay gaps."""

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


@dataclass(frozen=True)
class DrawnChannel:
    """A channel's points in s and °C; None stands where the line is interrupted."""

    name: str
    role: ChannelRole
    designator: str | None
    time_s: tuple[float, ...]
    temperature_c: tuple[float | None, ...]


def draw_channels(recorded: RecordedTrace, *, points: int) -> tuple[DrawnChannel, ...]:
    """Return each channel in at most `points` readings (4 or more), peaks kept, with its gaps."""
    return tuple(
        DrawnChannel(
            channel.name,
            channel.role,
            channel.designator,
            *_draw(recorded.time_s, channel.temperature_c(), points),
        )
        for channel in recorded.channels
    )


def is_reduced(recorded: RecordedTrace, *, points: int) -> bool:
    """Say whether some channel has more readings than are drawn."""
    return any(int((~c.column.missing).sum()) > points for c in recorded.channels)


def _draw(
    time_s: NDArray[np.float64], temperature_c: NDArray[np.float64], points: int
) -> tuple[tuple[float, ...], tuple[float | None, ...]]:
    kept = reduce_min_max(time_s, temperature_c, points)
    if not kept.size:
        return (), ()
    missing_before = np.concatenate(([0], np.cumsum(np.isnan(temperature_c))))
    moments: list[float] = []
    values: list[float | None] = []
    for place, sample in enumerate(kept.tolist()):
        if place and missing_before[sample] > missing_before[kept[place - 1]]:
            moments.append(float((time_s[kept[place - 1]] + time_s[sample]) / 2))
            values.append(None)
        moments.append(float(time_s[sample]))
        values.append(float(temperature_c[sample]))
    return tuple(moments), tuple(values)


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
