"""The form of a draft: its fields with their texts and faults, and what was posted as a text."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from pydantic import ValidationError

from app.core.numbers import spell_number
from app.core.refusals import Fault
from app.recipes.body.alloys import find_alloy
from app.recipes.body.fields import FROM_FORM
from app.recipes.body.forms import nest_fields
from app.recipes.body.window import METRICS, Metric
from app.recipes.form_fields import Choices, FieldSpec, Kind
from app.recipes.form_sheet import FaultLine, FormField
from app.recipes.form_values import (
    close_gaps,
    count_rows,
    join_words,
    place_faults,
    split_words,
)
from app.traces.rules import ChannelRole
from app.windows.body import MOST_ROWS, EarlierLimit, LineStatus, WindowText
from app.windows.describe import spell_earlier
from app.windows.files import parse_text

ROWS: Final = "rows"
SPARE_ROWS: Final = 2
_DROP: Final = "drop"
_WAS: Final = "was"
_ROW: Final = re.compile(r"rows\.(?P<row>[0-9]{1,4})\.(?P<name>.+)")
# A row that says none of these limits nothing.
_SAYS: Final = ("metric", "roles", "lower", "upper")

_KINDS: Final[Choices] = (("no", "an aim"), ("yes", "never to be exceeded"))
_ROLES: Final[Choices] = tuple(
    (role.value, role.words) for role in ChannelRole if role is not ChannelRole.UNUSED
)
_METRICS: Final[Choices] = tuple(
    (metric.value, f"{facts.label}, {facts.unit}") for metric, facts in METRICS.items()
)
_STATUSES: Final[Choices] = (
    (LineStatus.OWN.value, "the plant's own"),
    (LineStatus.SEEN.value, "seen in print"),
    (LineStatus.MEMORY.value, "from memory"),
    (LineStatus.CONFLICT.value, "sources differ"),
)


def _number(path: str, label: str, unit: str = "", hint: str = "") -> FieldSpec:
    return FieldSpec(path, label, Kind.NUMBER, unit=unit, hint=hint, most=20)


FIELDS: Final = (
    FieldSpec("is_never_exceed", "The limits are", Kind.CHOICE, choices=_KINDS),
    FieldSpec(
        "part_numbers",
        "Holds for parts",
        Kind.WORDS,
        hint="Only for what is never to be exceeded; commas between, or empty",
        most=16_000,
    ),
    FieldSpec("alloy", "Alloy of the joints", suggestions="alloys"),
    _number("solidus_c", "Solidus", "°C", "50 to 450"),
    _number("liquidus_c", "Liquidus", "°C", "50 to 450"),
    _number("soak_min_c", "Soak from", "°C"),
    _number("soak_max_c", "Soak to", "°C"),
    _number("classification_c", "Classification", "°C", "150 to 300"),
    _number("ramp_window_s", "Slopes taken over", "s", "0.5 to 60"),
    FieldSpec("note", "Note", Kind.NOTE, most=4000),
)
ROW_FIELDS: Final = (
    FieldSpec("metric", "What is limited", Kind.CHOICE, choices=_METRICS),
    _number("lower", "At least"),
    _number("upper", "At most"),
    FieldSpec("roles", "On channels of", Kind.ROLES, choices=_ROLES),
    FieldSpec("status", "Status", Kind.CHOICE, choices=_STATUSES),
    FieldSpec("document", "Document"),
    FieldSpec("clause", "Clause"),
    FieldSpec("seen_in", "Seen in"),
    FieldSpec("note", "Remark", Kind.NOTE, most=4000),
)


@dataclass(frozen=True)
class HiddenText:
    """A text that goes along unseen."""

    name: str
    value: str


@dataclass(frozen=True)
class FormRow:
    """One row of the form; `hidden` goes along as it is, and is shown as `printed` and `was`."""

    path: str
    heading: str
    fields: tuple[FormField, ...]
    faults: tuple[str, ...]
    hidden: tuple[HiddenText, ...]
    printed: tuple[str, ...]
    was: str
    is_spare: bool


@dataclass(frozen=True)
class WindowSheet:
    """The whole form and the summary of what is wrong with it."""

    fields: tuple[FormField, ...]
    rows: tuple[FormRow, ...]
    row_faults: tuple[str, ...]
    most: int
    faults: tuple[FaultLine, ...]


def spell_fields(text: WindowText) -> dict[str, str]:
    """Return the texts of a window's form by path; read_form(them) gives the same text."""
    fields: dict[str, str] = {}
    for spec in FIELDS:
        fields[spec.path] = _spell(getattr(text, spec.path))
    for place, row in enumerate(text.rows):
        at = f"{ROWS}.{place}"
        for spec in ROW_FIELDS:
            fields[f"{at}.{spec.path}"] = _spell(getattr(row, spec.path))
        for number, other in enumerate(row.others):
            for name in ("lower", "upper", "where"):
                fields[f"{at}.others.{number}.{name}"] = _spell(getattr(other, name))
        if row.was is not None:
            for name in EarlierLimit.model_fields:
                fields[f"{at}.{_WAS}.{name}"] = _spell(getattr(row.was, name))
    return fields


