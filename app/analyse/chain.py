"""What the command's options say of the measuring chain; what they leave open is assumed."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pydantic import ValidationError

from app.analyse.options import OptionUnacceptable
from app.core.faults import faults_of
from app.core.numbers import spell_number
from app.numerics.thermocouple_limits import ThermocoupleType, ToleranceClass
from app.plant.measuring import (
    ASSUMED_CHAIN,
    ChannelCorrection,
    Covered,
    MeasuringChain,
)

_CLASSES: Final = {
    "class 1": ToleranceClass.IEC_1,
    "class 2": ToleranceClass.IEC_2,
    "special": ToleranceClass.SPECIAL,
    "standard": ToleranceClass.STANDARD,
}
_CORRECTION: Final = re.compile(
    r"(?P<channel>.+)=(?P<correction>[-+−]?[0-9.]+)\s*(?:±|\+-|\+/-)\s*(?P<expanded>[0-9.]+)"
    r"(?::(?P<covers>[a-z_-]+))?"
)
_CERTIFICATE: Final = "said on the command line"


@dataclass(frozen=True)
class Wire:
    """A thermocouple's type, and its class where that was said."""

    kind: ThermocoupleType
    tolerance_class: ToleranceClass | None


def parse_wire(said: str | None) -> Wire | None:
    """Return the type and class of `K`, `K class 1` or `T special`; OptionUnacceptable else."""
    if said is None:
        return None
    letter, _, rest = " ".join(said.split()).partition(" ")
    folded = rest.casefold()
    if letter.upper() not in set(ThermocoupleType) or (folded and folded not in _CLASSES):
        raise OptionUnacceptable(
            f"--thermocouple: “{said}” is not written as a type ({', '.join(ThermocoupleType)}) "
            f"with a class ({', '.join(_CLASSES)}), such as “K class 1”.",
            field="thermocouple",
        )
    return Wire(ThermocoupleType(letter.upper()), _CLASSES.get(folded))


def parse_correction(said: str) -> ChannelCorrection:
    """Return the correction of `T1=-0.4±0.3`, both in K, the second U (k = 2).

    `:wire`, `:logger` or `:wire-and-logger` behind it says what was calibrated, so that its own
    tolerance is left out. Raises OptionUnacceptable.
    """
    found = _CORRECTION.fullmatch(said.strip())
    if found is None:
        raise OptionUnacceptable(
            f"--correction: “{said}” is not written as CHANNEL=CORRECTION±U in K, such as "
            "“T1=-0.4±0.3”.",
            field="correction",
        )
    covers = (found["covers"] or "").replace("-", "_") or None
    if covers is not None and covers not in set(Covered):
        words = ", ".join(one.replace("_", "-") for one in Covered)
        raise OptionUnacceptable(
            f"--correction: “{found['covers']}” is nothing that is calibrated; there are {words}.",
            field="correction",
        )
    try:
        return ChannelCorrection(
            channel=found["channel"].strip(),
            correction_k=float(found["correction"].replace("−", "-")),
            expanded_k=float(found["expanded"]),
            certificate=_CERTIFICATE,
            covers=None if covers is None else Covered(covers),
        )
    except ValidationError as error:
        sentences = "; ".join(f"{fault.field} {fault.sentence}" for fault in faults_of(error))
        raise OptionUnacceptable(
            f"--correction: “{said}”: {sentences}.", field="correction"
        ) from None
    except ValueError:
        raise OptionUnacceptable(
            f"--correction: “{said}” holds something that is no number.", field="correction"
        ) from None


def make_chain(
    wire: Wire | None, *, logger_accuracy_k: float | None, corrections: Sequence[str]
) -> MeasuringChain | None:
    """Return the chain that was said, None where nothing was. Raises OptionUnacceptable.

    A type alone says what millivolts are of; its class is then assumed as the rest is.
    """
    parsed = tuple(parse_correction(one) for one in corrections)
    has_class = wire is not None and wire.tolerance_class is not None
    if not has_class and logger_accuracy_k is None and not parsed and wire is None:
        return None
    assumed = ASSUMED_CHAIN
    try:
        return MeasuringChain(
            thermocouple_type=assumed.thermocouple_type if wire is None else wire.kind,
            thermocouple_class=(wire and wire.tolerance_class) or assumed.thermocouple_class,
            logger_accuracy_k=assumed.logger_accuracy_k
            if logger_accuracy_k is None
            else logger_accuracy_k,
            timebase_ppm=assumed.timebase_ppm,
            note=f"of these assumed (common practice, no source): "
            f"{assumed_words(wire, logger_accuracy_k)}",
            corrections=parsed,
        )
    except ValidationError as error:
        sentences = "; ".join(fault.sentence for fault in faults_of(error))
        raise OptionUnacceptable(f"The measuring chain: {sentences}.", field="correction") from None


def assumed_words(wire: Wire | None, logger_accuracy_k: float | None) -> str:
    """Name the parts of a chain that nobody said, with what stands in."""
    assumed = ASSUMED_CHAIN
    parts = [f"clock ±{spell_number(assumed.timebase_ppm)} ppm"]
    if logger_accuracy_k is None:
        parts.append(f"logger ±{spell_number(assumed.logger_accuracy_k)} K")
    if wire is None:
        parts.append(f"type {assumed.thermocouple_type}")
    if wire is None or wire.tolerance_class is None:
        parts.append(str(assumed.thermocouple_class))
    return ", ".join(parts)
