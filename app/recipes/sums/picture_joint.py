"""The picture of a ball between its pads, before and after melting, to one scale."""

import math
from collections.abc import Iterable
from typing import Final

from app.numerics.solder_joint import Joint, PlacementHeights, trace_outline
from app.recipes.sums.drawing import Point, draw_box, draw_path, draw_span, wrap, write

WIDTH: Final = 360.0
_TOP: Final = 34.0
_PAD: Final = 9.0
_HALF_ROOM: Final = 52.0
_HIGH_ROOM: Final = 150.0
_CENTRES: Final = (68.0, 246.0)
_COUNT: Final = 49


def draw_joint(
    joint: Joint, heights: PlacementHeights, *, paste_mm: float, paste_wide_mm: float
) -> str:
    """Return an SVG of the standing ball, perhaps on paste, and of the joint it becomes."""
    before = _trace_standing(joint, heights.before.mm - paste_mm, raised_mm=paste_mm)
    after = trace_outline(joint, count=_COUNT)
    pads_mm = max(joint.package_pad_mm, joint.board_pad_mm, paste_wide_mm) / 2
    half_mm = max(pads_mm, *(half for half, _ in (*before, *after)))
    high_mm = max(heights.before.mm, heights.after.mm)
    scale = min(_HALF_ROOM / half_mm, _HIGH_ROOM / high_mm)
    ground = _TOP + _PAD + high_mm * scale
    parts = [write(_CENTRES[0], 16, "set down", anchor="middle")]
    parts.append(write(_CENTRES[1], 16, "melted", anchor="middle"))
    if paste_mm:
        wide = paste_wide_mm * scale
        corner = (_CENTRES[0] - wide / 2, ground - paste_mm * scale)
        parts.append(draw_box(corner, wide, paste_mm * scale, mark="su-paste"))
    shown = ((before, heights.before.mm), (after, heights.after.mm))
    for centre, (outline, height_mm) in zip(_CENTRES, shown, strict=True):
        parts.append(
            draw_path(_mirror(outline, centre, ground, scale), mark="su-ball", is_closed=True)
        )
        top = ground - height_mm * scale
        package, board = joint.package_pad_mm * scale, joint.board_pad_mm * scale
        parts.append(draw_box((centre - package / 2, top - _PAD), package, _PAD, mark="su-pad"))
        parts.append(draw_box((centre - board / 2, ground), board, _PAD, mark="su-pad"))
        side = centre + _HALF_ROOM + 6
        parts.append(draw_span((side, top), (side, ground), f"{height_mm:.3f}"))
    under = ground + _PAD + 20
    parts.append(write(_CENTRES[0], under, "heights in mm", anchor="middle"))
    widest = f"widest {joint.largest_diameter_mm:.3f} mm"
    parts.append(write(_CENTRES[1], under, widest, anchor="middle"))
    told = (
        f"Ball of {joint.ball_mm:g} mm between pads, to scale: {heights.before.mm:.3f} mm high "
        f"when set down, {heights.after.mm:.3f} mm when melted"
    )
    return wrap(WIDTH, under + 10, told=told, parts=parts)


def _trace_standing(joint: Joint, height_mm: float, *, raised_mm: float) -> tuple[Point, ...]:
    """List (half width, height) of the ball cut off by the package pad alone."""
    radius = (height_mm**2 + (joint.package_pad_mm / 2) ** 2) / (2 * height_mm)
    heights = (height_mm * place / (_COUNT - 1) for place in range(_COUNT))
    return tuple(
        (math.sqrt(max(radius**2 - (z - radius) ** 2, 0.0)), z + raised_mm) for z in heights
    )


def _mirror(
    outline: Iterable[Point], centre: float, ground: float, scale: float
) -> tuple[Point, ...]:
    right = [(centre + half * scale, ground - z * scale) for half, z in outline]
    left = [(2 * centre - x, y) for x, y in reversed(right)]
    return (*right, *left)
