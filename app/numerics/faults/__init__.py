"""What is wrong with a recording before anything is computed from it."""

from app.numerics.faults.find import find_faults
from app.numerics.faults.shapes import ChannelFault, Evidence, FaultKind, FaultRole, Figure

__all__ = ["ChannelFault", "Evidence", "FaultKind", "FaultRole", "Figure", "find_faults"]
