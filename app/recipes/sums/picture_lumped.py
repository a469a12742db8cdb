"""The picture of a body's temperature against time."""

import math
from typing import Final

from app.numerics.lumped import Body, Surroundings, compute_time_to
from app.numerics.values import Measured
from app.recipes.sums.drawing import Point, draw_line, draw_path, wrap, write
from app.recipes.sums.figures import spell_digits

WIDTH: Final = 360.0
HEIGHT: Final = 220.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 46.0, 20.0, 30.0, 42.0
_POINTS: Final = 60
# After five time constants less than a hundredth is left of the way.
_LONGEST: Final = 5.0
# Closer than this to where it tends to, in K, a body stands still.
_STILL_K: Final = 1e-5


def draw_course(
    body: Body,
    around: Surroundings,
    *,
    from_c: float,
    to_c: float,
    steady_c: float,
    time_s: float | None,
    holds: bool,
) -> str:
    """Return an SVG of the temperature (°C) from `from_c` towards `steady_c` against time (s).

    The time to `to_c` is marked where there is one; dashed where the sum does not hold.
    """
    course = _trace(body, around, from_c=from_c, steady_c=steady_c)
    if time_s is not None and time_s > course[-1][0]:
        course = (*course, (time_s, to_c))
    total_s = course[-1][0]
    low, high = sorted((from_c, steady_c))
    step_c = _pick_step(max(high - low, 1.0))
    low, high = math.floor(low / step_c) * step_c, math.ceil(high / step_c) * step_c
    high = max(high, low + step_c)

    def place(time: float, at_c: float) -> Point:
        x = _LEFT + time / total_s * (WIDTH - _LEFT - _RIGHT)
        return x, HEIGHT - _BOTTOM - (at_c - low) / (high - low) * (HEIGHT - _TOP - _BOTTOM)

    parts = []
    for line in range(round((high - low) / step_c) + 1):
        at_c = low + line * step_c
        start, end = place(0.0, at_c), place(total_s, at_c)
        parts.append(draw_line(start, end, mark="su-grid"))
        parts.append(write(_LEFT - 6, start[1] + 4, f"{at_c:g}", anchor="end"))
    parts.append(write(_LEFT - 6, _TOP - 14, "°C", anchor="end"))
    step_s = _pick_step(total_s)
    for tick in range(math.floor(total_s / step_s + 1e-9) + 1):
        x, y = place(tick * step_s, low)
        parts.append(draw_line((x, y), (x, y + 4), mark="su-span"))
        parts.append(write(x, y + 17, spell_digits(tick * step_s, 3), anchor="middle"))
    parts.append(write(_LEFT, HEIGHT - 4, "time in s"))
    mark = "su-course" if holds else "su-course su-doubt"
    parts.append(draw_path([place(*point) for point in course], mark=mark))
    told = f"Temperature from {from_c:g} °C towards {steady_c:.1f} °C"
    if time_s is not None:
        x, y = place(time_s, to_c)
        parts.append(draw_line((x, y), (x, HEIGHT - _BOTTOM), mark="su-mark"))
        parts.append(draw_line((_LEFT, y), (x, y), mark="su-mark"))
        parts.append(f'<circle class="su-dot" cx="{x:.1f}" cy="{y:.1f}" r="4"/>')
        words = f"{to_c:g} °C after {spell_digits(time_s, 3)} s"
        parts.append(write(WIDTH - _RIGHT, HEIGHT - 4, words, anchor="end", mark="su-name"))
        told += f": {words}"
    if not holds:
        parts.append(write(_LEFT + 6, _TOP - 14, "the sum does not hold", mark="su-name"))
    return wrap(WIDTH, HEIGHT, told=told, parts=parts)


def _pick_step(span: float) -> float:
    """Return a round step, 1, 2 or 5 with zeros, that a span holds three to six times or so."""
    rough = span / 6
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= rough)


def _trace(
    body: Body, around: Surroundings, *, from_c: float, steady_c: float
) -> tuple[Point, ...]:
    """List (time in s, temperature in °C), evenly spaced in the logarithm of what is left."""
    way_k = from_c - steady_c
    if abs(way_k) < _STILL_K:
        return (0.0, from_c), (body.heat_j_per_m2_k / around.film_w_per_m2_k, from_c)
    course = [(0.0, from_c)]
    for point in range(1, _POINTS + 1):
        at_c = steady_c + way_k * math.exp(-_LONGEST * point / _POINTS)
        taken = compute_time_to(body, around, from_c=from_c, to_c=at_c)
        if isinstance(taken, Measured):
            course.append((taken.value, at_c))
    return tuple(course)
