"""The seen part of a comparison as numbers: for the page's script, as JSON and as CSV."""

import csv
import io
import json
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from pydantic import BaseModel

from app.core.cells import guard_cell
from app.jobs.chart_data import spell_readings
from app.jobs.comparison import ComparedRun, Comparison
from app.jobs.comparison_picture import Layout
from app.jobs.comparison_view import FULL_POINTS, ComparedView, draw_band, draw_run
from app.jobs.drawing import DrawnChannel, is_reduced
from app.jobs.figures import describe_outcome
from app.jobs.pictures import COLOURS
from app.jobs.scales import Scale
from app.numerics.envelope import Departures
from app.numerics.values import CannotSay, Measured, NotReached, Outcome

_ROWS_AT_ONCE: Final = 2_000
_DIGITS: Final = 6


class ComparedFigureView(BaseModel):
    """A figure of one run: a value in `unit`, or why there is none; °C and K as stored."""

    run_id: int
    value: float | None
    unit: str | None
    is_censored: bool
    not_reached: str | None
    cannot_say: str | None
    difference: float | None
    difference_unit: str | None


class ComparedFiguresView(BaseModel):
    """One figure of every run that has it; differences are to the first run."""

    name: str
    runs: list[ComparedFigureView]


class DepartureView(BaseModel):
    """Where a channel leaves the envelope; `furthest_k` in K."""

    channel: str
    side: str
    from_s: float
    to_s: float
    furthest_k: float
    furthest_at_s: float


class HeldView(BaseModel):
    """A channel held against the envelope: from when to when, or why it cannot be."""

    channel: str
    from_s: float | None
    to_s: float | None
    cannot_say: str | None
    departures: list[DepartureView]


class ComparedRunView(BaseModel):
    """A run's line in aligned time and the asked unit; null where it is interrupted."""

    run_id: int
    channel: str | None
    shift_s: float | None
    rms_k: float | None
    note: str
    time_s: list[float]
    temperature: list[float | None]
    is_reduced: bool
    envelope: list[HeldView]


class BandView(BaseModel):
    """The envelope of the compared channel in the asked unit, and the runs it is of."""

    run_ids: list[int]
    wanted: int
    time_s: list[float]
    low: list[float]
    high: list[float]
    cannot_say: str | None


class ComparisonView(BaseModel):
    """What is seen of a comparison."""

    about: dict[str, str]
    channel: str
    alignment: str
    unit: str
    from_s: float
    to_s: float
    liquidus: float
    runs: list[ComparedRunView]
    envelope: BandView
    figures: list[ComparedFiguresView]


def view_comparison_json(
    comparison: Comparison,
    view: ComparedView,
    *,
    scale: Scale,
    about: Sequence[tuple[str, str]],
) -> ComparisonView:
    """Return the seen part as JSON, up to 20,000 readings a run."""
    return ComparisonView(
        about=dict(about),
        channel=comparison.channel,
        alignment=str(comparison.alignment),
        unit=scale.words,
        from_s=view.from_s,
        to_s=view.to_s,
        liquidus=round(scale.convert(comparison.liquidus_c), _DIGITS),
        runs=[_view_run(run, view, scale) for run in comparison.runs],
        envelope=_view_band(comparison, view, scale),
        figures=[
            ComparedFiguresView(
                name=figure.name,
                runs=[
                    _view_figure(run.candidate.run_id, outcome, difference)
                    for run, outcome, difference in zip(
                        comparison.runs,
                        figure.outcomes,
                        (None, *figure.differences),
                        strict=True,
                    )
                    if outcome is not None
                ],
            )
            for figure in comparison.figures
        ],
    )


def _view_run(run: ComparedRun, view: ComparedView, scale: Scale) -> ComparedRunView:
    points = list(_seen(draw_run(run, view, points=FULL_POINTS), view))
    return ComparedRunView(
        run_id=run.candidate.run_id,
        channel=run.channel,
        shift_s=run.placed.shift_s if run.placed.trace is not None else None,
        rms_k=run.placed.rms_k,
        note=run.placed.note,
        time_s=[round(moment, _DIGITS) for moment, _ in points],
        temperature=[None if at is None else round(scale.convert(at), _DIGITS) for _, at in points],
        is_reduced=is_reduced(run.candidate.recorded, points=FULL_POINTS),
        envelope=[
            HeldView(
                channel=one.name,
                from_s=one.departures.from_s if isinstance(one.departures, Departures) else None,
                to_s=one.departures.to_s if isinstance(one.departures, Departures) else None,
                cannot_say=one.departures.reason if isinstance(one.departures, CannotSay) else None,
                departures=[
                    DepartureView(
                        channel=one.name,
                        side=str(found.side),
                        from_s=found.from_s,
                        to_s=found.to_s,
                        furthest_k=found.furthest_k,
                        furthest_at_s=found.furthest_at_s,
                    )
                    for found in (
                        one.departures.found if isinstance(one.departures, Departures) else ()
                    )
                ],
            )
            for one in run.held
        ],
    )


