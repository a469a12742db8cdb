"""Loads the demo into the database of the settings: `python -m seed_demo`."""

import sys
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Annotated, Final

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from sqlalchemy import inspect

from app.audit.service import install_log
from app.core.clock import read_clock
from app.core.db import Sessions, create_house_engine, open_sessions
from app.core.settings import Settings, read_settings
from seed_demo.load import InUse, load_demo
from seed_demo.load_acts import DemoAccount
from seed_demo.plant import PLANT_NAME
from seed_demo.story import JOB_COUNT, plan_jobs
from seed_demo.working_time import ZONE

EARLIEST_END: Final = date(2000, 1, 1)

# The accounts alone go to the standard output, so that they can be kept in a file.
console = Console(stderr=True)


def main(
    end: Annotated[
        datetime | None,
        typer.Option(formats=["%Y-%m-%d"], help="The day the story ends on; today if not given."),
    ] = None,
    jobs: Annotated[
        int, typer.Option(min=0, max=JOB_COUNT, help="Load only the first so many jobs.")
    ] = JOB_COUNT,
    *,
    quiet: Annotated[bool, typer.Option("--quiet", help="Show no progress.")] = False,
) -> None:
    """Load the invented plant with half a year of its rework, and print its accounts."""
    moment = choose_end(end.date() if end else None, now=read_clock())
    settings = read_settings()
    sessions = open_sessions(create_house_engine(settings.database_url))
    install_log(sessions)
    try:
        accounts = _load(sessions, settings, end=moment, jobs=jobs, quiet=quiet)
    finally:
        sessions.engine.dispose()
    sys.stdout.write(spell_accounts(accounts))


def _load(
    sessions: Sessions, settings: Settings, *, end: datetime, jobs: int, quiet: bool
) -> tuple[DemoAccount, ...]:
    if not inspect(sessions.engine).has_table("accounts"):
        console.print("This database has no tables yet: run `wickbook migrate` first.")
        raise typer.Exit(1)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    try:
        with Progress(*columns, TimeElapsedColumn(), console=console, disable=quiet) as progress:
            task = progress.add_task(f"Half a year of {PLANT_NAME}", visible=False)
            return load_demo(
                sessions,
                settings,
                end=end,
                jobs=plan_jobs(end)[:jobs],
                tell=lambda done, total: progress.update(
                    task, completed=done, total=total, visible=True
                ),
            )
    except InUse as used:
        console.print(f"Nothing loaded, the data are kept: {used}.")
        raise typer.Exit(0) from None


def choose_end(day: date | None, *, now: datetime) -> datetime:
    """Return the moment the story ends: now, or the midnight at the end of an earlier day.

    typer.BadParameter for a day before 2000 or after today on the plant's clock.
    """
    today = now.astimezone(ZONE).date()
    if day is None or day == today:
        return now.astimezone(ZONE)
    if not EARLIEST_END <= day < today:
        raise typer.BadParameter(
            f"must be a day from {EARLIEST_END} to {today}, not {day}", param_hint="--end"
        )
    return datetime.combine(day + timedelta(days=1), time(), tzinfo=ZONE)


def spell_accounts(accounts: Sequence[DemoAccount]) -> str:
    """Spell the table of accounts: role, username, password and name, one line each."""
    lines = [("Role", "Username", "Password", "Name")]
    lines += [(", ".join(one.roles), one.username, one.password, one.name) for one in accounts]
    widths = [max(len(line[column]) for line in lines) for column in range(len(lines[0]))]
    spelt = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    ]
    return "\n".join([spelt[0], "-" * max(map(len, spelt)), *spelt[1:], ""])


if __name__ == "__main__":
    typer.run(main)
