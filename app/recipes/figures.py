"""The picture of a recipe's set points: what each heater is set to, against time."""

from collections.abc import Sequence
from html import escape
from typing import Final

from app.recipes.body.describe import spell_number
from app.recipes.body.heating import Zone

WIDTH: Final = 520
HEIGHT: Final = 250
_LEFT: Final = 44
_RIGHT: Final = 14
_TOP: Final = 26
_BOTTOM: Final = 40
_STEP_C: Final = 50
_HEAD_ROOM_C: Final = 20
_LABEL_GAP: Final = 5
# Zones narrower than this in the picture carry no name; the table beside has them all.
_NAME_NEEDS: Final = 34
_HEATER_NAME_NEEDS: Final = 60


def draw_set_points(zones: Sequence[Zone], *, liquidus_c: float) -> str:
    """Return an SVG of top and bottom set temperatures in °C against time in s, zone by zone.

    A heater that is off leaves a gap. The liquidus of the joints is drawn through.
    """
    return _Picture(zones, liquidus_c).draw()


class _Picture:
    def __init__(self, zones: Sequence[Zone], liquidus_c: float) -> None:
        self.zones = zones
        self.liquidus_c = liquidus_c
        self.total_s = sum(zone.time_s for zone in zones)
        set_c = [c for zone in zones for c in (zone.top_c, zone.bottom_c) if c is not None]
        highest = max([*set_c, liquidus_c]) + _HEAD_ROOM_C
        self.most_c = -(-highest // _STEP_C) * _STEP_C
        self.starts_s = [sum(zone.time_s for zone in zones[:place]) for place in range(len(zones))]

    def draw(self) -> str:
        parts = [
            f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" class="set-points">',
            f"<title>{escape(self._tell())}</title>",
            *self._draw_grid(),
            *self._draw_zones(),
            *self._draw_liquidus(),
            *self._draw_heater("top"),
            *self._draw_heater("bottom"),
            "</svg>",
        ]
        return "".join(parts)

    def _tell(self) -> str:
        told = (
            f"{zone.name} {spell_number(zone.time_s)} s, top {_spell_set(zone.top_c)}, "
            f"bottom {_spell_set(zone.bottom_c)}"
            for zone in self.zones
        )
        return "Set points: " + "; ".join(told)

    def _x(self, time_s: float) -> float:
        return _LEFT + time_s / self.total_s * (WIDTH - _LEFT - _RIGHT)

    def _y(self, temperature_c: float) -> float:
        return HEIGHT - _BOTTOM - temperature_c / self.most_c * (HEIGHT - _TOP - _BOTTOM)

    def _draw_grid(self) -> list[str]:
        step = _STEP_C if self.most_c <= 6 * _STEP_C else 2 * _STEP_C
        drawn = []
        for temperature_c in range(0, int(self.most_c) + 1, step):
            y = self._y(temperature_c)
            drawn.append(
                f'<line class="sp-grid" x1="{_LEFT}" x2="{WIDTH - _RIGHT}" y1="{y:.1f}" '
                f'y2="{y:.1f}"/>'
            )
            drawn.append(_write(_LEFT - _LABEL_GAP, y + 4, f"{temperature_c}", anchor="end"))
        drawn.append(_write(_LEFT - _LABEL_GAP, _TOP - 12, "°C", anchor="end"))
        drawn.append(_write(WIDTH - _RIGHT, HEIGHT - 6, "time in s", anchor="end"))
        return drawn

    def _draw_zones(self) -> list[str]:
        drawn = []
        for zone, start_s in zip(self.zones, self.starts_s, strict=True):
            left, right = self._x(start_s), self._x(start_s + zone.time_s)
            drawn.append(
                f'<line class="sp-edge" x1="{right:.1f}" x2="{right:.1f}" y1="{_TOP}" '
                f'y2="{HEIGHT - _BOTTOM}"/>'
            )
            if right - left >= _NAME_NEEDS:
                middle = (left + right) / 2
                end = spell_number(start_s + zone.time_s)
                drawn.append(_write(middle, _TOP - 12, str(zone.name), anchor="middle"))
                drawn.append(_write(right, HEIGHT - _BOTTOM + 16, end, anchor="middle"))
        return drawn

    def _draw_liquidus(self) -> list[str]:
        y = self._y(self.liquidus_c)
        words = f"liquidus {spell_number(self.liquidus_c)} °C"
        line = (
            f'<line class="sp-liquidus" x1="{_LEFT}" x2="{WIDTH - _RIGHT}" y1="{y:.1f}" '
            f'y2="{y:.1f}"/>'
        )
        return [line, _write(_LEFT + 4, y - 4, words)]

    def _draw_heater(self, which: str) -> list[str]:
        """Draw one heater as steps, its name at its last point."""
        path, last, is_on = [], (0.0, 0.0), False
        for zone, start_s in zip(self.zones, self.starts_s, strict=True):
            set_c = zone.top_c if which == "top" else zone.bottom_c
            if set_c is None:
                is_on = False
                continue
            y = self._y(set_c)
            path.append(f"{'L' if is_on else 'M'}{self._x(start_s):.1f} {y:.1f}")
            last = (self._x(start_s + zone.time_s), y)
            path.append(f"L{last[0]:.1f} {last[1]:.1f}")
            is_on = True
        if not path:
            return []
        # The names keep to the outer sides of the two lines, clear of each other.
        y = last[1] - _LABEL_GAP if which == "top" else last[1] + 2 * _LABEL_GAP + 6
        anchor, x = "end", last[0]
        if WIDTH - _RIGHT - last[0] > _HEATER_NAME_NEEDS:
            anchor, x = "start", last[0] + _LABEL_GAP
        return [
            f'<path class="sp-{which}" d="{"".join(path)}"/>',
            _write(x, y, which, anchor=anchor, mark=f"sp-name-{which}"),
        ]


def _spell_set(temperature_c: float | None) -> str:
    return "off" if temperature_c is None else f"{spell_number(temperature_c)} °C"


def _write(x: float, y: float, words: str, *, anchor: str = "start", mark: str = "sp-word") -> str:
    return (
        f'<text class="{mark}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">'
        f"{escape(words)}</text>"
    )
