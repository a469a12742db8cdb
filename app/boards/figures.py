"""The picture of one side of a board: where its parts sit, and which of them is the site."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from html import escape
from math import cos, hypot, radians, sin
from typing import Final, Protocol

from app.boards.rules import PARTS_DRAWN_MAX, Side, is_array_package, spell_designators

# Shares of the picture's longer side.
_MARGIN: Final = 0.04
_CROSS: Final = 0.008
_LINE: Final = 0.001
_FONT_MIN: Final = 0.012
_FONT_MAX: Final = 0.03
_SITE_GAP: Final = 0.012
# How wide a character is in shares of the font's height; common practice, no source.
_CHARACTER_WIDTH: Final = 0.65
_BODY_FILL: Final = 0.85
# Parts this far outside the outline still belong to it: connectors stand over the edge.
_OVERHANG_MM: Final = 5.0
_EMPTY_PICTURE_MM: Final = 100.0
_NOT_IN_XML: Final = {*range(9), 11, 12, *range(14, 32), *range(0xD800, 0xE000), 0xFFFE, 0xFFFF}


class PlacedPart(Protocol):
    """What the picture needs of a part: centre in mm as seen from the top, y up, degrees."""

    @property
    def designator(self) -> str:
        """Reference designator."""

    @property
    def package(self) -> str:
        """Name of the package."""

    @property
    def x_mm(self) -> Decimal | float:
        """Centre, to the right."""

    @property
    def y_mm(self) -> Decimal | float:
        """Centre, upwards."""

    @property
    def rotation_deg(self) -> Decimal | float:
        """Counter-clockwise."""

    @property
    def side(self) -> str:
        """Either top or bottom."""


@dataclass(frozen=True)
class _Box:
    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top


@dataclass(frozen=True)
class _Shown:
    """A part in the picture's own coordinates: mm, y down, mirrored where seen from below."""

    designator: str
    package: str
    x: float
    y: float
    turn_deg: float
    size: tuple[float, float] | None

    @property
    def reach(self) -> float:
        return hypot(*self.size) / 2 if self.size else 0.0


def draw_placement_svg(
    lines: Sequence[PlacedPart],
    *,
    side: Side,
    outline_mm: tuple[float, float] | None = None,
    marked: Collection[str] = (),
    sizes: Mapping[str, tuple[float, float]] | None = None,
) -> str:
    """Draw one side of a board as SVG text; the same parts always give the same text.

    `outline_mm` is width and height; its lower left corner is the origin when all parts lie in
    it, else it is centred on them and drawn as assumed. `sizes` gives body sizes along x and y at
    rotation 0 in mm by designator; parts without one are small crosses. The bottom side is shown
    as seen from below. At most 5,000 parts are drawn, marked ones and array packages first; the
    title says when that left some out. All numbers are finite.
    """
    here = [_show(line, side=side, sizes=sizes or {}) for line in lines if line.side == side]
    drawn = _limit(here, marked=marked)
    board, is_assumed = _find_board(drawn, outline_mm=outline_mm, side=side)
    extent = _widen(board, drawn)
    span = max(extent.width, extent.height)
    margin = span * (_MARGIN + _SITE_GAP + _FONT_MAX)
    sites = [part for part in drawn if part.designator in marked]
    title = _spell_title(here, drawn, side=side, marked=marked)
    view = " ".join(
        _number(value)
        for value in (
            extent.left - margin,
            extent.top - margin,
            extent.width + 2 * margin,
            extent.height + 2 * margin,
        )
    )
    picture = f'class="pl-picture" role="img" viewBox="{view}" aria-label="{_text(title)}"'
    pieces = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {picture}{_spell_ink(span)}>',
        f"<title>{_text(title)}</title>",
        f'<rect class="pl-board{" pl-assumed" if is_assumed else ""}"{_place(board)}/>',
        *(_draw_part(part, span=span) for part in drawn),
        *(_draw_site(part, span=span) for part in sites),
        *_draw_labels(drawn, span=span, marked=marked),
        "</svg>",
    ]
    return "\n".join(pieces)


def _spell_ink(span: float) -> str:
    """Return the attributes by which the picture is lines on nothing where no style sheet is."""
    return f' fill="none" stroke="currentColor" stroke-width="{_number(span * _LINE)}"'


