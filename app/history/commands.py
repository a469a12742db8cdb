"""`wickbook verify`: the locks, the whole log recomputed, and every record held against it."""

import typer
from rich.console import Console
from rich.progress import Progress

from app.audit.locks import check_locks
from app.audit.queries import count_entries, iterate_entries
from app.audit.verifier import verify_entries
from app.core.db import Sessions, create_house_engine, open_sessions
from app.core.settings import read_settings
from app.history.differences import Difference
from app.history.sweep import count_records, sweep

console = Console(soft_wrap=True, highlight=False, markup=False)


def verify() -> None:
    """Try the locks, recompute the log, hold every record against it; status 1 names the wrong."""
    sessions = open_sessions(create_house_engine(read_settings().database_url))
    try:
        is_locked = verify_locks(sessions)
        is_whole = verify_log(sessions)
        differences = verify_records(sessions)
    finally:
        sessions.engine.dispose()
    if not is_locked or not is_whole or differences:
        raise typer.Exit(1)


def verify_locks(sessions: Sessions) -> bool:
    """Say whether every lock of the database holds; False for open ones, which are named."""
    check = check_locks(sessions.engine)
    for lock in check.open:
        console.print(f"Lock open: {lock}.")
    if not check.open:
        console.print(f"Every lock of the database holds: {check.count} looked at.")
    return not check.open


def verify_log(sessions: Sessions) -> bool:
    """Recompute every entry and say what was found; False for a wrong one, which is named."""
    with sessions.read() as session, Progress(console=console) as progress:
        task = progress.add_task("Recomputing the log", total=count_entries(session))
        verdict = verify_entries(
            iterate_entries(session), tell=lambda done: progress.update(task, completed=done)
        )
    if verdict.is_whole:
        console.print(f"The log is whole: {verdict.size} entries, root {verdict.root.hex()}")
    else:
        console.print(f"Entry {verdict.wrong_seq} is wrong: {verdict.reason}.")
    return verdict.is_whole


def verify_records(sessions: Sessions) -> list[Difference]:
    """Hold every record against the log, name each that differs, and return them."""
    with sessions.read() as session:
        total = count_records(session)
    differences: list[Difference] = []
    with Progress(console=console) as progress:
        task = progress.add_task("Holding records against it", total=total)
        for swept in sweep(sessions):
            progress.advance(task, swept.count)
            differences += swept.differences
    if not differences:
        console.print(f"Every record is as the log tells: {total} looked at.")
    for difference in differences:
        console.print(f"Record differs: {difference}.")
    return differences
