"""All measures by name, in the order they are run."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from app.measure.analysis import measure_analysis
from app.measure.fault_rates import measure_faults
from app.measure.figure import Figure
from app.measure.history import measure_history
from app.measure.house import Kind
from app.measure.reading import measure_reading
from app.measure.reanalysis import measure_reanalysis
from app.measure.scripts import measure_scripts
from app.measure.storage import measure_storage
from app.measure.writes import measure_writes


@dataclass(frozen=True)
class Asked:
    """What the person at the terminal asked for."""

    databases: tuple[Kind, ...]
    traces: tuple[Path, ...] = ()


MEASURES: Final[Mapping[str, Callable[[Asked], list[Figure]]]] = {
    "analysis": lambda _: measure_analysis(),
    "faults": lambda _: measure_faults(),
    "reading": lambda _: measure_reading(),
    "reanalysis": lambda _: measure_reanalysis(),
    "storage": lambda asked: measure_storage(asked.traces),
    "scripts": lambda _: measure_scripts(),
    "writes": lambda asked: [f for kind in asked.databases for f in measure_writes(kind)],
    "history": lambda asked: [f for kind in asked.databases for f in measure_history(kind)],
}
