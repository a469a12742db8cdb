"""The seen part of a run as numbers: every sample as CSV, the drawn points as JSON, a table."""

import csv
import io
import math
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np
from pydantic import BaseModel

from app.core.canonical_json import compute_digest
from app.core.cells import guard_cell
from app.jobs.chart import Chart
from app.jobs.drawing import compute_longest_step_s
from app.jobs.scales import Scale
from app.traces.queries import RecordedChannel, RecordedTrace
from app.traces.rules import TemperatureUnit

_ROWS_AT_ONCE: Final = 2_000
MOST_TABLE_ROWS: Final = 40
_DECIMALS_OF_CORRECTION: Final = 2
_STEPS_S: Final = (0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1200, 1800, 3600)


class ChartChannel(BaseModel):
    """A channel's readings in the asked unit; null where its line is interrupted.

    `correction_k` is what a calibration added to them, in K.
    """

    name: str
    role: str
    designator: str | None
    correction_k: float
    time_s: list[float]
    temperature: list[float | None]


class ChartZone(BaseModel):
    """A zone with its set-points in the asked unit, laid from the start of the trace."""

    name: str
    from_s: float
    to_s: float
    top: float | None
    bottom: float | None


class ChartLevel(BaseModel):
    """The liquidus or a limit, in the asked unit."""

    label: str
    at: float


class ChartMark(BaseModel):
    """Something amiss; `channel` is empty for the whole recording."""

    channel: str
    words: str
    from_s: float
    to_s: float


class ChartView(BaseModel):
    """What is seen of a run; time in s since the first sample.

    `figures` are all that was kept with the run, whatever part is seen and in whatever unit: each
    channel's metrics, the site's, and every limit as it was held (`verdict.lines`), each value
    with its unit and U. `figures_sha256` is their digest, by which the log names them.
    """

    about: dict[str, str]
    unit: str
    from_s: float
    to_s: float
    duration_s: float
    is_reduced: bool
    channels: list[ChartChannel]
    zones: list[ChartZone]
    levels: list[ChartLevel]
    marks: list[ChartMark]
    figures: dict[str, Any] | None
    figures_sha256: str | None


def view_chart(chart: Chart, *, is_reduced: bool, figures: Mapping[str, Any] | None) -> ChartView:
    """Return a chart's seen part as JSON with the kept figures; readings outside are left out."""
    view, convert = chart.view, chart.view.scale.convert

    def shown(value: float | None) -> float | None:
        return None if value is None else round(convert(value), 6)

    channels = []
    for channel in chart.channels:
        points = [
            (moment, shown(value))
            for moment, value in zip(channel.time_s, channel.temperature_c, strict=True)
            if view.from_s <= moment <= view.to_s
        ]
        channels.append(
            ChartChannel(
                name=channel.name,
                role=str(channel.role),
                designator=channel.designator,
                correction_k=channel.correction_k,
                time_s=[moment for moment, _ in points],
                temperature=[value for _, value in points],
            )
        )
    levels = [("liquidus", chart.liquidus_c), *((one.label, one.at_c) for one in chart.levels)]
    return ChartView(
        about=dict(chart.about),
        unit=view.scale.words,
        from_s=view.from_s,
        to_s=view.to_s,
        duration_s=view.duration_s,
        is_reduced=is_reduced,
        channels=channels,
        zones=[
            ChartZone(
                name=zone.name,
                from_s=zone.from_s,
                to_s=zone.to_s,
                top=shown(zone.top_c),
                bottom=shown(zone.bottom_c),
            )
            for zone in chart.zones
        ],
        levels=[ChartLevel(label=label, at=round(convert(at), 6)) for label, at in levels],
        marks=[
            ChartMark(channel=m.channel, words=m.words, from_s=m.from_s, to_s=m.to_s)
            for m in chart.marks
            if m.to_s >= view.from_s and m.from_s <= view.to_s
        ],
        figures=None if figures is None else dict(figures),
        figures_sha256=None if figures is None else compute_digest(figures),
    )