def arrange(posted: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Return one text a path from a posted form; rows to be left out or without a limit go."""
    texts = {
        name: ", ".join(filter(None, given)) if name.endswith(".roles") else given[-1]
        for name, given in posted.items()
        if given
    }
    said: dict[str, set[str]] = {}
    for name, text in texts.items():
        found = _ROW.fullmatch(name)
        if found and text.strip():
            said.setdefault(found["row"], set()).add(found["name"])
    gone = {row for row, names in said.items() if _DROP in names or names.isdisjoint(_SAYS)}
    kept = {name: text for name, text in texts.items() if not _is_gone(name, gone)}
    return close_gaps(kept, ROWS)


def _is_gone(name: str, gone: set[str]) -> bool:
    found = _ROW.fullmatch(name)
    return found is not None and (found["row"] in gone or found["name"] == _DROP)


def read_form(fields: Mapping[str, str]) -> WindowText:
    """Return the text that arranged fields hold; Unreadable with one fault a field.

    What a limit was is not read where a status is stated for it again.
    """
    read: dict[str, str] = {}
    for path, text in fields.items():
        found = _ROW.fullmatch(path)
        if found and found["name"].startswith(f"{_WAS}."):
            status = fields.get(f"{ROWS}.{found['row']}.status", "")
            if status != LineStatus.OWN.value:
                continue
        if path == "part_numbers":
            read |= {f"{path}.{place}": word for place, word in enumerate(split_words(text))}
        else:
            read[path] = text
    return parse_text({**nest_fields(read), "format": 1}, context=FROM_FORM)


def lay_out(fields: Mapping[str, str], faults: Iterable[Fault] = ()) -> WindowSheet:
    """Return the form for arranged fields, with the faults of a refusal put beside them."""
    used = count_rows(fields, ROWS)
    shown = min(used + SPARE_ROWS, max(used, MOST_ROWS))
    labels = {spec.path: spec.label for spec in FIELDS} | {ROWS: "Limits"}
    for place in range(shown):
        heading = f"Limit {place + 1}"
        labels[f"{ROWS}.{place}"] = heading
        for spec in ROW_FIELDS:
            labels[f"{ROWS}.{place}.{spec.path}"] = f"{heading}, {spec.label.lower()}"
    placed = place_faults(((one.field, one.sentence) for one in faults), places=labels)
    return WindowSheet(
        fields=tuple(_lay_field(spec, spec.path, fields, placed) for spec in FIELDS),
        rows=tuple(_lay_row(place, used, fields, placed) for place in range(shown)),
        row_faults=placed.get(ROWS, ()),
        most=MOST_ROWS,
        faults=tuple(
            FaultLine(f"f-{place}" if place else "", labels.get(place, ""), sentence)
            for place, sentences in placed.items()
            for sentence in sentences
        ),
    )


def _lay_row(
    place: int, used: int, fields: Mapping[str, str], faults: Mapping[str, tuple[str, ...]]
) -> FormRow:
    at = f"{ROWS}.{place}"
    hidden = tuple(
        HiddenText(name, text)
        for name, text in fields.items()
        if name.startswith((f"{at}.others.", f"{at}.{_WAS}.")) and text
    )
    return FormRow(
        path=at,
        heading=f"Limit {place + 1}",
        fields=tuple(_lay_field(spec, f"{at}.{spec.path}", fields, faults) for spec in ROW_FIELDS),
        faults=faults.get(at, ()),
        hidden=hidden,
        printed=tuple(one.value for one in hidden if one.name.endswith(".where")),
        was=_spell_was(at, fields),
        is_spare=place >= used,
    )


def _spell_was(at: str, fields: Mapping[str, str]) -> str:
    """Say what a changed limit was; empty where nothing, or nothing readable, goes along."""
    given = {
        name: fields[f"{at}.{_WAS}.{name}"]
        for name in EarlierLimit.model_fields
        if fields.get(f"{at}.{_WAS}.{name}", "").strip()
    }
    metric = fields.get(f"{at}.metric", "")
    if not given or metric not in set(Metric):
        return ""
    try:
        was = EarlierLimit.model_validate(given, context=FROM_FORM)
    except ValidationError:
        return ""
    return spell_earlier(was, Metric(metric))


def _lay_field(
    spec: FieldSpec,
    name: str,
    fields: Mapping[str, str],
    faults: Mapping[str, tuple[str, ...]],
) -> FormField:
    value = fields.get(name, "")
    computed = ""
    alloy = find_alloy(value.strip()) if spec.suggestions else None
    if alloy is not None:
        doubt = f"; {alloy.caution}" if alloy.caution else ""
        computed = f"tabled {alloy.solidus_c:g} to {alloy.liquidus_c:g} °C ({alloy.source}{doubt})"
    return FormField(
        name=name,
        label=spec.label,
        kind=spec.kind,
        value=value,
        unit=spec.unit,
        hint=spec.hint,
        most=spec.most,
        choices=spec.choices,
        suggestions=spec.suggestions,
        faults=faults.get(name, ()),
        computed=computed,
    )


def _spell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float | int):
        return spell_number(value)
    if isinstance(value, tuple):
        return join_words(str(word) for word in value)
    return str(value)
