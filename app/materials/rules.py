"""The rules of parts."""

from enum import StrEnum
from typing import Final

from app.core.refusals import Conflict, Unknown

# Common limit in makers' sheets: the first assembly and two more. From memory.
REFLOW_CYCLES_USUAL: Final = 3


class PackageType(StrEnum):
    """The kinds of package, in the trade's words."""

    BGA = "BGA"
    CSP = "CSP"
    QFN = "QFN"
    LGA = "LGA"
    OTHER = "other"


class MoistureLevel(StrEnum):
    """Moisture sensitivity levels of J-STD-020."""

    L1 = "1"
    L2 = "2"
    L2A = "2a"
    L3 = "3"
    L4 = "4"
    L5 = "5"
    L5A = "5a"
    L6 = "6"


class PartUnknown(Unknown):
    """No part has this number."""

    code = "materials.part_unknown"


class PartNumberTaken(Conflict):
    """Another part has this part number already."""

    code = "materials.part_number_taken"
