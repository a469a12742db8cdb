"""The measuring chain of a bench: wire, logger, clock and the calibrations of its channels."""

import math
import re
from collections.abc import Sequence
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Final
from zoneinfo import ZoneInfo

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic.config import JsonDict
from pydantic_core import InitErrorDetails, PydanticCustomError

from app.core.faults import faults_of
from app.core.numbers import spell_number
from app.core.refusals import Unreadable
from app.core.text import Line, Note
from app.numerics.thermocouple_limits import (
    TOLERANCES,
    ThermocoupleType,
    Tolerance,
    ToleranceClass,
    get_tolerance,
)
from app.numerics.uncertainty import CalibrationCorrection, MeasurementUncertainty
from app.traces.rules import ChannelName

MOST_CORRECTIONS: Final = 32
_PER_MILLION: Final = 1e-6
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


CHAIN_EXAMPLE: Final[JsonDict] = {
    "thermocouple_type": "K",
    "thermocouple_class": "IEC 60584-1 class 1",
    "logger_accuracy_k": 0.7,
    "timebase_ppm": 50,
    "timebase_jitter_s": 0.01,
    "note": "Wire by the spool, one end of each calibrated",
    "corrections": [
        {
            "channel": "T1",
            "correction_k": -0.4,
            "expanded_k": 0.6,
            "certificate": "C-2026-118",
            "valid_until": "2027-03-31",
            "covers": "wire_and_logger",
        }
    ],
}


class ChainUnreadable(Unreadable):
    """Values of a measuring chain do not have the type or the range that their field asks for."""

    code = "plant.measuring_chain_unreadable"


class Covered(StrEnum):
    """What was calibrated: its own tolerance is left out, the calibration says it better."""

    LOGGER = "logger"
    WIRE = "wire"
    WIRE_AND_LOGGER = "wire_and_logger"

    @property
    def words(self) -> str:
        """What was calibrated, as a person says it."""
        return {"logger": "the logger's input", "wire": "the wire"}.get(self, "wire and logger")

    @property
    def has_wire(self) -> bool:
        """Whether the class tolerance of the wire is replaced."""
        return self is not Covered.LOGGER

    @property
    def has_logger(self) -> bool:
        """Whether the stated accuracy of the logger is replaced."""
        return self is not Covered.WIRE


def _check_day(given: object) -> object:
    # Numbers and moments would be taken for days too.
    if given is None or (isinstance(given, date) and not isinstance(given, datetime)):
        return given
    try:
        if isinstance(given, str) and _DAY.fullmatch(given):
            return date.fromisoformat(given)
    except ValueError:
        pass
    raise ValueError("must be a day of the calendar such as 2027-03-31")


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class ChannelCorrection(_Part):
    """A calibration of one channel, by the name that the channel has in the runs.

    `correction_k` (-50 to 50 K) is added to every reading; `expanded_k` (0 to 50 K, k = 2) is its
    own uncertainty, after `certificate`, good until the end of the day `valid_until`. What it
    `covers` no longer counts by its own tolerance; None says neither, and both stay in the sum.
    """

    channel: ChannelName
    correction_k: Annotated[float, Field(strict=True, ge=-50, le=50)]
    expanded_k: Annotated[float, Field(strict=True, ge=0, le=50)]
    certificate: Line
    valid_until: Annotated[date, BeforeValidator(_check_day)] | None = None
    covers: Covered | None = None


class MeasuringChain(_Part):
    """What is known of how a bench measures.

    New wire of a type and class; the logger's accuracy as a bound ± (0 to 20 K, cold junction
    included); its clock's rate as a bound ± (0 to 10,000 ppm) and the jitter of each moment as a
    standard deviation (0 to 10 s); at most 32 channels with a correction, each once.
    """

    model_config = ConfigDict(json_schema_extra={"examples": [CHAIN_EXAMPLE]})

    thermocouple_type: ThermocoupleType
    thermocouple_class: ToleranceClass
    logger_accuracy_k: Annotated[float, Field(strict=True, ge=0, le=20)]
    timebase_ppm: Annotated[float, Field(strict=True, ge=0, le=10_000)]
    timebase_jitter_s: Annotated[float, Field(strict=True, ge=0, le=10)] = 0.0
    note: Note = ""
    corrections: Annotated[tuple[ChannelCorrection, ...], Field(max_length=MOST_CORRECTIONS)] = ()

    @property
    def tolerance(self) -> Tolerance:
        """The tolerance of the wire."""
        return get_tolerance(self.thermocouple_type, self.thermocouple_class)

    def has_lapsed(self, channel: str) -> bool:
        """Say whether a channel's calibration was over when the chain was used."""
        _ = channel
        return False

    @field_validator("thermocouple_class")
    @classmethod
    def _check_has_tolerance(cls, given: ToleranceClass, info: ValidationInfo) -> ToleranceClass:
        kind = info.data.get("thermocouple_type")
        if kind is not None and (kind, given) not in TOLERANCES:
            raise ValueError(f"has no tolerance for type {kind}: choose another class")
        return given

    @model_validator(mode="after")
    def _check_each_channel_once(self) -> "MeasuringChain":
        seen: set[str] = set()
        for place, one in enumerate(self.corrections):
            if one.channel.casefold() in seen:
                sentence = f"names {one.channel} a second time; each channel has one correction"
                _refuse_at("corrections", place, "channel", sentence=sentence)
            seen.add(one.channel.casefold())
        return self


