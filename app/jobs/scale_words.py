"""Puts the temperatures that stand in a sentence onto the scale that is asked for."""

import re
from typing import Final

from app.jobs.scales import Scale

# "within 5 °C" says how far, not how hot.
_WITHIN: Final = re.compile(r"(?<=[Ww]ithin )(?P<number>[0-9]+(?:\.[0-9]+)?) °C")
_FIGURE: Final = re.compile(
    r"(?P<number>[-−+]?[0-9][0-9,]*(?:\.[0-9]+)?) (?P<unit>°C|K/s|K·s|K)(?![\w/·])"
)


def spell_on_scale(sentence: str, scale: Scale) -> str:
    """Return a sentence with every `… °C`, `… K`, `… K/s` and `… K·s` in it on the scale.

    A further decimal is given where the conversion needs one; a number of thousands keeps its
    commas.
    """
    if scale is Scale.CELSIUS:
        return sentence
    return _FIGURE.sub(
        lambda found: _convert(found["number"], found["unit"], scale),
        _WITHIN.sub(lambda found: _convert(found["number"], "K", scale), sentence),
    )


def _convert(number: str, unit: str, scale: Scale) -> str:
    _, _, decimals = number.partition(".")
    value = float(number.replace(",", "").replace("−", "-"))
    shown, words = scale.convert_figure(value, unit)
    grouping = "," if "," in number else ""
    text = f"{round(shown, len(decimals) + 1) + 0.0:{grouping}.{len(decimals) + 1}f}"
    if text.endswith("0"):
        text = text[:-1].rstrip(".")
    sign = "+" if number.startswith("+") and shown >= 0 else ""
    return f"{sign}{text.replace('-', '−')} {words}"
