"""What is wrong with a recording before anything is computed from it."""

from app.numerics.faults.find import Inspection, find_faults, inspect_recording
from app.numerics.faults.shapes import (
    ChannelFault,
    Evidence,
    FaultKind,
    FaultRole,
    Figure,
    Readings,
)

__all__ = [
    "ChannelFault",
    "Evidence",
    "FaultKind",
    "FaultRole",
    "Figure",
    "Inspection",
    "Readings",
    "find_faults",
    "inspect_recording",
]