class LapsedChain(MeasuringChain):
    """A chain as it was used at a moment at which calibrations of `lapsed` channels were over.

    Their corrections are still added; what they covered counts by its own tolerance again.
    """

    model_config = ConfigDict(json_schema_extra={"examples": [{**CHAIN_EXAMPLE, "lapsed": ["T1"]}]})

    lapsed: Annotated[tuple[ChannelName, ...], Field(min_length=1, max_length=MOST_CORRECTIONS)]

    def has_lapsed(self, channel: str) -> bool:
        """Say whether a channel's calibration was over when the chain was used."""
        return channel.casefold() in {one.casefold() for one in self.lapsed}


def _refuse_at(*path: str | int, sentence: str) -> None:
    kind = PydanticCustomError("refused", "{sentence}", {"sentence": sentence})
    raise ValidationError.from_exception_data(
        "measuring chain", [InitErrorDetails(type=kind, loc=path, input=None)]
    )


# Common practice, no source: what stands in until a bench says what it has.
ASSUMED_CHAIN: Final = MeasuringChain(
    thermocouple_type=ThermocoupleType.K,
    thermocouple_class=ToleranceClass.IEC_2,
    logger_accuracy_k=1.0,
    timebase_ppm=100.0,
    note="assumed (common practice, no source)",
)


def parse_chain(given: object) -> MeasuringChain:
    """Return the chain that a JSON value holds; ChainUnreadable with one fault a field."""
    try:
        return MeasuringChain.model_validate(given)
    except ValidationError as error:
        raise ChainUnreadable(faults_of(error)) from None


def parse_used_chain(given: object) -> MeasuringChain:
    """Return a chain as it was kept with what it measured; ChainUnreadable as for parse_chain."""
    if not (isinstance(given, dict) and "lapsed" in given):
        return parse_chain(given)
    try:
        return LapsedChain.model_validate(given)
    except ValidationError as error:
        raise ChainUnreadable(faults_of(error)) from None


def lapse_corrections(chain: MeasuringChain, *, now: datetime, zone: ZoneInfo) -> MeasuringChain:
    """Return the chain as it is at a moment: a LapsedChain where calibrations are over by then."""
    lapsed = tuple(one.channel for one in list_lapsed(chain, now=now, zone=zone))
    if not lapsed:
        return chain
    return LapsedChain.model_validate({**chain.model_dump(), "lapsed": lapsed})


def find_correction(chain: MeasuringChain, channel: str) -> ChannelCorrection | None:
    """Return the correction of a channel, whatever the case of its letters, or None."""
    folded = channel.casefold()
    return next((one for one in chain.corrections if one.channel.casefold() == folded), None)


def make_measurement(
    chain: MeasuringChain, *, channel: str, resolution_k: float
) -> MeasurementUncertainty:
    """Return what a channel of the chain adds to the uncertainty of its values.

    `resolution_k` is the last digit of the readings (K, from 0 up). The noise is left 0: only a
    recording shows it. A calibration replaces the tolerances it covers, unless it has lapsed.
    Raises UnusableUncertainty.
    """
    found = find_correction(chain, channel)
    covers = None if found is None or chain.has_lapsed(channel) else found.covers
    return MeasurementUncertainty(
        thermocouple=None if covers is not None and covers.has_wire else chain.tolerance,
        logger_accuracy_k=0.0
        if covers is not None and covers.has_logger
        else chain.logger_accuracy_k,
        resolution_k=resolution_k,
        calibration=None
        if found is None
        else CalibrationCorrection(found.correction_k, _find_expanded_k(chain, found)),
        timebase_relative=chain.timebase_ppm * _PER_MILLION,
        timebase_jitter_s=chain.timebase_jitter_s,
    )