def _seen(line: DrawnChannel, view: ComparedView) -> Iterator[tuple[float, float | None]]:
    for moment, at in zip(line.time_s, line.temperature_c, strict=True):
        if view.from_s <= moment <= view.to_s:
            yield moment, at


def _view_band(comparison: Comparison, view: ComparedView, scale: Scale) -> BandView:
    band, envelope = draw_band(comparison, view), comparison.envelope
    return BandView(
        run_ids=list(envelope.of),
        wanted=comparison.envelopes.wanted,
        time_s=[round(moment, _DIGITS) for moment in band.time_s] if band else [],
        low=[round(scale.convert(at), _DIGITS) for at in band.low_c] if band else [],
        high=[round(scale.convert(at), _DIGITS) for at in band.high_c] if band else [],
        cannot_say=envelope.band.reason if isinstance(envelope.band, CannotSay) else None,
    )


def _view_figure(run_id: int, outcome: Outcome, difference: Outcome | None) -> ComparedFigureView:
    said = describe_outcome(outcome)
    more = difference if isinstance(difference, Measured) else None
    return ComparedFigureView(
        run_id=run_id,
        value=said.get("value"),
        unit=said.get("unit"),
        is_censored=bool(said.get("is_censored", False)),
        not_reached=outcome.reason if isinstance(outcome, NotReached) else None,
        cannot_say=outcome.reason if isinstance(outcome, CannotSay) else None,
        difference=None if more is None else more.value,
        difference_unit=None if more is None else str(more.unit),
    )


def describe_picture(
    comparison: Comparison, view: ComparedView, layout: Layout, *, scale: Scale, at_s: float
) -> str:
    """Return what the page's script needs of the picture, as JSON: the plane, lines, band."""

    def shown(values: Sequence[float | None]) -> list[float | None]:
        return [None if at is None else round(scale.convert(at), 2) for at in values]

    frame, band = layout.frame, layout.band
    return json.dumps(
        {
            "unit": scale.words,
            "from_s": view.from_s,
            "to_s": view.to_s,
            "first_s": view.first_s,
            "last_s": view.last_s,
            "at_s": at_s,
            "plane": {
                "left": frame.left,
                "top": frame.top,
                "width": frame.width,
                "height": frame.height,
                "low": scale.convert(frame.from_c),
                "high": scale.convert(frame.to_c),
            },
            "lines": [
                {
                    "name": f"run {run.candidate.run_id}",
                    "colour": COLOURS[place % len(COLOURS)],
                    "time_s": [round(moment, 3) for moment in line.time_s],
                    "at": shown(line.temperature_c),
                }
                for place, (run, line) in enumerate(zip(comparison.runs, layout.lines, strict=True))
            ],
            "band": None
            if band is None
            else {
                "time_s": [round(moment, 3) for moment in band.time_s],
                "low": shown(band.low_c),
                "high": shown(band.high_c),
            },
        }
    )


def spell_comparison_csv(
    comparison: Comparison,
    view: ComparedView,
    *,
    scale: Scale,
    about: Sequence[tuple[str, str]],
) -> Iterator[str]:
    """Yield the seen part as CSV: what it is, a blank row, every sample of every run.

    A row a sample, since each run has moments of its own; a reading in the file's own unit keeps
    its digits, and the last column says what a calibration added to it.
    """
    heads = [
        "run",
        "channel",
        f"time since the {comparison.alignment.zero_words} (s)",
        "time of the recording (s)",
        f"temperature ({scale.words})",
        "calibration in it (K)",
    ]
    yield _spell_rows([*[[guard_cell(k), guard_cell(v)] for k, v in about], [], heads])
    for run in comparison.runs:
        yield from _spell_samples(run, view, scale)


def _spell_samples(run: ComparedRun, view: ComparedView, scale: Scale) -> Iterator[str]:
    channel, recorded = run.placed.channel, run.candidate.recorded
    if channel is None or run.placed.trace is None:
        return
    shift_s = run.placed.shift_s
    moments = recorded.time_s + shift_s
    first = int(np.searchsorted(moments, view.from_s))
    last = int(np.searchsorted(moments, view.to_s, side="right"))
    name = guard_cell(channel.name)
    added = f"{channel.correction_k:g}"
    for start in range(first, last, _ROWS_AT_ONCE):
        stop = min(start + _ROWS_AT_ONCE, last)
        readings = spell_readings(channel, scale, start, stop)
        yield _spell_rows(
            [
                [
                    str(run.candidate.run_id),
                    name,
                    f"{moments[sample]:.6f}".rstrip("0").rstrip("."),
                    recorded.spell_time(sample),
                    reading,
                    added,
                ]
                for sample, reading in zip(range(start, stop), readings, strict=True)
            ]
        )


def _spell_rows(rows: list[list[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue()
