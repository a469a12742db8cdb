"""The picture of an aperture: from above, and cut through with the foil's wall, to one scale."""

from typing import Final

from app.recipes.body.lengths import TypedLength
from app.recipes.body.stencil import Aperture, ApertureShape
from app.recipes.sums.drawing import draw_box, draw_span, wrap, write

WIDTH: Final = 360.0
_ROOM: Final = 170.0
_TOP: Final = 30.0


def draw_stencil(aperture: Aperture, foil: TypedLength) -> str:
    """Return an SVG of the opening above and of the cut through it below, drawn to scale."""
    long_mm = float(aperture.length.mm)
    wide_mm = long_mm if aperture.width is None else float(aperture.width.mm)
    foil_mm = float(foil.mm)
    scale = _ROOM / max(long_mm, wide_mm, foil_mm)
    long, wide, thick = long_mm * scale, wide_mm * scale, foil_mm * scale
    left = (WIDTH - long) / 2
    middle = _TOP + wide / 2
    under = _TOP + wide + 62
    is_round = aperture.shape is ApertureShape.ROUND
    opening = (
        f'<circle class="su-open" cx="{WIDTH / 2:.1f}" cy="{middle:.1f}" r="{long / 2:.1f}"/>'
        if is_round
        else draw_box((left, _TOP), long, wide, mark="su-open")
    )
    length, thickness = aperture.length.spell(), foil.spell()
    parts = [
        draw_box((left - 40, _TOP - 8), long + 80, wide + 16, mark="su-foil"),
        opening,
        draw_span((left, _TOP + wide + 18), (left + long, _TOP + wide + 18), length),
        write(8, _TOP - 14, "from above"),
        write(8, under - 6, "cut through"),
        draw_box((left - 40, under), 40, thick, mark="su-foil"),
        draw_box((left + long, under), 40, thick, mark="su-foil"),
        draw_box((left, under), long, thick, mark="su-paste"),
        draw_span((left + long + 47, under), (left + long + 47, under + thick), ""),
        write(WIDTH / 2, under + thick + 18, f"foil {thickness}", anchor="middle"),
    ]
    if aperture.width is not None:
        side = left + long + 47
        parts.append(draw_span((side, _TOP), (side, _TOP + wide), ""))
        width = f"width {aperture.width.spell()}"
        parts.append(write(WIDTH - 8, _TOP - 14, width, anchor="end"))
    told = f"{aperture.shape.value} aperture, {length}"
    told += "" if aperture.width is None else f" by {aperture.width.spell()}"
    return wrap(
        WIDTH, under + thick + 28, told=f"{told}, in a foil of {thickness}, to scale", parts=parts
    )
