"""Draws runs over each other as SVG, the envelope of accepted ones behind."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.jobs.chart_picture import WIDTH, assemble_svg, spell_about_lines
from app.jobs.comparison import Comparison
from app.jobs.comparison_view import (
    Band,
    ComparedView,
    compute_heights,
    draw_band,
    draw_run,
    find_end,
)
from app.jobs.drawing import DrawnChannel
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


@dataclass(frozen=True)
class Layout:
    """What a picture of a comparison is of: the plane, the lines in it, and the band behind."""

    frame: Frame
    lines: tuple[DrawnChannel, ...]
    band: Band | None


def lay_out(comparison: Comparison, view: ComparedView) -> Layout:
    """Return the plane of the picture and all that is drawn in it."""
    lines = tuple(draw_run(run, view) for run in comparison.runs)
    band = draw_band(comparison, view)
    low, high = compute_heights(comparison, view, lines, band)
    frame = Frame(56, 36, WIDTH - 56 - 134, 370, view.from_s, view.to_s, low, high)
    return Layout(frame, lines, band)


def draw_comparison_svg(
    comparison: Comparison,
    view: ComparedView,
    layout: Layout,
    *,
    scale: Scale,
    about: Sequence[tuple[str, str]],
) -> str:
    """Return the seen part of the aligned lines, each named after its run where it ends."""
    frame = layout.frame
    title = f"Channel {comparison.channel}, aligned on {comparison.alignment.words}"
    ends = []
    for place, (run, line) in enumerate(zip(comparison.runs, layout.lines, strict=True)):
        end_c = find_end(line, view)
        if end_c is not None:
            colour = COLOURS[place % len(COLOURS)]
            ends.append((f"run {run.candidate.run_id}", frame.y(end_c), colour))
    body = "".join(
        (
            spell_text(10, 22, title, size=16),
            spell_axes(
                frame, scale, about_time=f"time since the {comparison.alignment.zero_words}, s"
            ),
            (
                f'<g clip-path="url(#plane)">{_spell_band(layout.band, frame)}'
                f"{spell_lines(layout.lines, frame, stroke=2)}</g>"
            ),
            _spell_liquidus(comparison.liquidus_c, frame, scale),
            spell_end_names(ends, frame),
        )
    )
    return assemble_svg(title, body, frame=frame, about=spell_about_lines(about))


def _spell_liquidus(liquidus_c: float, frame: Frame, scale: Scale) -> str:
    if not frame.from_c <= liquidus_c <= frame.to_c:
        return ""
    y = frame.y(liquidus_c)
    return spell_rule(frame.left, y, frame.right, y, colour=INK, dash="6 3") + spell_text(
        frame.left + 4, y - 4, f"{scale.spell(liquidus_c, '°C')} liquidus", size=12
    )


def _spell_band(band: Band | None, frame: Frame) -> str:
    if band is None:
        return ""
    upper = _points(frame, band.time_s, band.high_c)
    lower = _points(frame, band.time_s[::-1], band.low_c[::-1])
    return (
        f'<polygon points="{upper} {lower}" fill="#17506f" fill-opacity="0.14" '
        'stroke="#17506f" stroke-opacity="0.35" stroke-width="0.8"/>'
    )


def _points(frame: Frame, moments: Sequence[float], values: Sequence[float]) -> str:
    return " ".join(
        f"{frame.x(s):.1f},{frame.y(c):.1f}" for s, c in zip(moments, values, strict=True)
    )
