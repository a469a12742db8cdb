"""How the invented benches measure: wire of class 1, and inputs that were calibrated."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from app.numerics.thermocouple_limits import ThermocoupleType, ToleranceClass
from app.plant.measuring import ChannelCorrection, Covered, MeasuringChain


@dataclass(frozen=True)
class _Calibrated:
    """A bench's chain: corrections in K from T1 on, all by one certificate."""

    covers: Covered
    logger_accuracy_k: float
    timebase_ppm: float
    timebase_jitter_s: float
    corrections_k: tuple[float, ...]
    expanded_k: float
    certificate: str
    valid_days: int
    note: str


# The Grebe bench's certificate ends just before the half year does, so that a caution is seen.
_CHAINS: Final = {
    "HERON": _Calibrated(
        Covered.WIRE_AND_LOGGER, 0.7, 50.0, 0.01, (-0.4, -0.3, 0.2, 0.0, 0.5), 0.8,
        "LKS-2417", 365, "Wire of one spool, calibrated with its input at 100, 200 and 250 °C",
    ),
    "GREBE": _Calibrated(
        Covered.WIRE_AND_LOGGER, 1.0, 100.0, 0.05, (0.6, 0.4, 0.5), 1.0,
        "LKS-2388", 238, "Joints and body calibrated in a block; the other two are as delivered",
    ),
    "DIPPER": _Calibrated(
        Covered.WIRE_AND_LOGGER, 0.5, 20.0, 0.002, (-0.1, 0.2, -0.2, 0.1, 0.0), 0.6,
        "LKS-2420", 365, "Wire of one spool, calibrated with its input at 100, 200 and 250 °C",
    ),
}  # fmt: skip


def make_chain(bench: str, *, first_day: date) -> MeasuringChain:
    """Return the chain of a bench as its certificates of `first_day` say; KeyError without one."""
    said = _CHAINS[bench]
    return MeasuringChain(
        thermocouple_type=ThermocoupleType.K,
        thermocouple_class=ToleranceClass.IEC_1,
        logger_accuracy_k=said.logger_accuracy_k,
        timebase_ppm=said.timebase_ppm,
        timebase_jitter_s=said.timebase_jitter_s,
        note=said.note,
        corrections=tuple(
            ChannelCorrection(
                channel=f"T{number}",
                correction_k=correction_k,
                expanded_k=said.expanded_k,
                certificate=f"{said.certificate}-{number}",
                valid_until=first_day + timedelta(days=said.valid_days),
                covers=said.covers,
            )
            for number, correction_k in enumerate(said.corrections_k, start=1)
        ),
    )
