"""What the chart of a run shows: traces, what lies behind them, the part seen, where it is from."""

from dataclasses import dataclass
from typing import Final

from app.core.refusals import Unacceptable
from app.jobs.drawing import DrawnChannel
from app.jobs.scales import Scale

# The share of the seen heights that is left free above and below, and the least of it.
_FREE_SHARE: Final = 0.06
_LEAST_FREE_K: Final = 1.0
_COLDEST_SHOWN_C: Final = 20.0
# No bench can be set above 450 °C; a spike beyond these is cut, so that it does not hide the rest.
_LOWEST_DRAWN_C: Final = -60.0
_HIGHEST_DRAWN_C: Final = 550.0


class ViewUnusable(Unacceptable):
    """The part asked for is not a part of the trace."""

    code = "jobs.view_unusable"


@dataclass(frozen=True)
class View:
    """The part of a trace that is seen, in s since its first sample, and the scale."""

    scale: Scale
    from_s: float
    to_s: float
    duration_s: float

    @property
    def is_whole(self) -> bool:
        """Whether the whole trace is seen."""
        return self.from_s <= 0 and self.to_s >= self.duration_s


@dataclass(frozen=True)
class ShownZone:
    """A recipe's zone, laid from the start of the trace; None is a heater that is off."""

    name: str
    from_s: float
    to_s: float
    top_c: float | None
    bottom_c: float | None


@dataclass(frozen=True)
class Level:
    """A temperature of the window with its name."""

    label: str
    at_c: float


@dataclass(frozen=True)
class Mark:
    """Something amiss and where it happens; `channel` is empty for the whole recording."""

    channel: str
    words: str
    from_s: float
    to_s: float

    @property
    def sentence(self) -> str:
        """Say what is amiss and when."""
        of = f"{self.channel}: " if self.channel else ""
        when = f"at {self.from_s:.1f} s"
        if self.to_s - self.from_s >= 0.05:  # noqa: PLR2004 - what one decimal can show
            when = f"{self.from_s:.1f} s to {self.to_s:.1f} s"
        return f"{of}{self.words}, {when}"


@dataclass(frozen=True)
class Chart:
    """A chart ready to be drawn; `about` are the pairs that say where it comes from."""

    title: str
    about: tuple[tuple[str, str], ...]
    channels: tuple[DrawnChannel, ...]
    zones: tuple[ShownZone, ...]
    liquidus_c: float
    levels: tuple[Level, ...]
    marks: tuple[Mark, ...]
    view: View


def make_view(*, scale: Scale, from_s: float | None, to_s: float | None, duration_s: float) -> View:
    """Return the part asked for, cut at the trace's end; None is the trace's own end.

    Raises ViewUnusable for a part that is empty or begins after the end.
    """
    start = from_s or 0.0
    if start >= duration_s:
        raise ViewUnusable(
            f"The trace ends at {duration_s:.1f} s; nothing is seen from {start:g} s on.",
            field="from",
        )
    end = duration_s if to_s is None else min(to_s, duration_s)
    if end <= start:
        raise ViewUnusable(f"Must be more than from, {start:g} s; it is {end:g} s.", field="to")
    return View(scale, start, end, duration_s)


def compute_heights(chart: Chart) -> tuple[float, float]:
    """Return the lowest and highest temperature that the chart spans, in °C.

    The whole run spans all levels and set-points too; a part spans its readings alone.
    """
    view = chart.view
    values = [
        min(max(value, _LOWEST_DRAWN_C), _HIGHEST_DRAWN_C)
        for channel in chart.channels
        for moment, value in zip(channel.time_s, channel.temperature_c, strict=True)
        if value is not None and view.from_s <= moment <= view.to_s
    ]
    if view.is_whole or not values:
        values += [_COLDEST_SHOWN_C, chart.liquidus_c, *(level.at_c for level in chart.levels)]
        values += [
            at
            for zone in chart.zones
            for at in (zone.top_c, zone.bottom_c)
            if at is not None and zone.from_s < view.to_s
        ]
    free = max(_FREE_SHARE * (max(values) - min(values)), _LEAST_FREE_K)
    return max(min(values) - free, _LOWEST_DRAWN_C), min(max(values) + free, _HIGHEST_DRAWN_C)
