"""When a trace is above a temperature: its stretches, their crossings and the area over it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.numerics.trace import Trace
from app.numerics.values import Measured, Unit


@dataclass(frozen=True, slots=True)
class Crossing:
    """A moment at which the trace passes the temperature."""

    at_s: float
    is_upward: bool


@dataclass(frozen=True, slots=True)
class Stretch:
    """One unbroken time strictly above a temperature, by interpolated crossings.

    An end that is open is no crossing: the trace begins or ends there, already or still above.
    """

    start_s: float
    end_s: float
    starts_open: bool = False
    ends_open: bool = False

    @property
    def length_s(self) -> float:
        """How long it lasts, as far as the trace shows it."""
        return self.end_s - self.start_s

    @property
    def is_censored(self) -> bool:
        """Whether the trace shows less than all of it."""
        return self.starts_open or self.ends_open


@dataclass(frozen=True, slots=True)
class TimeAbove:
    """How long, in all and at most at once, a trace is strictly above a temperature."""

    threshold_c: float
    stretches: tuple[Stretch, ...]

    @property
    def total(self) -> Measured:
        """Total time above (s); censored when the trace starts or ends above."""
        return Measured(
            value=sum(stretch.length_s for stretch in self.stretches),
            unit=Unit.SECOND,
            at_s=self.stretches[0].start_s if self.stretches else None,
            is_censored=self.starts_above or self.ends_above,
        )

    @property
    def longest(self) -> Measured:
        """Longest unbroken time above (s) and its start; the first of equals.

        Censored when any stretch is: one that is cut off might have been the longest.
        """
        longest = max(self.stretches, key=lambda stretch: stretch.length_s, default=None)
        return Measured(
            value=longest.length_s if longest else 0.0,
            unit=Unit.SECOND,
            at_s=longest.start_s if longest else None,
            is_censored=self.starts_above or self.ends_above,
        )

    @property
    def crossings(self) -> tuple[Crossing, ...]:
        """Every crossing in order of time; a mere touch is none."""
        found: list[Crossing] = []
        for stretch in self.stretches:
            if not stretch.starts_open:
                found.append(Crossing(stretch.start_s, is_upward=True))
            if not stretch.ends_open:
                found.append(Crossing(stretch.end_s, is_upward=False))
        return tuple(found)

    @property
    def starts_above(self) -> bool:
        """Whether the first reading is already above."""
        return bool(self.stretches) and self.stretches[0].starts_open

    @property
    def ends_above(self) -> bool:
        """Whether the last reading is still above."""
        return bool(self.stretches) and self.stretches[-1].ends_open

    def find_stretch_at(self, moment_s: float) -> Stretch | None:
        """Find the stretch that holds this moment; at a shared end the earlier one."""
        for stretch in self.stretches:
            if stretch.start_s <= moment_s <= stretch.end_s:
                return stretch
        return None


def compute_time_above(trace: Trace, threshold_c: float) -> TimeAbove:
    """Stretches of time in which the trace is strictly above `threshold_c` (°C).

    Piecewise linear with interpolated crossings. A plateau at the threshold is not above it; a
    touch from below is no stretch, a touch from above ends one and starts the next.
    """
    time, over = trace.time_s, trace.temperature_c - threshold_c
    if not over.size:
        return TimeAbove(threshold_c, ())
    is_above = over > 0.0
    after = np.flatnonzero(is_above[1:] != is_above[:-1]) + 1
    # Above and not above are never equal, so no division by zero.
    share = over[after - 1] / (over[after - 1] - over[after])
    moments: list[float] = (time[after - 1] + share * (time[after] - time[after - 1])).tolist()
    starts_open, ends_open = bool(is_above[0]), bool(is_above[-1])
    if starts_open:
        moments.insert(0, float(time[0]))
    if ends_open:
        moments.append(float(time[-1]))
    last = len(moments) - 2
    return TimeAbove(
        threshold_c,
        tuple(
            Stretch(
                start_s=moments[place],
                end_s=moments[place + 1],
                starts_open=starts_open and place == 0,
                ends_open=ends_open and place == last,
            )
            for place in range(0, len(moments), 2)
        ),
    )


def compute_area_above(trace: Trace, threshold_c: float) -> Measured:
    """Area between the trace and `threshold_c` (°C) where it is above, in K·s; exact.

    Censored when the first or the last reading is above.
    """
    over = trace.temperature_c - threshold_c
    above = np.flatnonzero(over > 0.0)
    if not above.size:
        return Measured(0.0, Unit.KELVIN_SECOND)
    part = slice(max(0, int(above[0]) - 1), int(above[-1]) + 2)
    starts_or_ends_above = bool(over[0] > 0.0 or over[-1] > 0.0)
    over = over[part]
    # A segment's part above is a trapezium of height sum `lifted` over the share `lifted / reach`.
    positive, size = np.maximum(over, 0.0), np.abs(over)
    lifted, reach = positive[:-1] + positive[1:], size[:-1] + size[1:]
    share = np.divide(lifted, reach, out=np.zeros_like(lifted), where=reach > 0.0)
    return Measured(
        value=float(np.dot(lifted * share, np.diff(trace.time_s[part])) / 2.0),
        unit=Unit.KELVIN_SECOND,
        is_censored=starts_or_ends_above,
    )


def intersect_stretches(channels: Sequence[Sequence[Stretch]]) -> tuple[Stretch, ...]:
    """Stretches in which every channel is above at once; each channel's are in order of time."""
    if not channels:
        return ()
    common = list(channels[0])
    for other in channels[1:]:
        common = _intersect_two(common, other)
    return tuple(common)


def _intersect_two(left: Sequence[Stretch], right: Sequence[Stretch]) -> list[Stretch]:
    found: list[Stretch] = []
    i = j = 0
    while i < len(left) and j < len(right):
        a, b = left[i], right[j]
        start, end = max(a.start_s, b.start_s), min(a.end_s, b.end_s)
        if start < end:
            found.append(
                Stretch(
                    start_s=start,
                    end_s=end,
                    # Open only if each that sets this end is: one true crossing closes it.
                    starts_open=all(s.starts_open for s in (a, b) if s.start_s == start),
                    ends_open=all(s.ends_open for s in (a, b) if s.end_s == end),
                )
            )
        if a.end_s <= b.end_s:
            i += 1
        else:
            j += 1
    return found
