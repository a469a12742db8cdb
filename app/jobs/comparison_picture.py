"""Draws runs over each other as SVG, the envelope of earlier ones behind."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from app.jobs.chart_picture import WIDTH, assemble_svg, spell_about_lines
from app.jobs.comparison import Alignment, Comparison
from app.jobs.drawing import DrawnChannel, find_span, split_at_gaps
from app.jobs.pictures import (
    COLOURS,
    INK,
    Frame,
    spell_axes,
    spell_end_names,
    spell_lines,
    spell_rule,
    spell_text,
)
from app.jobs.scales import Scale
from app.numerics.envelope import Envelope
from app.numerics.trace import FloatArray

_ENVELOPE_POINTS: Final = 300


def draw_comparison_svg(
    comparison: Comparison, *, scale: Scale, about: Sequence[tuple[str, str]]
) -> str:
    """Return the aligned lines of one channel, each named after its run."""
    placed = [(place, run) for place, run in enumerate(comparison.runs) if run.line is not None]
    # A run that is not drawn keeps its colour and dash to itself.
    lines = [
        run.line or DrawnChannel("", run.candidate.recorded.channels[0].role, None, (), ())
        for run in comparison.runs
    ]
    liquidus_c = comparison.runs[0].candidate.body.window.liquidus_c
    title = f"Channel {comparison.channel}, aligned on {comparison.alignment.words}"
    first, last, low, high = find_span(lines) or (0.0, 1.0, liquidus_c, liquidus_c)
    low, high = min(low, 20.0), max(high, liquidus_c)
    free = 0.05 * (high - low)
    frame = Frame(56, 36, WIDTH - 56 - 134, 370, first, last, low - free, high + free)
    y = frame.y(liquidus_c)
    ends = []
    for place, run in placed:
        segments = split_at_gaps(lines[place])
        if segments:
            colour = COLOURS[place % len(COLOURS)]
            ends.append((f"run {run.candidate.run_id}", frame.y(segments[-1][-1][1]), colour))
    is_liquidus = comparison.alignment is Alignment.LIQUIDUS
    begins = "crossing of the liquidus" if is_liquidus else "start"
    body = "".join(
        (
            spell_text(10, 22, title, size=16),
            spell_axes(frame, scale, about_time=f"time since the {begins}, s"),
            (
                f'<g clip-path="url(#plane)">{_spell_envelope(comparison, frame)}'
                f"{spell_rule(frame.left, y, frame.right, y, colour=INK, dash='6 3')}"
                f"{spell_lines(lines, frame, stroke=2)}</g>"
            ),
            spell_text(frame.left + 4, y - 4, f"{scale.spell(liquidus_c, '°C')} liquidus", size=12),
            spell_end_names(ends, frame),
        )
    )
    return assemble_svg(title, body, frame=frame, about=spell_about_lines(about))


def _spell_envelope(comparison: Comparison, frame: Frame) -> str:
    band = comparison.envelope
    if not isinstance(band, Envelope):
        return ""
    begin, end = float(band.time_s[0]), float(band.time_s[-1])
    moments = np.linspace(begin, end, _ENVELOPE_POINTS)
    upper = _points(frame, moments, np.interp(moments, band.time_s, band.high_c))
    lower = _points(frame, moments[::-1], np.interp(moments, band.time_s, band.low_c)[::-1])
    return (
        f'<polygon points="{upper} {lower}" fill="#17506f" fill-opacity="0.14" '
        'stroke="#17506f" stroke-opacity="0.35" stroke-width="0.8"/>'
    )


def _points(frame: Frame, moments: FloatArray, values: FloatArray) -> str:
    return " ".join(
        f"{frame.x(s):.1f},{frame.y(c):.1f}"
        for s, c in zip(moments.tolist(), values.tolist(), strict=True)
    )
