"""What every picture of a trace is drawn with, and the small one that lists show."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import escape

from app.jobs.drawing import DrawnChannel, find_span, split_at_gaps, spread_apart
from app.jobs.scales import Scale

# Okabe and Ito's palette for colour-blind readers, without black and the pale yellow; a dash of
# its own tells the lines apart where colours repeat or are not seen.
COLOURS: Final = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
DASHES: Final = ("", "6 3", "2 2", "8 3 2 3", "10 4", "4 2")
INK: Final = "#2a2723"
RULE: Final = "#d8cdb8"
PAPER: Final = "#fffcf4"
FONT: Final = "Roboto, system-ui, sans-serif"

# XML 1.0, section 2.2: what a document may hold, turned round.
_NOT_IN_XML: Final = re.compile(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]")


@dataclass(frozen=True)
class Frame:
    """Where a picture's plane lies in its box, and what it spans in s and °C."""

    left: float
    top: float
    width: float
    height: float
    from_s: float
    to_s: float
    from_c: float
    to_c: float

    @property
    def right(self) -> float:
        """The plane's right edge."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """The plane's lower edge."""
        return self.top + self.height

    def x(self, moment_s: float) -> float:
        """Return where a moment lies."""
        span = self.to_s - self.from_s or 1.0
        return self.left + (moment_s - self.from_s) / span * self.width

    def y(self, temperature_c: float) -> float:
        """Return where a temperature lies."""
        span = self.to_c - self.from_c or 1.0
        return self.top + (self.to_c - temperature_c) / span * self.height


def draw_trace_svg(channels: Sequence[DrawnChannel], *, liquidus_c: float, title: str) -> str:
    """Return a trace as a small SVG of 160 × 60: a line a channel, and the liquidus."""
    body = ""
    span = find_span(channels)
    if span is not None:
        from_s, to_s, lowest, highest = span
        frame = Frame(1, 2, 158, 56, from_s, to_s, min(lowest, 20.0), max(highest, liquidus_c))
        body = _spell_liquidus(frame, liquidus_c) + spell_lines(channels, frame, stroke=1.2)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 160 60" role="img" '
        f'width="160" height="60"><title>{escape(title)}</title>{body}</svg>'
    )


def spell_lines(channels: Sequence[DrawnChannel], frame: Frame, *, stroke: float) -> str:
    """Return every channel's unbroken lines; `stroke` is their width."""
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


def _spell_liquidus(frame: Frame, liquidus_c: float) -> str:
    y = frame.y(liquidus_c)
    return (
        f'<line x1="{frame.left:g}" x2="{frame.left + frame.width:g}" y1="{y:.1f}" y2="{y:.1f}" '
        f'stroke="{INK}" stroke-width="0.8" stroke-dasharray="3 2"/>'
    )


def spell_axes(frame: Frame, scale: Scale, *, about_time: str) -> str:
    """Return the grid, its numbers on the scale, and what the axes are."""
    parts = []
    for value in list_ticks(scale.convert(frame.from_c), scale.convert(frame.to_c)):
        y = frame.y(scale.revert(value))
        parts.append(spell_rule(frame.left, y, frame.right, y, colour=RULE))
        parts.append(spell_text(frame.left - 6, y + 4, f"{value:g}", anchor="end"))
    for value in list_ticks(frame.from_s, frame.to_s):
        x = frame.x(value)
        parts.append(spell_rule(x, frame.bottom, x, frame.bottom + 4, colour=INK))
        parts.append(spell_text(x, frame.bottom + 18, f"{value:g}", anchor="middle"))
    parts += (
        spell_rule(frame.left, frame.bottom, frame.right, frame.bottom, colour=INK),
        spell_text(frame.left + frame.width / 2, frame.bottom + 36, about_time, anchor="middle"),
        spell_text(frame.left - 46, frame.top + 12, scale.words),
    )
    return "".join(parts)


def list_ticks(first: float, last: float) -> list[float]:
    """Return round values between two ends, some six of them."""
    raw = (last - first) / 6 or 1.0
    power = 10 ** math.floor(math.log10(raw))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw)
    return [
        round(k * step, 9) + 0.0
        for k in range(math.ceil(first / step), math.floor(last / step) + 1)
    ]


def spell_rule(
    x1: float, y1: float, x2: float, y2: float, *, colour: str, dash: str = "", stroke: float = 1
) -> str:
    """Return a straight line."""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        f'stroke="{colour}" stroke-width="{stroke:g}"{dashed}/>'
    )


def spell_text(
    x: float, y: float, text: str, *, anchor: str = "start", fill: str = INK, size: float = 13
) -> str:
    """Return a text that stands clear of lines; characters XML cannot hold are shown as lost."""
    shown = escape(_NOT_IN_XML.sub("\N{REPLACEMENT CHARACTER}", text))
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}" '
        f'font-family="{FONT}" font-size="{size:g}" '
        f'paint-order="stroke" stroke="{PAPER}" stroke-width="3" '
        f'stroke-linejoin="round">{shown}</text>'
    )


def spell_end_names(
    names: Sequence[tuple[str, float, str]], frame: Frame, *, apart: float = 15
) -> str:
    """Return names (text, height in the picture, colour) right of the plane, none over another."""
    places = spread_apart(
        [y for _, y, _ in names], apart=apart, first=frame.top + 5, last=frame.bottom - 2
    )
    parts = []
    for (text, wanted, colour), y in zip(names, places, strict=True):
        if abs(y - wanted) > 2:  # noqa: PLR2004 - less is not seen
            parts.append(
                spell_rule(frame.right, wanted, frame.right + 8, y, colour=colour, stroke=0.8)
            )
        parts.append(spell_text(frame.right + 10, y + 4, cut_text(text, 17), fill=colour))
    return "".join(parts)


def cut_text(text: str, most: int) -> str:
    """Return a text of at most `most` characters, with an ellipsis where it was cut."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
