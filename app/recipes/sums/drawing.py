"""The few strokes that the pictures of the sums are made of."""

from collections.abc import Iterable, Sequence
from html import escape

Point = tuple[float, float]


def wrap(width: float, height: float, *, told: str, parts: Iterable[str]) -> str:
    """Return an SVG of a size in its own units; `told` says the picture in words."""
    head = f'<svg viewBox="0 0 {width:g} {height:g}" role="img" class="sum-picture">'
    return "".join((head, f"<title>{escape(told)}</title>", *parts, "</svg>"))


def write(x: float, y: float, words: str, *, anchor: str = "start", mark: str = "su-word") -> str:
    """Return a line of words at a place."""
    return (
        f'<text class="{mark}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">'
        f"{escape(words)}</text>"
    )


def draw_line(start: Point, end: Point, *, mark: str) -> str:
    """Return a straight line."""
    return (
        f'<line class="{mark}" x1="{start[0]:.1f}" y1="{start[1]:.1f}" '
        f'x2="{end[0]:.1f}" y2="{end[1]:.1f}"/>'
    )


def draw_box(corner: Point, width: float, height: float, *, mark: str) -> str:
    """Return a rectangle by its upper left corner."""
    return (
        f'<rect class="{mark}" x="{corner[0]:.1f}" y="{corner[1]:.1f}" '
        f'width="{max(width, 0.5):.1f}" height="{max(height, 0.5):.1f}"/>'
    )


def draw_path(points: Sequence[Point], *, mark: str, is_closed: bool = False) -> str:
    """Return a line through points."""
    steps = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path class="{mark}" d="M{steps}{"Z" if is_closed else ""}"/>'


def draw_span(start: Point, end: Point, words: str) -> str:
    """Return a dimension: a line with ends, upright or level, and its words at the middle."""
    is_upright = start[0] == end[0]
    tick = (4.0, 0.0) if is_upright else (0.0, 4.0)
    ends = "".join(
        draw_line((x - tick[0], y - tick[1]), (x + tick[0], y + tick[1]), mark="su-span")
        for x, y in (start, end)
    )
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    place = (middle[0] + 7, middle[1] + 4) if is_upright else (middle[0], middle[1] + 15)
    told = write(*place, words, anchor="start" if is_upright else "middle")
    return draw_line(start, end, mark="su-span") + ends + told
