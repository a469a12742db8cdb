"""Draws the chart of a run as one SVG that also says where it comes from, and as PNG."""

import textwrap
from collections.abc import Sequence
from functools import cache
from importlib.resources import as_file, files
from typing import Final
from xml.sax.saxutils import escape

import resvg_py

from app.jobs.chart import Chart, ShownZone, View, compute_heights
from app.jobs.drawing import split_at_gaps, spread_apart
from app.jobs.pictures import (
    COLOURS,
    INK,
    PAPER,
    Frame,
    cut_text,
    spell_axes,
    spell_end_names,
    spell_lines,
    spell_rule,
    spell_text,
)

WIDTH: Final = 960
LIMIT_COLOUR: Final = "#9c1f1f"
SET_COLOURS: Final = {"top": "#8a5a00", "bottom": "#5b6770"}
_LETTERS_OF_LINE: Final = 128
_LINE_HEIGHT: Final = 18
_ZOOM: Final = 2
_LAST_OF_ROBOTO: Final = 0x04FF
_PUNCTUATION: Final = range(0x2010, 0x2040)


def draw_chart_svg(chart: Chart) -> str:
    """Return the part of a run that is seen as SVG, with the lines that say where it is from."""
    titles = textwrap.wrap(chart.title, _LETTERS_OF_LINE - 20)
    about = spell_about_lines(chart.about)
    top = 16 + 20 * len(titles)
    lowest, highest = compute_heights(chart)
    view = chart.view
    frame = Frame(56, top, WIDTH - 56 - 134, 370, view.from_s, view.to_s, lowest, highest)
    heading = "".join(
        spell_text(10, 22 + 20 * place, line, size=16) for place, line in enumerate(titles)
    )
    body = "".join(
        (
            _spell_zones(chart.zones, frame),
            spell_axes(frame, view.scale, about_time="time since the first sample, s"),
            _clip(_spell_set_points(chart.zones, frame) + _spell_marks(chart, frame)),
            _spell_levels(chart, frame),
            _clip(spell_lines(chart.channels, frame, stroke=2)),
            spell_end_names(_list_ends(chart, frame), frame),
        )
    )
    return assemble_svg(chart.title, heading + body, frame=frame, about=about)


def assemble_svg(title: str, body: str, *, frame: Frame, about: Sequence[str]) -> str:
    """Return a picture with its plane cut out, and the lines about it below."""
    below = frame.bottom + 62
    height = below + _LINE_HEIGHT * len(about)
    lines = "".join(
        spell_text(10, below + _LINE_HEIGHT * place, line, size=12.5)
        for place, line in enumerate(about)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height:g}" '
        f'width="{WIDTH}" height="{height:g}" role="img"><title>{escape(title)}</title>'
        f'<clipPath id="plane"><rect x="{frame.left:g}" y="{frame.top:g}" '
        f'width="{frame.width:g}" height="{frame.height:g}"/></clipPath>'
        f'<rect width="{WIDTH}" height="{height:g}" fill="{PAPER}"/>{body}{lines}</svg>'
    )


def spell_about_lines(about: Sequence[tuple[str, str]]) -> list[str]:
    """Return the pairs as lines that fit the picture's width, none torn where it can be helped."""
    lines = [""]
    for label, value in about:
        pair = f"{label} {value}"
        if lines[-1] and len(lines[-1]) + len(pair) + 3 > _LETTERS_OF_LINE:
            lines.append("")
        lines[-1] += f"{' · ' if lines[-1] else ''}{pair}"
    return [part for line in lines for part in textwrap.wrap(line, _LETTERS_OF_LINE)]


def draw_png(svg: str) -> bytes:
    """Return a picture as PNG at twice its size.

    The same picture gives the same bytes wherever its letters are in the font that comes along;
    others are taken from the system.
    """
    with as_file(files("font_roboto") / "files" / "Roboto-Regular.ttf") as font:
        return resvg_py.svg_to_bytes(
            svg_string=svg,
            zoom=_ZOOM,
            font_files=[str(font)],
            skip_system_fonts=all(_is_in_font(letter) for letter in set(svg)),
            font_family="Roboto",
            sans_serif_family="Roboto",
        )


@cache
def _is_in_font(letter: str) -> bool:
    """Say whether a letter is among the Latin, Greek, Cyrillic ones and the dashes of Roboto."""
    return ord(letter) <= _LAST_OF_ROBOTO or ord(letter) in _PUNCTUATION


def _clip(drawn: str) -> str:
    return f'<g clip-path="url(#plane)">{drawn}</g>'