def _show(line: PlacedPart, *, side: Side, sizes: Mapping[str, tuple[float, float]]) -> _Shown:
    is_below = side is Side.BOTTOM
    x, turn_deg = float(line.x_mm), float(line.rotation_deg)
    return _Shown(
        designator=line.designator,
        package=line.package,
        x=-x if is_below else x,
        y=-float(line.y_mm),
        # The picture's y runs down, which turns counter-clockwise round; below turns it back.
        turn_deg=turn_deg if is_below else -turn_deg,
        size=sizes.get(line.designator),
    )


def _limit(parts: Sequence[_Shown], *, marked: Collection[str]) -> list[_Shown]:
    if len(parts) <= PARTS_DRAWN_MAX:
        return list(parts)
    ranked = sorted(
        range(len(parts)),
        key=lambda place: (
            parts[place].designator not in marked,
            not is_array_package(parts[place].package),
            place,
        ),
    )
    return [parts[place] for place in sorted(ranked[:PARTS_DRAWN_MAX])]


def _find_board(
    parts: Sequence[_Shown], *, outline_mm: tuple[float, float] | None, side: Side
) -> tuple[_Box, bool]:
    extent = _find_extent(parts)
    if outline_mm is None:
        return extent or _Box(0, -_EMPTY_PICTURE_MM, _EMPTY_PICTURE_MM, 0), True
    width, height = outline_mm
    left = -width if side is Side.BOTTOM else 0.0
    board = _Box(left, -height, left + width, 0.0)
    if all(
        board.left - _OVERHANG_MM <= part.x <= board.right + _OVERHANG_MM
        and board.top - _OVERHANG_MM <= part.y <= board.bottom + _OVERHANG_MM
        for part in parts
    ):
        return board, False
    centre = extent or board
    x, y = (centre.left + centre.right) / 2, (centre.top + centre.bottom) / 2
    return _Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2), True


def _find_extent(parts: Sequence[_Shown]) -> _Box | None:
    if not parts:
        return None
    box = _Box(
        min(part.x - part.reach for part in parts),
        min(part.y - part.reach for part in parts),
        max(part.x + part.reach for part in parts),
        max(part.y + part.reach for part in parts),
    )
    # One part alone, or a row of them, still needs room around it.
    pad = max(1.0, 0.02 * max(box.width, box.height))
    return _Box(box.left - pad, box.top - pad, box.right + pad, box.bottom + pad)


def _widen(board: _Box, parts: Sequence[_Shown]) -> _Box:
    extent = _find_extent(parts)
    if extent is None:
        return board
    return _Box(
        min(board.left, extent.left),
        min(board.top, extent.top),
        max(board.right, extent.right),
        max(board.bottom, extent.bottom),
    )


def _draw_part(part: _Shown, *, span: float) -> str:
    title = f"<title>{_text(f'{part.designator} {part.package}'.strip())}</title>"
    if part.size is None:
        arm = span * _CROSS
        path = (
            f"M{_number(part.x - arm)} {_number(part.y)}h{_number(2 * arm)}"
            f"M{_number(part.x)} {_number(part.y - arm)}v{_number(2 * arm)}"
        )
        return f'<path class="pl-part pl-unsized" d="{path}">{title}</path>'
    width, height = part.size
    box = _Box(part.x - width / 2, part.y - height / 2, part.x + width / 2, part.y + height / 2)
    return f'<rect class="pl-part"{_place(box)}{_turn(part)}>{title}</rect>'


def _turn(part: _Shown) -> str:
    if part.size is None or not part.turn_deg:
        return ""
    turn = f"{_number(part.turn_deg)} {_number(part.x)} {_number(part.y)}"
    return f' transform="rotate({turn})"'


