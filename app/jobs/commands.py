"""`wickbook recompute`: every kept run computed again from its samples, on all cores."""

import multiprocessing
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import Final

import typer
from rich.console import Console
from rich.progress import track

from app.core.db import Sessions, create_house_engine, open_sessions
from app.core.settings import read_settings
from app.jobs.figures import DEFINITIONS
from app.jobs.recompute import Outcome, Recomputed, list_kept_runs, recompute_run

console = Console(soft_wrap=True, highlight=False, markup=False)
_CHUNK: Final = 8


class _Worker:
    """What one process keeps between the runs it is given."""

    sessions: Sessions


def recompute() -> None:
    """Compute every kept run again from its samples; status 1 names each that differs.

    Figures of older definitions than this program's are not computed again; they are counted.
    """
    url = read_settings().database_url
    sessions = open_sessions(create_house_engine(url))
    try:
        with sessions.read() as session:
            run_ids = list_kept_runs(session)
    finally:
        sessions.engine.dispose()
    counts: Counter[Outcome] = Counter()
    older: Counter[int] = Counter()
    for one in track(
        _recompute_all(url, run_ids),
        description="Computing runs again",
        total=len(run_ids),
        console=console,
        transient=True,
    ):
        counts[one.outcome] += 1
        if one.outcome is Outcome.OLDER:
            older[one.definitions] += 1
        elif one.outcome is not Outcome.SAME:
            console.print(f"Run {one.run_id} {one.outcome}: {'; '.join(one.differences)}.")
    again = counts[Outcome.SAME] + counts[Outcome.DIFFERS]
    console.print(
        f"{again} of {len(run_ids)} runs computed again by definitions {DEFINITIONS}: "
        f"{counts[Outcome.SAME]} as kept, {counts[Outcome.DIFFERS]} differ."
    )
    for number, count in sorted(older.items()):
        console.print(
            f"{count} were made by definitions {number}, which this program no longer computes."
        )
    if counts[Outcome.DIFFERS] or counts[Outcome.UNREADABLE]:
        raise typer.Exit(1)


def _recompute_all(url: str, run_ids: Sequence[int]) -> Iterator[Recomputed]:
    if not run_ids:
        return
    workers = min(os.cpu_count() or 1, -(-len(run_ids) // _CHUNK))
    with ProcessPoolExecutor(
        max_workers=workers,
        # A connection to a database must not be shared by a fork.
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_open,
        initargs=(url,),
    ) as pool:
        yield from pool.map(_recompute_one, run_ids, chunksize=_CHUNK)


def _open(url: str) -> None:
    _Worker.sessions = open_sessions(create_house_engine(url))


def _recompute_one(run_id: int) -> Recomputed:
    with _Worker.sessions.read() as session:
        return recompute_run(session, run_id)
