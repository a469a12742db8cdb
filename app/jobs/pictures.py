"""Draws a trace as SVG without script: a small picture for lists, a large one with axes."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import escape

from app.jobs.drawing import DrawnChannel, find_span, split_at_gaps

# Okabe and Ito's palette for colour-blind readers, without black and the pale yellow; a dash of
# its own tells the lines apart where colours repeat or are not seen.
COLOURS: Final = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
DASHES: Final = ("", "6 3", "2 2", "8 3 2 3", "10 4", "4 2")
INK: Final = "#2a2723"
RULE: Final = "#d8cdb8"


@dataclass(frozen=True)
class _Frame:
    """Where a picture's plane lies in its box, and what it spans in s and °C."""

    left: float
    top: float
    width: float
    height: float
    from_s: float
    to_s: float
    from_c: float
    to_c: float

    def x(self, moment_s: float) -> float:
        span = self.to_s - self.from_s or 1.0
        return self.left + (moment_s - self.from_s) / span * self.width

    def y(self, temperature_c: float) -> float:
        span = self.to_c - self.from_c or 1.0
        return self.top + (self.to_c - temperature_c) / span * self.height


def draw_trace_svg(channels: Sequence[DrawnChannel], *, liquidus_c: float, title: str) -> str:
    """Return a trace as a small SVG of 160 × 60: a line a channel, and the liquidus."""
    body = ""
    span = find_span(channels)
    if span is not None:
        from_s, to_s, lowest, highest = span
        frame = _Frame(1, 2, 158, 56, from_s, to_s, min(lowest, 20.0), max(highest, liquidus_c))
        body = _spell_liquidus(frame, liquidus_c) + _spell_lines(channels, frame, stroke=1.2)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 160 60" role="img" '
        f'width="160" height="60"><title>{escape(title)}</title>{body}</svg>'
    )


def draw_chart_svg(channels: Sequence[DrawnChannel], *, liquidus_c: float, title: str) -> str:
    """Return a trace as an SVG of 900 × 420 with axes and channel names at the line ends."""
    span = find_span(channels)
    body = ""
    if span is not None:
        from_s, to_s, lowest, highest = span
        frame = _Frame(
            52, 10, 720, 362, from_s, to_s, min(lowest, 0.0), max(highest, liquidus_c) * 1.04
        )
        body = "".join(
            (
                _spell_axes(frame),
                _spell_liquidus(frame, liquidus_c),
                _text(frame.left + 4, frame.y(liquidus_c) - 4, f"liquidus {liquidus_c:g} °C"),
                _spell_lines(channels, frame, stroke=2),
                *_spell_names(channels, frame),
            )
        )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 900 420" role="img">'
        f"<title>{escape(title)}</title>{body}</svg>"
    )


def _spell_lines(channels: Sequence[DrawnChannel], frame: _Frame, *, stroke: float) -> str:
    parts = []
    for place, channel in enumerate(channels):
        dash = DASHES[place % len(DASHES)]
        dashed = f' stroke-dasharray="{dash}"' if dash and stroke > 1.5 else ""  # noqa: PLR2004
        for line in split_at_gaps(channel):
            points = " ".join(f"{frame.x(s):.1f},{frame.y(c):.1f}" for s, c in line)
            parts.append(
                f'<polyline points="{points}" fill="none" stroke-width="{stroke}" '
                f'stroke="{COLOURS[place % len(COLOURS)]}"{dashed}/>'
            )
    return "".join(parts)


def _spell_liquidus(frame: _Frame, liquidus_c: float) -> str:
    y = frame.y(liquidus_c)
    return (
        f'<line x1="{frame.left:g}" x2="{frame.left + frame.width:g}" y1="{y:.1f}" y2="{y:.1f}" '
        f'stroke="{INK}" stroke-width="0.8" stroke-dasharray="3 2"/>'
    )


def _spell_axes(frame: _Frame) -> str:
    parts = []
    bottom = frame.top + frame.height
    for value in _list_ticks(frame.from_c, frame.to_c):
        y = frame.y(value)
        parts.append(
            f'<line x1="{frame.left:g}" x2="{frame.left + frame.width:g}" y1="{y:.1f}" '
            f'y2="{y:.1f}" stroke="{RULE}"/>'
        )
        parts.append(_text(frame.left - 6, y + 4, f"{value:g}", anchor="end"))
    parts += (
        _text(frame.x(value), bottom + 18, f"{value:g}", anchor="middle")
        for value in _list_ticks(frame.from_s, frame.to_s)
    )
    parts.append(_text(frame.left + frame.width / 2, bottom + 38, "s", anchor="middle"))
    parts.append(_text(6, 14, "°C"))
    return "".join(parts)


def _list_ticks(first: float, last: float) -> Iterable[float]:
    """Return round values between two ends, some six of them."""
    raw = (last - first) / 6 or 1.0
    power = 10 ** math.floor(math.log10(raw))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw)
    return [round(k * step, 9) for k in range(math.ceil(first / step), int(last // step) + 1)]


def _spell_names(channels: Sequence[DrawnChannel], frame: _Frame) -> Iterable[str]:
    """Yield the names at the line ends, pushed apart so that none covers another."""
    ends = sorted(
        (frame.y(line[-1][1]), place, channel.name)
        for place, channel in enumerate(channels)
        for line in split_at_gaps(channel)[-1:]
    )
    lowest = -math.inf
    for y, place, name in ends:
        lowest = max(y, lowest + 15)
        yield _text(
            frame.left + frame.width + 6, lowest + 4, name, fill=COLOURS[place % len(COLOURS)]
        )


def _text(x: float, y: float, text: str, *, anchor: str = "start", fill: str = INK) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}" '
        f'font-family="sans-serif" font-size="13">{escape(text)}</text>'
    )
