"""How a bench measures, laid out for its page: what is said, what it comes to, and the form."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from app.core.numbers import spell_number
from app.numerics.thermocouple_limits import ThermocoupleType, ToleranceClass
from app.plant.chain_budget import (
    FORMULA,
    SHOWN_C,
    SOURCE,
    ReadingUncertainty,
    compute_reading_uncertainty,
)
from app.plant.chain_form import COLUMNS, FIELDS, ROWS, count_rows, spell_path
from app.plant.measuring import (
    MOST_CORRECTIONS,
    ChannelCorrection,
    Covered,
    MeasuringChain,
    list_lapsed,
    spell_chain,
    spell_lapsed,
    spell_wire,
)

_SPARE_ROWS: Final = 2
Choices = tuple[tuple[str, str], ...]
TYPES: Final[Choices] = tuple((str(one), f"type {one}") for one in ThermocoupleType)
CLASSES: Final[Choices] = tuple((str(one), str(one)) for one in ToleranceClass)
COVERED: Final[Choices] = tuple((str(one), one.words) for one in Covered)


@dataclass(frozen=True)
class CorrectionLine:
    """One calibrated channel; `lapsed` says that its day is over."""

    channel: str
    correction: str
    uncertainty: str
    covers: str
    certificate: str
    valid_until: str
    lapsed: bool


@dataclass(frozen=True)
class ReachCell:
    """U at one temperature, and what adds most to it."""

    words: str
    largest: str


@dataclass(frozen=True)
class ReachLine:
    """How far the readings of one channel may be off."""

    channel: str
    cells: tuple[ReachCell, ...]


@dataclass(frozen=True)
class ChainFacts:
    """What is said of a bench's measuring chain, or assumed, and what that comes to."""

    is_assumed: bool
    words: str
    facts: tuple[tuple[str, str], ...]
    lines: tuple[CorrectionLine, ...]
    cautions: tuple[str, ...]
    temperatures: tuple[str, ...]
    reach: tuple[ReachLine, ...]
    formula: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class FormRow:
    """One row of calibrations in the form: the texts of its columns and their faults."""

    texts: Mapping[str, str]
    faults: Mapping[str, str]


@dataclass(frozen=True)
class FormFault:
    """One line of the summary above the form."""

    anchor: str
    label: str
    sentence: str


@dataclass(frozen=True)
class ChainForm:
    """The form of a chain as it stands: typed or said."""

    texts: Mapping[str, str]
    faults: Mapping[str, str]
    summary: tuple[FormFault, ...]
    rows: tuple[FormRow, ...]
    columns: Mapping[str, str]
    most: int
    types: Choices
    classes: Choices
    covered: Choices


def lay_out_facts(
    chain: MeasuringChain, *, is_assumed: bool, now: datetime, zone: ZoneInfo
) -> ChainFacts:
    """Lay out what a chain says and comes to at a moment; days end with the plant's zone."""
    lapsed = list_lapsed(chain, now=now, zone=zone)
    tolerance = chain.tolerance
    channels = [one.channel for one in chain.corrections]
    others = "every other channel" if channels else "every channel"
    return ChainFacts(
        is_assumed=is_assumed,
        words=spell_chain(chain),
        facts=() if is_assumed else tuple(_list_facts(chain).items()),
        lines=tuple(_lay_correction(one, lapsed=one in lapsed) for one in chain.corrections),
        cautions=tuple(map(spell_lapsed, lapsed)),
        temperatures=tuple(f"{temperature_c:g} °C" for temperature_c in SHOWN_C),
        reach=(
            *(_lay_reach(chain, channel, name=channel) for channel in channels),
            # No channel has the empty name, so that it has no calibration.
            _lay_reach(chain, "", name=others),
        ),
        formula=FORMULA,
        sources=(
            f"{SOURCE}.",
            f"New wire, {spell_wire(chain)}: {tolerance.status}.",
            "The last digit and the noise come with each recording; the clock acts on times.",
        ),
    )


def lay_out_form(texts: Mapping[str, str], faults: Mapping[str, str]) -> ChainForm:
    """Lay out the form from arranged texts, each fault at its field and in the summary."""
    used = count_rows(texts)
    shown = max(used, min(used + _SPARE_ROWS, MOST_CORRECTIONS))
    rows = tuple(
        FormRow(
            {name: texts.get(f"{ROWS}.{place}.{name}", "") for name in COLUMNS},
            {name: faults.get(f"{ROWS}.{place}.{name}", "") for name in COLUMNS},
        )
        for place in range(shown)
    )
    return ChainForm(
        texts=texts,
        faults=faults,
        summary=tuple(
            FormFault(_find_anchor(path), spell_path(path), sentence)
            for path, sentence in faults.items()
        ),
        rows=rows,
        columns=COLUMNS,
        most=MOST_CORRECTIONS,
        types=TYPES,
        classes=CLASSES,
        covered=COVERED,
    )


def _find_anchor(path: str) -> str:
    if path in FIELDS or path.startswith(ROWS):
        return f"f-{path}"
    return ""


def _list_facts(chain: MeasuringChain) -> dict[str, str]:
    facts = {
        "Wire": spell_wire(chain),
        "Logger": f"± {spell_number(chain.logger_accuracy_k)} K, cold junction included",
        "Clock": f"± {spell_number(chain.timebase_ppm)} ppm, "
        f"jitter of a moment {spell_number(chain.timebase_jitter_s)} s",
    }
    return facts | ({"Note": chain.note} if chain.note else {})


def _lay_correction(one: ChannelCorrection, *, lapsed: bool) -> CorrectionLine:
    sign = "+" if one.correction_k > 0 else ""
    return CorrectionLine(
        channel=one.channel,
        correction=f"{sign}{spell_number(one.correction_k)} K",
        uncertainty=f"{spell_number(one.expanded_k)} K",
        covers=one.covers.words if one.covers else "not said: both tolerances stay",
        certificate=one.certificate,
        valid_until=f"{one.valid_until}" if one.valid_until else "not said",
        lapsed=lapsed,
    )


def _lay_reach(chain: MeasuringChain, channel: str, *, name: str) -> ReachLine:
    return ReachLine(name, tuple(map(_lay_cell, compute_reading_uncertainty(chain, channel))))


def _lay_cell(reading: ReadingUncertainty) -> ReachCell:
    if reading.expanded_k is None:
        return ReachCell("cannot say", "the class gives no tolerance here")
    return ReachCell(f"± {reading.expanded_k:.1f} K", reading.largest or "nothing adds to it")