def _find_expanded_k(chain: MeasuringChain, correction: ChannelCorrection) -> float:
    """Return U (K, k = 2) that a calibration adds: none where its tolerances stand in for it.

    A calibration that lapsed never makes a value surer: its U stays unless what counts again in
    its place is at least as large. A bound ± a has the standard uncertainty a / √3 (JCGM 100,
    4.3.7).
    """
    if not chain.has_lapsed(correction.channel) or correction.covers is None:
        return correction.expanded_k
    wire_k = chain.tolerance.fixed_k if correction.covers.has_wire else 0.0
    logger_k = chain.logger_accuracy_k if correction.covers.has_logger else 0.0
    again_k = 2.0 * math.hypot(wire_k, logger_k) / math.sqrt(3.0)
    return 0.0 if again_k >= correction.expanded_k else correction.expanded_k


def list_lapsed(
    chain: MeasuringChain, *, now: datetime, zone: ZoneInfo
) -> tuple[ChannelCorrection, ...]:
    """Return the corrections whose last valid day is over in the plant's zone."""
    today = now.astimezone(zone).date()
    return tuple(
        one for one in chain.corrections if one.valid_until is not None and one.valid_until < today
    )


def spell_lapsed(correction: ChannelCorrection) -> str:
    """Spell the caution about a correction that is no longer valid."""
    return (
        f"The calibration of {correction.channel} was valid until {correction.valid_until} "
        f"(certificate {correction.certificate}): calibrate it again, or take it out."
    )


def list_lapses(chain: MeasuringChain) -> tuple[str, ...]:
    """Return a sentence for the calibrations that were over when the chain was used.

    One for all that ended on one day and covered the same.
    """
    alike: dict[tuple[date | None, Covered | None], list[ChannelCorrection]] = {}
    for one in chain.corrections:
        if chain.has_lapsed(one.channel):
            alike.setdefault((one.valid_until, one.covers), []).append(one)
    return tuple(map(_spell_lapse, alike.values()))


def _spell_lapse(lapsed: Sequence[ChannelCorrection]) -> str:
    first = lapsed[0]
    named = ", ".join(f"{one.channel} (certificate {one.certificate})" for one in lapsed)
    if len(lapsed) == 1:
        return (
            f"The calibration of {named} was valid until {first.valid_until} only: its correction "
            f"is added, {_spell_again(first, 'it')}."
        )
    return (
        f"The calibrations of {named} were valid until {first.valid_until} only: their corrections "
        f"are added, {_spell_again(first, 'they')}."
    )


def _spell_again(correction: ChannelCorrection, it: str) -> str:
    words = {
        Covered.LOGGER: "the logger's accuracy counts",
        Covered.WIRE: "the wire's class counts",
        Covered.WIRE_AND_LOGGER: "the wire's class and the logger's accuracy count",
    }
    if correction.covers is None:
        return "and what the certificate says counts beside wire and logger as before"
    return f"but {words[correction.covers]} as if {it} had not been calibrated"


def spell_chain(chain: MeasuringChain) -> str:
    """Spell a chain in one line: wire, logger, clock, what is corrected and what has lapsed."""
    parts = [
        spell_wire(chain),
        f"logger ±{spell_number(chain.logger_accuracy_k)} K",
        f"clock ±{spell_number(chain.timebase_ppm)} ppm",
    ]
    if chain.timebase_jitter_s:
        parts.append(f"jitter {spell_number(chain.timebase_jitter_s)} s")
    if chain.corrections:
        parts.append(
            "corrected: " + ", ".join(_spell_used(chain, one) for one in chain.corrections)
        )
    text = ", ".join(parts)
    return f"{chain.note}: {text}" if chain == ASSUMED_CHAIN else text[0].upper() + text[1:]


def _spell_used(chain: MeasuringChain, correction: ChannelCorrection) -> str:
    lapsed = f", lapsed after {correction.valid_until}"
    return spell_correction(correction) + (lapsed if chain.has_lapsed(correction.channel) else "")


def spell_wire(chain: MeasuringChain) -> str:
    """Spell a chain's wire: `type K, IEC 60584-1 class 1 (±1.5 K or 0.4 % of t, the greater)`."""
    tolerance = chain.tolerance
    share_pct = spell_number(round(tolerance.share * 100.0, 6))
    limits = f"±{spell_number(tolerance.fixed_k)} K or {share_pct} % of t, the greater"
    return f"type {chain.thermocouple_type}, {chain.thermocouple_class} ({limits})"


def spell_correction(correction: ChannelCorrection) -> str:
    """Spell a correction: `T1 -0.4 K ± 0.6 K (k = 2)`."""
    sign = "+" if correction.correction_k > 0 else ""
    return (
        f"{correction.channel} {sign}{spell_number(correction.correction_k)} K "
        f"± {spell_number(correction.expanded_k)} K (k = 2)"
    )
