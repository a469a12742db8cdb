"""Lays the form of a draft out: every field with its text, its fault and what follows from it."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from pydantic import ValidationError

from app.core.refusals import Fault
from app.recipes.body.alloys import find_alloy
from app.recipes.body.describe import spell_ratios, spell_taken_from
from app.recipes.body.fields import FROM_FORM
from app.recipes.body.heating import ZONE_ORDER
from app.recipes.body.lengths import LengthUnit, TypedLength, parse_length, spell_decimal
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.stencil import Aperture
from app.recipes.body.window import Limit
from app.recipes.form_fields import GROUPS, Choices, FieldSpec, GroupSpec, Kind, RowsSpec
from app.recipes.form_values import count_rows, place_faults, split_words
from app.recipes.limit_origins import find_origin
from app.recipes.sums.links import SumLink, list_sum_links

_SECONDS: Final = re.compile(r"[0-9]{1,6}([.][0-9]{1,6})?")


@dataclass(frozen=True)
class FormField:
    """One field as the page shows it; `name` is its path in the body."""

    name: str
    label: str
    kind: Kind
    value: str
    unit: str = ""
    hint: str = ""
    most: int = 200
    choices: Choices = ()
    suggestions: str = ""
    faults: tuple[str, ...] = ()
    computed: str = ""

    @property
    def chosen(self) -> frozenset[str]:
        """The boxes that are ticked."""
        return frozenset(split_words(self.value))


@dataclass(frozen=True)
class FormRow:
    """One row; `computed` is what follows from it as a whole."""

    heading: str
    fields: tuple[FormField, ...]
    faults: tuple[str, ...] = ()
    computed: str = ""


@dataclass(frozen=True)
class FormRows:
    """The rows of one path, the spare ones last; more can be added up to `most`."""

    path: str
    word: str
    columns: tuple[str, ...]
    rows: tuple[FormRow, ...]
    most: int
    can_grow: bool


@dataclass(frozen=True)
class FormGroup:
    """One part of the body."""

    anchor: str
    title: str
    hint: str
    fields: tuple[FormField, ...]
    rows: FormRows | None
    faults: tuple[str, ...]
    deposit_kind: str
    computed: str = ""
    sums: tuple[SumLink, ...] = ()


@dataclass(frozen=True)
class FaultLine:
    """One fault in the summary: where to go, what it is about, what is wrong."""

    anchor: str
    label: str
    sentence: str


@dataclass(frozen=True)
class Sheet:
    """The whole form and the summary of what is wrong with it."""

    groups: tuple[FormGroup, ...]
    faults: tuple[FaultLine, ...] = field(default=())


def lay_out(
    fields: Mapping[str, str],
    faults: Iterable[Fault] = (),
    *,
    draft_id: int | None = None,
    stored: RecipeBody | None = None,
) -> Sheet:
    """Return the form for arranged fields, with the faults of a refusal put beside them.

    With the draft's number, what the sums of the form give can be put into it. The stored body
    tells which limits came out of a window.
    """
    bare = tuple(_lay_group(spec, fields, {}) for spec in GROUPS)
    labels = _map_labels(bare)
    placed = place_faults(((one.field, one.sentence) for one in faults), places=labels)
    limits = () if stored is None else stored.window.limits
    groups = tuple(
        _lay_group(spec, fields, placed, draft_id=draft_id, limits=limits) for spec in GROUPS
    )
    summary = tuple(
        FaultLine(f"f-{place}" if place else "", labels.get(place, ""), sentence)
        for place, sentences in placed.items()
        for sentence in sentences
    )
    return Sheet(groups, summary)


def _map_labels(groups: Iterable[FormGroup]) -> dict[str, str]:
    labels: dict[str, str] = {}
    for group in groups:
        labels.setdefault(group.anchor, group.title)
        labels |= {one.name: one.label for one in group.fields}
        if group.rows is not None:
            labels.setdefault(group.rows.path, group.title)
            for place, row in enumerate(group.rows.rows):
                labels.setdefault(f"{group.rows.path}.{place}", row.heading)
                labels |= {one.name: f"{row.heading}, {one.label.lower()}" for one in row.fields}
    return labels


def _lay_group(
    spec: GroupSpec,
    fields: Mapping[str, str],
    faults: Mapping[str, tuple[str, ...]],
    *,
    draft_id: int | None = None,
    limits: tuple[Limit, ...] = (),
) -> FormGroup:
    # The three groups of the deposit share a path: what is wrong with it all stands at the first.
    is_first = spec.path != "deposit" or not spec.deposit_kind
    return FormGroup(
        anchor=spec.path,
        title=spec.title,
        hint=spec.hint,
        fields=tuple(_lay_field(one, one.path, fields, faults) for one in spec.fields),
        rows=None if spec.rows is None else _lay_rows(spec.rows, fields, faults, limits),
        faults=faults.get(spec.path, ()) if is_first else (),
        deposit_kind=spec.deposit_kind,
        computed=_sum_times(fields) if spec.path == "zones" else "",
        sums=list_sum_links(spec.path, fields, deposit_kind=spec.deposit_kind, draft_id=draft_id),
    )


def _lay_rows(
    spec: RowsSpec,
    fields: Mapping[str, str],
    faults: Mapping[str, tuple[str, ...]],
    limits: tuple[Limit, ...],
) -> FormRows:
    used = count_rows(fields, spec.path)
    shown = spec.most if not spec.spare else max(used, min(used + spec.spare, spec.most))
    rows = []
    for place in range(shown):
        at = f"{spec.path}.{place}"
        name = fields.get(f"{at}.name", "") if not spec.spare else ""
        cells = (
            _lay_field(one, f"{at}.{one.path}".rstrip("."), fields, faults) for one in spec.fields
        )
        rows.append(
            FormRow(
                heading=name or f"{spec.word.capitalize()} {place + 1}",
                fields=tuple(cells),
                faults=faults.get(at, ()) if spec.fields[0].path else (),
                computed=_compute_row(spec, at, fields, limits),
            )
        )
    return FormRows(
        path=spec.path,
        word=spec.word,
        columns=tuple(
            f"{one.label}, {one.unit}" if one.unit else one.label
            for one in spec.fields
            if one.kind is not Kind.HIDDEN
        ),
        rows=tuple(rows),
        most=spec.most,
        can_grow=bool(spec.spare),
    )


def _lay_field(
    spec: FieldSpec,
    name: str,
    fields: Mapping[str, str],
    faults: Mapping[str, tuple[str, ...]],
) -> FormField:
    value = fields.get(name, "")
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
        computed=_compute(spec, value),
    )


def _compute(spec: FieldSpec, value: str) -> str:
    if spec.kind is Kind.LENGTH:
        length = _find_length(value)
        is_plain = length is None or length.unit is LengthUnit.MM
        return "" if is_plain or length is None else f"= {spell_decimal(length.mm)} mm"
    alloy = find_alloy(value.strip()) if spec.suggestions else None
    if alloy is None:
        return ""
    doubt = f"; {alloy.caution}" if alloy.caution else ""
    return f"tabled {alloy.solidus_c:g} to {alloy.liquidus_c:g} °C ({alloy.source}{doubt})"


def _find_length(text: str) -> TypedLength | None:
    try:
        return parse_length(text)
    except ValueError:
        return None


def _sum_times(fields: Mapping[str, str]) -> str:
    total = Decimal(0)
    for place in range(len(ZONE_ORDER)):
        text = fields.get(f"zones.{place}.time_s", "").strip().replace(",", ".")
        if not _SECONDS.fullmatch(text):
            return ""
        total += Decimal(text)
    return f"{spell_decimal(total)} s in all"


def _compute_row(
    spec: RowsSpec, at: str, fields: Mapping[str, str], limits: tuple[Limit, ...]
) -> str:
    if spec.has_computed:
        return _spell_aperture_ratios(at, fields)
    return _spell_whose(at, fields, limits) if spec.path == "window.limits" else ""


def _spell_whose(at: str, fields: Mapping[str, str], limits: tuple[Limit, ...]) -> str:
    """Say whose a limit is once it is saved; nothing where no limit came out of a window."""
    if not any(one.taken_from for one in limits):
        return ""
    given = {
        name: fields[f"{at}.{name}"]
        for name in ("metric", "roles", "lower", "upper")
        if fields.get(f"{at}.{name}", "").strip()
    }
    try:
        limit = Limit.model_validate(given, context=FROM_FORM)
    except ValidationError:
        return ""
    taken = find_origin(limits, metric=limit.metric, roles=limit.roles)
    return spell_taken_from(limit.model_copy(update={"taken_from": taken}))


def _spell_aperture_ratios(at: str, fields: Mapping[str, str]) -> str:
    foil = _find_length(fields.get("deposit.foil_thickness", ""))
    given = {
        name: fields[f"{at}.{name}"]
        for name in ("shape", "length", "width", "count", "name")
        if fields.get(f"{at}.{name}", "").strip()
    }
    try:
        aperture = Aperture.model_validate(given, context=FROM_FORM)
    except ValidationError:
        return ""
    return "" if foil is None or foil.mm <= 0 else spell_ratios(aperture, foil)
