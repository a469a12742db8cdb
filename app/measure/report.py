"""Spells figures: a table for the terminal, JSON for programs."""

import json
import platform
from collections.abc import Sequence
from dataclasses import asdict
from typing import Final

from rich.table import Table

from app.measure.figure import Bound, Figure

_WORDS: Final = {True: "● met", False: "■ not met", None: ""}


def make_table(figures: Sequence[Figure]) -> Table:
    """Return the figures as a table: what, figure, target, met or not."""
    table = Table(title="Measured within one run on this machine", title_justify="left")
    table.add_column("measure")
    table.add_column("what")
    table.add_column("figure", justify="right")
    table.add_column("unit")
    table.add_column("target")
    table.add_column("")
    for figure in figures:
        table.add_row(
            figure.measure,
            figure.what,
            f"{figure.value:,.3g}",
            figure.unit,
            "" if figure.target is None else f"{figure.bound} {figure.target:g}",
            _WORDS[figure.is_met],
        )
    return table


def spell_json(figures: Sequence[Figure]) -> str:
    """Spell the figures and the machine as JSON."""
    return json.dumps(
        {
            "python": platform.python_version(),
            "machine": platform.machine(),
            "figures": [
                {
                    **asdict(figure),
                    "bound": None if figure.bound is Bound.NONE else str(figure.bound),
                    "is_met": figure.is_met,
                }
                for figure in figures
            ],
        },
        indent=2,
    )
