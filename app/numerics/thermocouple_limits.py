"""How far a new thermocouple may be off, by type and class."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from app.numerics.errors import NumericsError


class OutsideTolerance(NumericsError):
    """A temperature for which the class gives no tolerance, or a type without that class."""


class ThermocoupleType(StrEnum):
    """The letters of the base-metal types in use at a bench."""

    K = "K"
    J = "J"
    T = "T"
    N = "N"


class ToleranceClass(StrEnum):
    """Classes 1 and 2 of IEC 60584-1; special and standard limits of ASTM E230."""

    IEC_1 = "IEC 60584-1 class 1"
    IEC_2 = "IEC 60584-1 class 2"
    SPECIAL = "ASTM E230 special limits"
    STANDARD = "ASTM E230 standard limits"


class Status(StrEnum):
    """How a value is known."""

    RESTATED = "seen in a public restatement"
    MEMORY = "from memory: confirm against your copy"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """The greater of `fixed_k` and `share`·|t|, for t in °C from `lowest_c` to `highest_c`.

    For new wire only: neither ageing nor a bad weld is in it.
    """

    fixed_k: float
    share: float
    lowest_c: float
    highest_c: float
    status: Status

    def at(self, temperature_c: float) -> float:
        """Return how far (K, both ways) the wire may be off at a temperature in °C.

        Raises OutsideTolerance beyond the range of the class.
        """
        if not self.lowest_c <= temperature_c <= self.highest_c:
            raise OutsideTolerance(
                f"At {temperature_c:g} °C the class gives no tolerance: "
                f"it holds from {self.lowest_c:g} °C to {self.highest_c:g} °C."
            )
        return max(self.fixed_k, self.share * abs(temperature_c))


_K, _J, _T, _N = ThermocoupleType
_1, _2, _SPECIAL, _STANDARD = ToleranceClass
_SEEN, _MEMORY = Status

# Type K as restated by two makers of thermocouples (2013 edition and E230-12); the other types,
# and every upper end but K's, from memory: confirm against your copy.
TOLERANCES: Final[Mapping[tuple[ThermocoupleType, ToleranceClass], Tolerance]] = {
    (_K, _1): Tolerance(1.5, 0.004, -40.0, 1_000.0, _SEEN),
    (_K, _2): Tolerance(2.5, 0.0075, -40.0, 1_200.0, _SEEN),
    (_K, _SPECIAL): Tolerance(1.1, 0.004, 0.0, 1_260.0, _SEEN),
    (_K, _STANDARD): Tolerance(2.2, 0.0075, 0.0, 1_260.0, _SEEN),
    (_J, _1): Tolerance(1.5, 0.004, -40.0, 750.0, _MEMORY),
    (_J, _2): Tolerance(2.5, 0.0075, -40.0, 750.0, _MEMORY),
    (_J, _SPECIAL): Tolerance(1.1, 0.004, 0.0, 760.0, _MEMORY),
    (_J, _STANDARD): Tolerance(2.2, 0.0075, 0.0, 760.0, _MEMORY),
    (_T, _1): Tolerance(0.5, 0.004, -40.0, 350.0, _MEMORY),
    (_T, _2): Tolerance(1.0, 0.0075, -40.0, 350.0, _MEMORY),
    (_T, _SPECIAL): Tolerance(0.5, 0.004, 0.0, 370.0, _MEMORY),
    (_T, _STANDARD): Tolerance(1.0, 0.0075, 0.0, 370.0, _MEMORY),
    (_N, _1): Tolerance(1.5, 0.004, -40.0, 1_000.0, _MEMORY),
    (_N, _2): Tolerance(2.5, 0.0075, -40.0, 1_200.0, _MEMORY),
    (_N, _SPECIAL): Tolerance(1.1, 0.004, 0.0, 1_260.0, _MEMORY),
    (_N, _STANDARD): Tolerance(2.2, 0.0075, 0.0, 1_260.0, _MEMORY),
}


def get_tolerance(kind: ThermocoupleType, tolerance_class: ToleranceClass) -> Tolerance:
    """Return the tolerance of a type and class. Source and status are in the table."""
    return TOLERANCES[kind, tolerance_class]
