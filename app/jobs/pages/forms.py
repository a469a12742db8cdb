"""The form of a work card's line: what it shows, and what it sends."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, TypeVar

from pydantic import ValidationError

from app.core.faults import faults_of
from app.core.refusals import Unreadable
from app.jobs.instructions import list_settings
from app.jobs.outcomes import find_inspection
from app.jobs.queries import SiteCard
from app.jobs.rules import StepKind
from app.jobs.schemas import MAX_LOTS, InspectionResult, LotUsed, StepDone, ValueUsed
from app.jobs.tables import JobStep, StepEntry
from app.recipes.body.site import Inspection
from app.recipes.queries import get_body
from app.web.forms import Form

Said = TypeVar("Said", bound=StepDone)

_CHECKS: Final = (("visual", "Visual"), ("xray", "X-ray"), ("electrical", "Electrical"))


@dataclass(frozen=True)
class Pair:
    """A value as a form's row holds it."""

    label: str
    value: str


@dataclass(frozen=True)
class LotRow:
    """A lot as a form's row holds it."""

    what: str = ""
    lot: str = ""


@dataclass(frozen=True)
class CheckRow:
    """One check of an inspection, whether the recipe asks for it, and what was said."""

    name: str
    label: str
    is_asked: bool
    value: str


@dataclass(frozen=True)
class EntryForm:
    """The fields of an entry as they stand in the form."""

    lots: tuple[LotRow, ...] = (LotRow(),)
    values: tuple[Pair, ...] = ()
    checks: tuple[CheckRow, ...] = ()
    largest_void_pct: str = ""
    remark: str = ""
    reason: str = ""
    skip_reason: str = ""
    shows_values: bool = False
    wants_lot: bool = False
    faults: Mapping[str, str] = field(default_factory=dict)


def make_form(site: SiteCard, step: JobStep) -> EntryForm:
    """Return the form of a line that is to be signed, filled as the recipe says."""
    body = get_body(site.job_site.revision)
    values = list_settings(body, step.kind)
    return EntryForm(
        values=tuple(Pair(value.label, value.value) for value in values),
        checks=_list_checks(body.inspection, {}) if step.kind is StepKind.INSPECT else (),
    )


def make_correction(site: SiteCard, step: JobStep, entry: StepEntry) -> EntryForm:
    """Return the form of an entry that is to be corrected, filled as it stands."""
    blank = make_form(site, step)
    used = {value["label"]: value["value"] for value in entry.values.get("used", [])}
    found = find_inspection(site, step)
    said = found.model_dump() if found else {}
    voids = said.get("largest_void_pct")
    lots = tuple(LotRow(lot["what"], lot["lot"]) for lot in entry.lots)
    more = tuple(Pair(value.label, used.pop(value.label, "")) for value in blank.values)
    return replace(
        blank,
        lots=(*lots, LotRow())[:MAX_LOTS],
        values=(*more, *(Pair(label, value) for label, value in used.items())),
        checks=_list_checks(get_body(site.job_site.revision).inspection, said)
        if blank.checks
        else (),
        largest_void_pct="" if voids is None else f"{voids:g}",
        remark=entry.remark,
        shows_values=True,
    )


def keep_form(
    site: SiteCard, step: JobStep, form: Form, *, faults: Mapping[str, str], wants_lot: bool
) -> EntryForm:
    """Return the form as it was sent, with what was wrong, or with a row for another lot."""
    blank = make_form(site, step)
    whats, lots = form.lists.get("what", ()), form.lists.get("lot", ())
    rows = [LotRow(what, lot) for what, lot in zip(whats, lots, strict=False) if what or lot]
    labels, values = form.lists.get("label", ()), form.lists.get("value", ())
    said = {name: form.text(name) for name, _ in _CHECKS}
    return EntryForm(
        lots=(*rows, LotRow())[:MAX_LOTS],
        values=tuple(Pair(label, value) for label, value in zip(labels, values, strict=False)),
        checks=_list_checks(get_body(site.job_site.revision).inspection, said)
        if blank.checks
        else (),
        largest_void_pct=form.text("largest_void_pct"),
        remark=form.text("remark"),
        reason=form.text("reason"),
        shows_values=any(name.startswith("values") for name in faults),
        wants_lot=wants_lot,
        faults=faults,
    )


def parse_entry(form: Form, kind: StepKind, model: type[Said], **more: object) -> Said:
    """Return what a form says of a line; empty rows are left out. Raises Unreadable."""
    whats, lots = form.lists.get("what", ()), form.lists.get("lot", ())
    labels, values = form.lists.get("label", ()), form.lists.get("value", ())
    given: dict[str, Any] = {
        "values": [
            {"label": label, "value": value}
            for label, value in zip(labels, values, strict=False)
            if value.strip()
        ],
        "lots": [
            {"what": what, "lot": lot}
            for what, lot in zip(whats, lots, strict=False)
            if what.strip() or lot.strip()
        ],
        "remark": form.text("remark"),
        **more,
    }
    if form.text("run_id"):
        given["run_id"] = form.text("run_id")
    if kind is StepKind.INSPECT and any(form.text(name) for name, _ in _CHECKS):
        given["inspection"] = {
            name: form.text(name) or "not done" for name, _ in _CHECKS
        } | _read_voids(form)
    try:
        return model.model_validate(given)
    except ValidationError as error:
        raise Unreadable(faults_of(error)) from None


def list_changed(
    site: SiteCard, step: JobStep, used: tuple[ValueUsed, ...]
) -> tuple[ValueUsed, ...]:
    """Return the values that are not the recipe's own."""
    asked = {v.label: v.value for v in list_settings(get_body(site.job_site.revision), step.kind)}
    return tuple(one for one in used if not is_as_asked(one.value, asked.get(one.label, "")))


def is_as_asked(used: str, asked: str) -> bool:
    """Say whether a value is the recipe's own; the millimetres beside a typed inch need not be."""
    return used in {asked, asked.split(" (", maxsplit=1)[0]}


def spell_inspection(found: InspectionResult) -> tuple[tuple[str, str], ...]:
    """Return what an inspection found, spelt."""
    said = [(label, str(getattr(found, name))) for name, label in _CHECKS]
    if found.largest_void_pct is not None:
        said.append(("Largest void", f"{found.largest_void_pct:g} %"))
    return tuple(said)


def spell_lots(entry: StepEntry) -> tuple[LotUsed, ...]:
    """Return the lots of an entry."""
    return tuple(LotUsed.model_validate(lot) for lot in entry.lots)


def _read_voids(form: Form) -> dict[str, str]:
    text = form.text("largest_void_pct").strip().replace(",", ".")
    return {"largest_void_pct": text} if text else {}


def _list_checks(asked: Inspection, said: Mapping[str, Any]) -> tuple[CheckRow, ...]:
    return tuple(
        CheckRow(name, label, bool(getattr(asked, name)), str(said.get(name) or ""))
        for name, label in _CHECKS
    )
