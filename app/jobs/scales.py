"""The scale that temperatures are shown in; what is kept stays in °C."""

from enum import StrEnum
from typing import Final

_DECIMALS: Final = {"K/s": 2, "K·s": 0}


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
