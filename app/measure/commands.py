"""The `wickbook measure` command."""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from app.core.refusals import Refusal
from app.measure.cluster import find_binaries
from app.measure.figure import Figure
from app.measure.house import Kind
from app.measure.registry import MEASURES, Asked
from app.measure.report import make_table, spell_json

console = Console()
told = Console(stderr=True)


def measure(
    only: Annotated[
        list[str] | None, typer.Option(help=f"One measure, again for more: {', '.join(MEASURES)}.")
    ] = None,
    database: Annotated[Kind | None, typer.Option(help="One database; both when left out.")] = None,
    trace: Annotated[
        list[Path] | None,
        typer.Option(
            help="A logger's file to measure storage on too.", exists=True, dir_okay=False
        ),
    ] = None,
    json: Annotated[
        Path | None, typer.Option(help="Write the figures to this file as JSON too.")
    ] = None,
) -> None:
    """Measure speed and size against their targets; exit status 1 when one is not met."""
    unknown = [name for name in only or () if name not in MEASURES]
    if unknown:
        raise typer.BadParameter(f"no measure {unknown[0]}; there are {', '.join(MEASURES)}")
    asked = Asked(_choose_databases(database), tuple(trace or ()))
    figures: list[Figure] = []
    for name in only or MEASURES:
        told.print(f"Measuring: {name} …")
        try:
            figures += MEASURES[name](asked)
        except Refusal as refusal:
            raise typer.BadParameter(refusal.sentence) from refusal
    console.print(make_table(figures))
    if json is not None:
        json.write_text(spell_json(figures) + "\n", encoding="utf-8")
    if any(figure.is_met is False for figure in figures):
        raise typer.Exit(1)


def _choose_databases(database: Kind | None) -> tuple[Kind, ...]:
    if database is not None:
        return (database,)
    if find_binaries() is None:
        told.print("PostgreSQL is not installed here: measuring on SQLite alone.")
        return ("sqlite",)
    return ("sqlite", "postgresql")
