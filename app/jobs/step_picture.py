"""Draws a step's answer as SVG: the readings, the fitted curve, its moments, and the residuals."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from app.jobs.chart_picture import WIDTH, assemble_svg, spell_about_lines
from app.jobs.pictures import (
    COLOURS,
    INK,
    RULE,
    Frame,
    list_ticks,
    spell_axes,
    spell_rule,
    spell_text,
)
from app.jobs.scales import Scale
from app.jobs.step_response import StepResponse
from app.numerics.identification import StepAnswer, TwoPointAnswer
from app.numerics.reduction import reduce_min_max
from app.numerics.step_judgement import StepJudgement, compute_answer
from app.numerics.trace import FloatArray

_POINTS: Final = 800
_DOTS: Final = 250
_READINGS, _CURVE = COLOURS[0], COLOURS[1]


def draw_step_svg(response: StepResponse, *, scale: Scale, about: Sequence[tuple[str, str]]) -> str:
    """Return the stretch with its curve and residuals; the curve only where the step holds."""
    judgement = response.judgement
    title = f"Channel {response.channel.name}, {response.from_s:.1f} s to {response.to_s:.1f} s"
    low, high = _find_heights(judgement)
    frame = Frame(66, 36, WIDTH - 66 - 30, 280, response.from_s, response.to_s, low, high)
    below = Frame(66, 390, WIDTH - 66 - 30, 90, response.from_s, response.to_s, 0.0, 1.0)
    body = spell_text(10, 22, title, size=16)
    if judgement is None or not judgement.time_s.size:
        body += spell_axes(frame, scale, about_time="time of the recording, s")
        return assemble_svg(title, body, frame=frame, about=spell_about_lines(about))
    body += spell_axes(frame, scale, about_time="")
    body += _spell_readings(judgement.time_s, judgement.temperature_c, frame)
    if judgement.holds and isinstance(judgement.fit, StepAnswer):
        body += _spell_curve(judgement, judgement.fit, frame)
        body += _spell_moments(judgement, frame)
        body += _spell_residuals(judgement, below, scale)
        return assemble_svg(title, body, frame=below, about=spell_about_lines(about))
    body += spell_text(
        frame.left + frame.width / 2,
        frame.top + 20,
        "no curve: this stretch does not hold as a step",
        anchor="middle",
    )
    return assemble_svg(title, body, frame=frame, about=spell_about_lines(about))


def _find_heights(judgement: StepJudgement | None) -> tuple[float, float]:
    if judgement is None or not judgement.temperature_c.size:
        return 20.0, 30.0
    low = float(judgement.temperature_c.min())
    high = float(judgement.temperature_c.max())
    if judgement.holds and isinstance(judgement.fit, StepAnswer):
        low = min(low, judgement.fit.baseline_c, judgement.fit.final_c)
        high = max(high, judgement.fit.baseline_c, judgement.fit.final_c)
    free = max(0.06 * (high - low), 1.0)
    return low - free, high + free


def _spell_readings(time_s: FloatArray, temperature_c: FloatArray, frame: Frame) -> str:
    if time_s.size <= _DOTS:
        return "".join(
            f'<circle cx="{frame.x(s):.1f}" cy="{frame.y(c):.1f}" r="2.4" fill="{_READINGS}"/>'
            for s, c in zip(time_s.tolist(), temperature_c.tolist(), strict=True)
        )
    kept = reduce_min_max(time_s, temperature_c, _POINTS)
    points = _points(time_s[kept], temperature_c[kept], frame)
    return f'<polyline points="{points}" fill="none" stroke="{_READINGS}" stroke-width="2"/>'


def _spell_curve(judgement: StepJudgement, fit: StepAnswer, frame: Frame) -> str:
    begin = float(judgement.time_s[0])
    moments: FloatArray = np.linspace(begin, float(judgement.time_s[-1]), _POINTS)
    points = _points(moments, compute_answer(fit, moments - begin), frame)
    return (
        f'<polyline points="{points}" fill="none" stroke="{_CURVE}" stroke-width="2" '
        'stroke-dasharray="7 4"/>'
        + spell_text(
            frame.right - 6, frame.bottom - 28, "dots or line: readings", anchor="end", size=12,
            fill=_READINGS,
        )
        + spell_text(
            frame.right - 6, frame.bottom - 12, "dashes: least squares", anchor="end", size=12,
            fill=_CURVE,
        )
    )  # fmt: skip


def _spell_moments(judgement: StepJudgement, frame: Frame) -> str:
    fit, two = judgement.fit, judgement.two_points
    begin = float(judgement.time_s[0])
    marks: list[tuple[float, str]] = []
    if isinstance(fit, StepAnswer):
        marks.append((begin + fit.dead_time_s, "θ"))
    if isinstance(two, TwoPointAnswer):
        marks += [(begin + two.at_28_s, "t₂₈"), (begin + two.at_63_s, "t₆₃")]
    parts = []
    for place, (moment, name) in enumerate(marks):
        x = frame.x(moment)
        parts.append(spell_rule(x, frame.top, x, frame.bottom, colour=INK, dash="3 3", stroke=0.8))
        parts.append(spell_text(x + 4, frame.top + 12 + 15 * place, name, size=13))
    return "".join(parts)


def _spell_residuals(judgement: StepJudgement, frame: Frame, scale: Scale) -> str:
    """Return the residuals on an axis of their own, in K or in °F of difference."""
    factor, words = scale.convert_figure(1.0, "K")
    shown = judgement.residual_k * factor
    most = max(float(np.abs(shown).max()), 0.05) * 1.15
    plane = Frame(
        frame.left, frame.top, frame.width, frame.height, frame.from_s, frame.to_s, -most, most
    )
    parts = [spell_text(plane.left - 56, plane.top - 10, f"readings minus curve, {words}", size=12)]
    for value in list_ticks(-most, most)[::2]:
        y = plane.y(value)
        parts.append(spell_rule(plane.left, y, plane.right, y, colour=RULE))
        parts.append(spell_text(plane.left - 6, y + 4, f"{value:g}", anchor="end", size=12))
    middle = plane.y(0.0)
    parts.append(spell_rule(plane.left, middle, plane.right, middle, colour=INK, stroke=0.8))
    for value in list_ticks(plane.from_s, plane.to_s):
        x = plane.x(value)
        parts.append(spell_rule(x, plane.bottom, x, plane.bottom + 4, colour=INK))
        parts.append(spell_text(x, plane.bottom + 18, f"{value:g}", anchor="middle"))
    parts.append(
        spell_text(
            plane.left + plane.width / 2,
            plane.bottom + 36,
            "time of the recording, s",
            anchor="middle",
        )
    )
    kept = reduce_min_max(judgement.time_s, shown, _POINTS)
    points = _points(judgement.time_s[kept], shown[kept], plane)
    parts.append(
        f'<polyline points="{points}" fill="none" stroke="{_READINGS}" stroke-width="1.2"/>'
    )
    return "".join(parts)


def _points(moments: FloatArray, values: FloatArray, frame: Frame) -> str:
    return " ".join(
        f"{frame.x(s):.1f},{frame.y(c):.1f}"
        for s, c in zip(moments.tolist(), values.tolist(), strict=True)
    )
