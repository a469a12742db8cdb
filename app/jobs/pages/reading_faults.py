"""What was wrong with a reading's form, in sentences that name their field or column."""

import re
from collections.abc import Mapping
from typing import Final

from app.jobs.pages.reading_form import list_said_channels, list_said_columns
from app.jobs.pages.reading_lines import LABELS
from app.web.forms import Form

_PLACE: Final = re.compile(r"(columns|channels)\.(\d+)(?:\.(\w+))?$")
_WORDS: Final[Mapping[str, str]] = {
    "role": "what it is taken for",
    "unit": "unit",
    "thermocouple": "type of its millivolts",
    "cold_junction": "cold junction",
    "cold_junction_c": "fixed cold junction in °C",
    "name": "name of the channel",
    "designator": "adjacent part",
    "column": "channel",
}


def spell_faults(faults: Mapping[str, str], form: Form | None) -> tuple[str, ...]:
    """Return each fault as a sentence; what does not name its field by itself is given one."""
    return tuple(_spell(field, sentence, form) for field, sentence in faults.items())


def _spell(field: str, sentence: str, form: Form | None) -> str:
    # A sentence of its own begins with a capital letter, a fault of a field with a verb.
    if not sentence[:1].islower():
        return sentence
    if field == "lifted_at_s":
        return f"Lifted at: {sentence}"
    label = LABELS.get(field.removeprefix("choices."))
    if label is not None:
        return f"{label}: {sentence}"
    found = _PLACE.search(field)
    if found is None or form is None:
        return sentence
    listed = list_said_columns(form) if found[1] == "columns" else list_said_channels(form)
    place = int(found[2])
    if place >= len(listed):
        return sentence
    what = _WORDS.get(found[3] or "")
    return f"Column {listed[place] + 1}{f', {what}' if what else ''}: {sentence}"