def spell_chart_csv(
    chart: Chart, recorded: RecordedTrace, *, kept: Sequence[tuple[str, str]]
) -> Iterator[str]:
    """Yield the seen part as CSV: what it is, a blank row, then every sample in the asked unit.

    `kept` are the run's own figures and limits in words, which stand below what it is.
    A channel recorded in that unit keeps its file's own digits; a calibration's correction is in
    the readings, and its column says so.
    """
    scale = chart.view.scale
    about = [[guard_cell(label), guard_cell(value)] for label, value in (*chart.about, *kept)]
    names = [guard_cell(_name_column(one, scale)) for one in recorded.channels]
    yield _spell_rows([*about, [], ["time (s)", *names]])
    first = int(np.searchsorted(recorded.time_s, chart.view.from_s))
    last = int(np.searchsorted(recorded.time_s, chart.view.to_s, side="right"))
    for start in range(first, last, _ROWS_AT_ONCE):
        stop = min(start + _ROWS_AT_ONCE, last)
        columns = [spell_readings(one, scale, start, stop) for one in recorded.channels]
        times = [recorded.spell_time(sample) for sample in range(start, stop)]
        yield _spell_rows([list(row) for row in zip(times, *columns, strict=True)])


def list_table_moments(chart: Chart) -> tuple[float, list[float]]:
    """Return the step in s, and the round moments of the seen part, 41 at most."""
    view = chart.view
    wanted = (view.to_s - view.from_s) / MOST_TABLE_ROWS
    place = bisect_left(_STEPS_S, wanted)
    step = _STEPS_S[place] if place < len(_STEPS_S) else math.ceil(wanted / 3600) * 3600
    first = math.ceil(round(view.from_s / step, 6))
    last = math.floor(round(view.to_s / step, 6))
    return step, [round(k * step, 6) for k in range(first, last + 1)]


def read_at(
    recorded: RecordedTrace, channel: RecordedChannel, moments: list[float]
) -> list[float | None]:
    """Return a channel's temperatures in °C on the straight lines between its readings.

    None where there is no line: before the first reading, after the last, and in a gap.
    """
    values = channel.temperature_c()
    is_there = ~np.isnan(values)
    time_s, values = recorded.time_s[is_there], values[is_there]
    if not time_s.size:
        return [None] * len(moments)
    longest_s = compute_longest_step_s(time_s)
    after = np.searchsorted(time_s, moments).clip(0, time_s.size - 1)
    before = (np.searchsorted(time_s, moments, side="right") - 1).clip(0)
    at = np.interp(moments, time_s, values)
    is_known = (
        (time_s[after] - time_s[before] <= longest_s)
        & (time_s[before] <= moments)
        & (time_s[after] >= moments)
    )
    return [float(v) if known else None for v, known in zip(at, is_known.tolist(), strict=True)]


def _name_column(channel: RecordedChannel, scale: Scale) -> str:
    if not channel.correction_k:
        return f"{channel.name} ({scale.words})"
    added = scale.spell(channel.correction_k, "K", signed=True)
    return f"{channel.name} ({scale.words}; {added} of calibration added)"


def spell_readings(channel: RecordedChannel, scale: Scale, start: int, stop: int) -> list[str]:
    """Spell a channel's readings in the unit; empty where there is none.

    In its file's own unit it keeps the file's own digits; converted it has one decimal more, and
    corrected two.
    """
    column = channel.column
    if column.unit is TemperatureUnit(scale.value) and not channel.correction_k:
        return [column.spell(sample) for sample in range(start, stop)]
    decimals = column.decimals + (_DECIMALS_OF_CORRECTION if channel.correction_k else 1)
    return [
        "" if math.isnan(value) else f"{scale.convert(value):.{decimals}f}"
        for value in channel.temperature_c()[start:stop].tolist()
    ]


def _spell_rows(rows: list[list[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue()
