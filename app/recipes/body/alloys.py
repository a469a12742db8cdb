"""Melting ranges of solder alloys, each with where it was seen and how sure it is."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Status(StrEnum):
    """How sure a tabled value is."""

    SEEN = "seen in a public restatement"
    CONFLICT = "sources differ"
    MEMORY = "from memory"


@dataclass(frozen=True)
class Alloy:
    """Solidus and liquidus in °C; what other sources print stands in the note."""

    name: str
    solidus_c: float
    liquidus_c: float
    status: Status
    source: str
    note: str = ""

    @property
    def caution(self) -> str:
        """What to tell whoever picks this alloy; empty when nothing is in doubt."""
        return "" if self.status is Status.SEEN else f"{self.status}; confirm against your copy"


_ALASIR = "alasir.com, solder alloys"
_INDIUM = "indium.com, solder alloys and pastes"
_CHART = "a solder maker's temperature chart"
_HANDWIKI = "handwiki.org, Solder alloys"

ALLOYS: Final[tuple[Alloy, ...]] = (
    Alloy(
        "Sn96.5Ag3.0Cu0.5 (SAC305)",
        217,
        220,
        Status.SEEN,
        f"{_ALASIR}; {_INDIUM}; {_CHART}",
        "some makers print 217/219 or 217/221 (from memory)",
    ),
    Alloy(
        "Sn95.5Ag4.0Cu0.5 (SAC405)",
        217,
        220,
        Status.SEEN,
        _ALASIR,
        "217/225 also printed (from memory)",
    ),
    Alloy(
        "Sn95.5Ag3.8Cu0.7 (SAC387)",
        217,
        220,
        Status.CONFLICT,
        f"{_ALASIR} (217/220); {_CHART} (217 alone)",
    ),
    Alloy(
        "Sn98.5Ag1.0Cu0.5 (SAC105)",
        215,
        227,
        Status.SEEN,
        _ALASIR,
        "217/225 to 217/227 also printed (from memory)",
    ),
    Alloy("Sn96.5Ag3.5", 221, 221, Status.SEEN, f"{_ALASIR}; {_INDIUM}; {_CHART}"),
    Alloy("Sn99.3Cu0.7", 227, 227, Status.SEEN, f"{_ALASIR}; {_CHART}"),
    Alloy(
        "Sn-Cu0.7-Ni0.05(-Ge)",
        227,
        227,
        Status.MEMORY,
        "from memory",
        "nickel and germanium additions do not move the printed value",
    ),
    Alloy("Sn63Pb37", 183, 183, Status.SEEN, f"{_ALASIR}; {_INDIUM}; {_CHART}"),
    Alloy(
        "Sn60Pb40",
        183,
        191,
        Status.CONFLICT,
        f"{_ALASIR} (183/191); {_CHART} (183/190)",
        "191 is the safe side for a check against the liquidus",
    ),
    Alloy(
        "Sn62Pb36Ag2",
        179,
        179,
        Status.SEEN,
        f"{_ALASIR}; {_INDIUM}; {_CHART}",
        "the exact eutectic is Sn62.5Pb36.1Ag1.4; some tables print 179/189 (from memory)",
    ),
    Alloy("Sn42Bi58", 138, 138, Status.SEEN, f"{_INDIUM}; {_HANDWIKI}"),
    Alloy(
        "Sn42Bi57Ag1",
        139,
        140,
        Status.CONFLICT,
        f"{_INDIUM} (139/140); two public restatements (about 138, and 139)",
    ),
    Alloy("In52Sn48", 118, 118, Status.SEEN, _INDIUM),
    Alloy("Sn95Sb5", 235, 240, Status.CONFLICT, f"{_INDIUM} (235/240); {_CHART} (232/240)"),
    Alloy(
        "Pb90Sn10 (high-lead ball)",
        268,
        302,
        Status.CONFLICT,
        f"{_HANDWIKI} (268 and 275 for the solidus)",
        "does not melt where tin-lead or tin-silver-copper is reworked",
    ),
)


def find_alloy(name: str) -> Alloy | None:
    """Return the tabled alloy of exactly this name, or None."""
    return next((alloy for alloy in ALLOYS if alloy.name == name), None)
