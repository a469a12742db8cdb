"""The scale that temperatures are shown in; what is kept stays in °C."""

import math
from enum import StrEnum
from typing import Final

_DECIMALS: Final = {"K/s": 2, "K·s": 0}
# Two digits of an uncertainty are all that is meant (JCGM 100, 7.2.6).
_DIGITS_OF_UNCERTAINTY: Final = 2


class Scale(StrEnum):
    """Celsius or Fahrenheit, by the letter that an address carries."""

    CELSIUS = "C"
    FAHRENHEIT = "F"

    @property
    def words(self) -> str:
        """The unit as it is printed behind a number."""
        return f"°{self.value}"

    def convert(self, temperature_c: float) -> float:
        """Return a temperature in °C on this scale; °F is 1.8 × °C + 32 by definition."""
        return temperature_c if self is Scale.CELSIUS else temperature_c * 1.8 + 32.0

    def revert(self, temperature: float) -> float:
        """Return a temperature on this scale in °C."""
        return temperature if self is Scale.CELSIUS else (temperature - 32.0) / 1.8

    def convert_figure(self, value: float, unit: str) -> tuple[float, str]:
        """Return a figure and its unit on this scale.

        A difference of 1 K is one of 1.8 °F, without the 32. Units without a temperature stay.
        """
        if self is Scale.CELSIUS:
            return value, unit
        if unit == "°C":
            return self.convert(value), self.words
        return (value * 1.8, unit.replace("K", self.words)) if unit[:1] == "K" else (value, unit)

    def spell(self, value: float, unit: str, *, signed: bool = False) -> str:
        """Spell a figure with the decimals its unit deserves: 0.1 °C, 0.1 s, 0.01 K/s."""
        shown, words = self.convert_figure(value, unit)
        decimals = _DECIMALS.get(unit, 1)
        # A minus before a rounded nought would say a direction that is not there.
        shown = round(shown, decimals) + 0.0
        spelt = f"{shown:{'+' if signed else ''}.{decimals}f} {words}"
        return spelt.replace("-", "−") if signed else spelt

    def spell_apart(self, value: float, first: float, unit: str) -> str:
        """Spell how much more a figure is than another as both are shown: `−1.0 K`.

        The difference of what `spell` shows, so that nobody who subtracts finds another.
        """
        decimals = _DECIMALS.get(unit, 1)
        shown, other = (
            round(self.convert_figure(one, unit)[0], decimals) for one in (value, first)
        )
        words = self.convert_figure(0.0, "K" if unit == "°C" else unit)[1]
        return f"{round(shown - other, decimals) + 0.0:+.{decimals}f} {words}".replace("-", "−")

    def spell_with(
        self, value: float, unit: str, expanded: float | None, *, shown: bool = True
    ) -> str:
        """Spell a figure with no more digits than its uncertainty has, which is added where shown.

        `expanded` is U (k = 2) in the unit, for °C in K. `75 ± 15 s`, `238.0 ± 3.1 °C`.
        """
        if expanded is None:
            return self.spell(value, unit)
        number, words = self.convert_figure(value, unit)
        around = self.convert_difference(expanded, unit)
        decimals = min(_DECIMALS.get(unit, 1), _count_decimals(around))
        spelt = _round_to(number, decimals)
        return f"{spelt} ± {_round_to(around, decimals)} {words}" if shown else f"{spelt} {words}"

    def convert_difference(self, difference: float, unit: str) -> float:
        """Return a difference of figures of a unit on this scale; one of °C is in K."""
        is_scaled = self is not Scale.CELSIUS and (unit == "°C" or unit[:1] == "K")
        return difference * 1.8 if is_scaled else difference

    def spell_difference(self, difference: float, unit: str, expanded: float | None) -> str:
        """Spell how far apart two figures of a unit are, with as many digits as `spell_with`."""
        words = "K" if unit == "°C" else unit
        if self is not Scale.CELSIUS:
            words = self.convert_figure(0.0, words)[1]
        around = self.convert_difference(expanded or 0.0, unit)
        decimals = min(_DECIMALS.get(unit, 1), _count_decimals(around))
        return f"{_round_to(self.convert_difference(difference, unit), decimals)} {words}"


def _count_decimals(expanded: float) -> int:
    """Return how many decimals two digits of an uncertainty take; below 0 are tens."""
    if not expanded > 0.0:
        return _DIGITS_OF_UNCERTAINTY
    return _DIGITS_OF_UNCERTAINTY - 1 - math.floor(math.log10(expanded))


def _round_to(number: float, decimals: int) -> str:
    return f"{round(number, decimals) + 0.0:.{max(decimals, 0)}f}"
