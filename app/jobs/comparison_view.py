"""The part of a comparison that is seen: its lines, and what they read at one moment."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from app.jobs.chart import ViewUnusable
from app.jobs.chart_data import read_at
from app.jobs.comparison import ComparedRun, Comparison
from app.jobs.drawing import DrawnChannel, draw_channels, split_at_gaps
from app.numerics.envelope import Envelope
from app.numerics.trace import FloatArray

LINE_POINTS: Final = 1_000
FULL_POINTS: Final = 20_000
_BAND_POINTS: Final = 400
_FREE_SHARE: Final = 0.05
_LEAST_FREE_K: Final = 1.0
_COLDEST_SHOWN_C: Final = 20.0


@dataclass(frozen=True)
class ComparedView:
    """The part that is seen, in s of the aligned time, within all that the runs have."""

    from_s: float
    to_s: float
    first_s: float
    last_s: float

    @property
    def is_whole(self) -> bool:
        """Whether everything is seen."""
        return self.from_s <= self.first_s and self.to_s >= self.last_s


@dataclass(frozen=True)
class Band:
    """The seen part of an envelope, to be drawn: moments in s, lowest and highest in °C."""

    time_s: tuple[float, ...]
    low_c: tuple[float, ...]
    high_c: tuple[float, ...]


def view_comparison(
    comparison: Comparison, *, from_s: float | None, to_s: float | None
) -> ComparedView:
    """Return the part asked for, cut at the ends of the runs; None is an end of theirs.

    Raises ViewUnusable for a part that is empty or lies outside.
    """
    placed = [one.placed.trace for one in comparison.runs]
    there = [trace for trace in placed if trace is not None and trace.time_s.size]
    first = min((float(trace.time_s[0]) for trace in there), default=0.0)
    last = max((float(trace.time_s[-1]) for trace in there), default=1.0)
    start = first if from_s is None else max(from_s, first)
    end = last if to_s is None else min(to_s, last)
    span = f"the runs lie from {first:.1f} s to {last:.1f} s"
    if from_s is not None and from_s >= last:
        raise ViewUnusable(f"Nothing is seen from {from_s:g} s on: {span}.", field="from")
    if to_s is not None and to_s <= start:
        raise ViewUnusable(
            f"Must be more than {start:g} s; it is {to_s:g} s, and {span}.", field="to"
        )
    return ComparedView(start, end, first, last)


def draw_run(run: ComparedRun, view: ComparedView, *, points: int = LINE_POINTS) -> DrawnChannel:
    """Return a run's line in aligned time, at most so many readings in the seen part.

    Empty where the run has no place.
    """
    channel, shift_s = run.placed.channel, run.placed.shift_s
    if channel is None or run.placed.trace is None:
        return DrawnChannel("", run.candidate.recorded.channels[0].role, None, (), ())
    drawn = next(
        one
        for one in draw_channels(
            run.candidate.recorded,
            points=points,
            from_s=view.from_s - shift_s,
            to_s=view.to_s - shift_s,
        )
        if one.name == channel.name
    )
    return DrawnChannel(
        drawn.name,
        drawn.role,
        drawn.designator,
        tuple(moment + shift_s for moment in drawn.time_s),
        drawn.temperature_c,
    )


def draw_band(comparison: Comparison, view: ComparedView) -> Band | None:
    """Return the seen part of the compared channel's envelope, or None where there is none."""
    band = comparison.envelope.band
    if not isinstance(band, Envelope):
        return None
    begin = max(float(band.time_s[0]), view.from_s)
    end = min(float(band.time_s[-1]), view.to_s)
    if begin >= end:
        return None
    moments: FloatArray = np.linspace(begin, end, _BAND_POINTS)
    return Band(
        tuple(moments.tolist()),
        tuple(np.interp(moments, band.time_s, band.low_c).tolist()),
        tuple(np.interp(moments, band.time_s, band.high_c).tolist()),
    )


def read_run_at(run: ComparedRun, moment_s: float) -> float | None:
    """Return what a run reads (°C) at an aligned moment; None outside it and in its gaps."""
    channel = run.placed.channel
    if channel is None or run.placed.trace is None:
        return None
    (at,) = read_at(run.candidate.recorded, channel, [moment_s - run.placed.shift_s])
    return at


def choose_moment(comparison: Comparison, view: ComparedView) -> float:
    """Return the seen moment at which the first run is hottest, to begin reading at."""
    hottest = (-math.inf, (view.from_s + view.to_s) / 2.0)
    trace = comparison.runs[0].placed.trace
    if trace is not None:
        seen = slice(
            int(np.searchsorted(trace.time_s, view.from_s)),
            int(np.searchsorted(trace.time_s, view.to_s, side="right")),
        )
        if trace.temperature_c[seen].size:
            place = int(np.argmax(trace.temperature_c[seen]))
            hottest = (0.0, float(trace.time_s[seen][place]))
    return hottest[1]


def compute_heights(
    comparison: Comparison, view: ComparedView, lines: tuple[DrawnChannel, ...], band: Band | None
) -> tuple[float, float]:
    """Return the lowest and highest temperature (°C) that the picture spans.

    The whole spans the liquidus and a cold start too; a part spans what is in it alone.
    """
    values = [
        at
        for line in lines
        for moment, at in zip(line.time_s, line.temperature_c, strict=True)
        if at is not None and view.from_s <= moment <= view.to_s
    ]
    if band is not None:
        values += [*band.low_c, *band.high_c]
    if view.is_whole or not values:
        values += [_COLDEST_SHOWN_C, comparison.liquidus_c]
    free = max(_FREE_SHARE * (max(values) - min(values)), _LEAST_FREE_K)
    return min(values) - free, max(values) + free


def find_end(line: DrawnChannel, view: ComparedView) -> float | None:
    """Return the temperature (°C) at which a line leaves the seen part, or None."""
    points = [
        (moment, at)
        for segment in split_at_gaps(line)
        for moment, at in segment
        if moment >= view.from_s
    ]
    if not points:
        return None
    inside = [point for point in points if point[0] <= view.to_s]
    if not inside:
        return points[0][1]
    beyond = next((point for point in points if point[0] > view.to_s), None)
    (last_s, last_c) = inside[-1]
    if beyond is None or beyond[0] == last_s:
        return last_c
    share = (view.to_s - last_s) / (beyond[0] - last_s)
    return last_c + share * (beyond[1] - last_c)
