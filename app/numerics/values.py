"""What a metric can answer: a number, "not reached", or "cannot say"."""

from dataclasses import dataclass
from enum import StrEnum


class Unit(StrEnum):
    """Units of measured values; a temperature difference is kelvin."""

    CELSIUS = "°C"
    KELVIN = "K"
    KELVIN_PER_SECOND = "K/s"
    KELVIN_SECOND = "K·s"
    SECOND = "s"


@dataclass(frozen=True, slots=True)
class Measured:
    """A value read off the trace.

    `at_s` is its moment on the trace's own time axis, where it has one. `is_censored` says that
    the trace began too late or ended too early to show all of it: the true value may be larger.
    """

    value: float
    unit: Unit
    at_s: float | None = None
    is_censored: bool = False


@dataclass(frozen=True, slots=True)
class NotReached:
    """The trace shows that what was asked for never happened."""

    reason: str


@dataclass(frozen=True, slots=True)
class CannotSay:
    """The trace does not show enough to tell."""

    reason: str


Outcome = Measured | NotReached | CannotSay