def _draw_site(part: _Shown, *, span: float) -> str:
    """Draw a frame, or a ring where no size is known, with four ticks: known by its shape."""
    tick = span * _SITE_GAP
    x, y = part.x, part.y
    across, down = _reach_of_site(part, span=span)
    if part.size is None:
        shape = (
            f"M{_number(x - across)} {_number(y)}"
            f"a{_number(across)} {_number(across)} 0 1 0 {_number(2 * across)} 0"
            f"a{_number(across)} {_number(across)} 0 1 0 {_number(-2 * across)} 0z"
        )
    else:
        shape = (
            f"M{_number(x - across)} {_number(y - down)}h{_number(2 * across)}"
            f"v{_number(2 * down)}h{_number(-2 * across)}z"
        )
    ticks = (
        f"M{_number(x - across - tick)} {_number(y)}h{_number(tick)}"
        f"M{_number(x + across)} {_number(y)}h{_number(tick)}"
        f"M{_number(x)} {_number(y - down - tick)}v{_number(tick)}"
        f"M{_number(x)} {_number(y + down)}v{_number(tick)}"
    )
    title = f"<title>{_text(part.designator)}, marked</title>"
    turn = _turn(part)
    ink = f'stroke-width="{_number(3 * span * _LINE)}"'
    return f'<path class="pl-site" {ink} d="{shape}{ticks}"{turn}>{title}</path>'


def _reach_of_site(part: _Shown, *, span: float) -> tuple[float, float]:
    """Return how far the site's mark reaches along the part's own x and y."""
    width, height = part.size or (2 * span * _CROSS, 2 * span * _CROSS)
    gap = span * _SITE_GAP / 2
    return width / 2 + gap, height / 2 + gap


def _find_label_y(part: _Shown, *, span: float) -> float:
    """Return where a marked part's name stands free above its mark, however it is turned."""
    across, down = _reach_of_site(part, span=span)
    tick = span * _SITE_GAP
    turn = radians(part.turn_deg)
    above = max(
        abs(sin(turn)) * (across + tick),
        abs(cos(turn)) * (down + tick),
        abs(sin(turn)) * across + abs(cos(turn)) * down,
    )
    return part.y - above - tick / 2


def _draw_labels(parts: Sequence[_Shown], *, span: float, marked: Collection[str]) -> Iterable[str]:
    for part in parts:
        if part.designator in marked:
            font = span * _FONT_MAX
            y = _find_label_y(part, span=span)
            yield _draw_label(part, y=y, font=font, extra=" pl-label-site")
            continue
        font = min(_find_font(part), span * _FONT_MAX)
        if font < span * _FONT_MIN:
            if not is_array_package(part.package):
                continue
            font = span * _FONT_MIN
        yield _draw_label(part, y=part.y + 0.35 * font, font=font, extra="")


def _find_font(part: _Shown) -> float:
    """Return the height of text that fits into the upright square within a body, 0 if unknown."""
    if part.size is None or not part.designator:
        return 0.0
    is_upright = round(part.turn_deg / 90) % 2 == 1
    width, height = (part.size[1], part.size[0]) if is_upright else part.size
    return _BODY_FILL * min(height, width / (_CHARACTER_WIDTH * len(part.designator)))


def _draw_label(part: _Shown, *, y: float, font: float, extra: str) -> str:
    return (
        f'<text class="pl-label{extra}" x="{_number(part.x)}" y="{_number(y)}"'
        f' font-size="{_number(font)}" text-anchor="middle" fill="currentColor"'
        f' stroke="none">{_text(part.designator)}</text>'
    )


def _spell_title(
    here: Sequence[_Shown], drawn: Sequence[_Shown], *, side: Side, marked: Collection[str]
) -> str:
    view = "Bottom side as seen from below" if side is Side.BOTTOM else "Top side"
    parts = "1 part" if len(here) == 1 else f"{len(here):,} parts"
    sentences = [f"{view}, {parts if here else 'no parts'}."]
    if len(drawn) < len(here):
        sentences.append(f"{len(drawn):,} of them are drawn.")
    present = {part.designator for part in here}
    shown = tuple(sorted(name for name in set(marked) if name in present))
    absent = tuple(sorted(name for name in set(marked) if name not in present))
    if shown:
        sentences.append(f"Marked: {spell_designators(shown)}.")
    if absent:
        sentences.append(f"Not placed on this side: {spell_designators(absent)}.")
    return " ".join(sentences)


def _place(box: _Box) -> str:
    return (
        f' x="{_number(box.left)}" y="{_number(box.top)}"'
        f' width="{_number(box.width)}" height="{_number(box.height)}"'
    )


def _number(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def _text(text: str) -> str:
    return escape("".join("�" if ord(c) in _NOT_IN_XML else c for c in text), quote=True)