def _spell_zones(zones: Sequence[ShownZone], frame: Frame) -> str:
    parts = []
    for place, zone in enumerate(zones):
        first, last = max(zone.from_s, frame.from_s), min(zone.to_s, frame.to_s)
        if first >= last:
            continue
        x, width = frame.x(first), frame.x(last) - frame.x(first)
        parts.append(
            f'<rect x="{x:.1f}" y="{frame.top:g}" width="{width:.1f}" height="{frame.height:g}" '
            f'fill="#786432" fill-opacity="{0.13 if place % 2 else 0.05}"/>'
        )
        if width > len(zone.name) * 7:
            parts.append(spell_text(x + 4, frame.bottom - 6, zone.name, size=12))
    return "".join(parts)


def list_set_points(zones: Sequence[ShownZone], heater: str) -> list[list[tuple[float, float]]]:
    """Return a heater's set-points as unbroken steps of (s, °C); off is a gap."""
    lines: list[list[tuple[float, float]]] = [[]]
    for zone in zones:
        at_c = zone.top_c if heater == "top" else zone.bottom_c
        if at_c is None:
            lines.append([])
        else:
            lines[-1] += [(zone.from_s, at_c), (zone.to_s, at_c)]
    return [line for line in lines if line]


def _spell_set_points(zones: Sequence[ShownZone], frame: Frame) -> str:
    parts = []
    for heater, colour in SET_COLOURS.items():
        for line in list_set_points(zones, heater):
            points = " ".join(f"{frame.x(s):.1f},{frame.y(c):.1f}" for s, c in line)
            parts.append(
                f'<polyline points="{points}" fill="none" stroke="{colour}" '
                'stroke-width="1.4" stroke-opacity="0.7"/>'
            )
    return "".join(parts)


def _spell_marks(chart: Chart, frame: Frame) -> str:
    parts = []
    shown = [m for m in chart.marks if m.to_s >= frame.from_s and m.from_s <= frame.to_s]
    for place, mark in enumerate(shown):
        x = frame.x(max(mark.from_s, frame.from_s))
        width = max(frame.x(min(mark.to_s, frame.to_s)) - x, 2.0)
        y = frame.top + 14 + 15 * (place % 5)
        parts.append(
            f'<rect x="{x:.1f}" y="{frame.top:g}" width="{width:.1f}" height="{frame.height:g}" '
            f'fill="{LIMIT_COLOUR}" fill-opacity="0.12"/>'
            f'<path d="M{x + 3:.1f} {y:.1f}h9l-4.5 -9z" fill="{LIMIT_COLOUR}"/>'
        )
        words = f"{mark.channel}: {mark.words}" if mark.channel else mark.words
        is_late = x > frame.left + 0.7 * frame.width
        parts.append(
            spell_text(
                x - 3 if is_late else x + 15,
                y,
                cut_text(words, 40),
                anchor="end" if is_late else "start",
                fill=LIMIT_COLOUR,
                size=12,
            )
        )
    return "".join(parts)


def _spell_levels(chart: Chart, frame: Frame) -> str:
    """Return the liquidus, the limits and the set-points' names, left, none over another."""
    spell = chart.view.scale.spell
    named: list[tuple[float, str, str]] = []
    parts = []
    levels = [("liquidus", chart.liquidus_c, INK, "6 3")]
    levels += [(level.label, level.at_c, LIMIT_COLOUR, "2 3") for level in chart.levels]
    for label, at_c, colour, dash in levels:
        if frame.from_c <= at_c <= frame.to_c:
            y = frame.y(at_c)
            parts.append(spell_rule(frame.left, y, frame.right, y, colour=colour, dash=dash))
            named.append((y - 4, f"{spell(at_c, '°C')} {label}", colour))
    for heater, colour in SET_COLOURS.items():
        at = find_first_set(chart.zones, heater, chart.view)
        if at is not None and frame.from_c <= at <= frame.to_c:
            named.append((frame.y(at) - 4, f"{heater} heater set", colour))
    places = spread_apart(
        [y for y, _, _ in named], apart=13, first=frame.top + 10, last=frame.bottom - 24
    )
    for (_, text, colour), y in zip(named, places, strict=True):
        parts.append(spell_text(frame.left + 4, y, cut_text(text, 60), fill=colour, size=12))
    return "".join(parts)


def find_first_set(zones: Sequence[ShownZone], heater: str, view: View) -> float | None:
    """Return a heater's set-point in °C where the view begins, or None where it is off."""
    for zone in zones:
        if zone.from_s <= view.from_s < zone.to_s:
            return zone.top_c if heater == "top" else zone.bottom_c
    return None


def _list_ends(chart: Chart, frame: Frame) -> list[tuple[str, float, str]]:
    """Return each channel's name, the height of its last reading that is seen, and its colour."""
    ends = []
    for place, channel in enumerate(chart.channels):
        seen = [
            c for line in split_at_gaps(channel) for s, c in line if frame.from_s <= s <= frame.to_s
        ]
        if seen:
            ends.append((channel.name, frame.y(seen[-1]), COLOURS[place % len(COLOURS)]))
    return ends
