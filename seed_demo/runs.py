"""The logger file of a planned run: the recipe's zones through the thermal model."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

from seed_demo.logger_files import write_logger_file
from seed_demo.plant import get_assembly, get_part
from seed_demo.recipes import Body, Recipe, get_value
from seed_demo.story_shapes import PlannedRun
from seed_demo.thermal_model import GasZone, SimulatedTrace, compute_site, simulate_run


@dataclass(frozen=True)
class LoggerFile:
    """What the operator uploads."""

    name: str
    text: str


def list_gas_zones(body: Body) -> tuple[GasZone, ...]:
    """List the zones of a recipe body as the bench runs them."""
    zones = cast("list[Mapping[str, float | None]]", get_value(body, "zones"))
    return tuple(
        GasZone(
            time_s=float(cast("float", zone["time_s"])),
            top_c=zone["top_c"],
            bottom_c=zone["bottom_c"],
            airflow_l_per_min=float(cast("float", zone["airflow_l_per_min"])),
        )
        for zone in zones
    )


def simulate_planned(run: PlannedRun, *, recipe: Recipe, revision: int) -> SimulatedTrace:
    """Simulate a planned run under a revision of its recipe."""
    return simulate_run(
        compute_site(get_part(recipe.part_number), get_assembly(recipe.assembly_part_number)),
        list_gas_zones(recipe.revisions[revision - 1].body),
        variant=run.variant,
        seed=run.seed,
        rate_hz=run.sample_rate_hz,
    )


def write_run_file(run: PlannedRun, *, recipe: Recipe, revision: int) -> LoggerFile:
    """Write the logger file of a planned run."""
    trace = simulate_planned(run, recipe=recipe, revision=revision)
    text = write_logger_file(trace, dialect=run.dialect, started_at=run.started_at)
    return LoggerFile(f"run-{run.started_at:%Y%m%d-%H%M%S}.csv", text)
