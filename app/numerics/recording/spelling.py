"""A fault as one sentence for a person."""

from collections.abc import Callable, Mapping
from typing import Final

from app.numerics.faults import ChannelFault, FaultKind
from app.numerics.values import Unit

_CAUSES: Final[Mapping[FaultKind, Callable[[ChannelFault], str]]] = {
    FaultKind.OPEN_CIRCUIT: lambda fault: f"no readings {_span(fault)}",
    FaultKind.SHORT_CIRCUIT: lambda fault: f"stands at the air's temperature {_span(fault)}",
    FaultKind.SPIKE: lambda fault: f"out of line {_span(fault)}",
    FaultKind.FLAT_LINE: lambda fault: f"stands still {_span(fault)}",
    FaultKind.REVERSED_POLARITY: lambda fault: f"falls below the air {_span(fault)}",
    FaultKind.SWAPPED: lambda fault: f"looks exchanged with {fault.partner} {_span(fault)}",
    FaultKind.LOOSE_JUNCTION: lambda fault: f"leaps without cause {_span(fault)}",
    FaultKind.TIME_BACKWARDS: lambda fault: f"the clock steps back {_span(fault)}",
    FaultKind.TIME_DOUBLED: lambda fault: f"moments are repeated {_span(fault)}",
    FaultKind.GAP: lambda fault: f"nothing was recorded {_span(fault)}",
    FaultKind.SATURATION: lambda fault: f"stops at the end of its range {_span(fault)}",
}


def spell_fault(fault: ChannelFault) -> str:
    """Spell a fault as one sentence with its moment (s) and figures; the channel is not named.

    Such as `Spike: out of line at 41.2 s (height 38.5 K, readings 1).`
    """
    figures = ", ".join(
        f"{figure.name} {_spell_number(figure.value, figure.unit)}"
        for figure in fault.evidence.figures
    )
    kind = str(fault.kind)
    shown = f" ({figures})" if figures else ""
    return f"{kind[0].upper()}{kind[1:]}: {_CAUSES[fault.kind](fault)}{shown}."


def _span(fault: ChannelFault) -> str:
    begin, end = f"{fault.evidence.at_s:.1f}", f"{fault.evidence.until_s:.1f}"
    return f"at {begin} s" if begin == end else f"from {begin} s to {end} s"


def _spell_number(value: float, unit: Unit | None) -> str:
    if unit is None:
        return f"{value:.0f}"
    # Noise and short steps of time are told by their hundredths.
    small = 1.0
    return f"{value:.{2 if abs(value) < small else 1}f} {unit}"
