"""The history of a board with many jobs, held against raw SQL for the same rows."""

from contextlib import ExitStack

from sqlalchemy import text

from app.audit.service import install_log
from app.core.db import create_house_engine, open_sessions
from app.core.settings import Settings
from app.history.snapshot import open_snapshot
from app.history.story import load_piece, load_story
from app.measure.busy_board import make_busy_board
from app.measure.figure import Bound, Figure
from app.measure.house import Kind, add_database, make_database_url
from app.measure.rounds import time_in_turns

JOBS = 200
PIECE = 50
TARGET = 5.0
ROUNDS = 9
REPEATS = 2

_OF_JOB = "FROM jobs JOIN {0} ON {0}.{1} = jobs.id WHERE jobs.board_id = :board"
_OF_SITE = (
    "FROM jobs JOIN job_sites ON job_sites.job_id = jobs.id "
    "JOIN job_steps ON job_steps.job_site_id = job_sites.id "
)
RAW = tuple(
    text(query)
    for query in (
        "SELECT * FROM boards WHERE id = :board",
        "SELECT * FROM audit_entries WHERE board_id = :board ORDER BY board_number",
        "SELECT * FROM jobs WHERE board_id = :board ORDER BY id",
        "SELECT job_holds.* " + _OF_JOB.format("job_holds", "job_id"),
        "SELECT job_sites.* " + _OF_JOB.format("job_sites", "job_id"),
        f"SELECT job_steps.* {_OF_SITE} WHERE jobs.board_id = :board",
        (
            f"SELECT step_entries.* {_OF_SITE} "
            "JOIN step_entries ON step_entries.step_id = job_steps.id WHERE jobs.board_id = :board"
        ),
        (
            "SELECT runs.* FROM jobs JOIN job_sites ON job_sites.job_id = jobs.id "
            "JOIN runs ON runs.job_site_id = job_sites.id WHERE jobs.board_id = :board"
        ),
    )
)


def measure_history(kind: Kind, *, jobs: int = JOBS, rounds: int = ROUNDS) -> list[Figure]:
    """Measure a story whole, written out and in pieces against fetching all rows as they are."""
    with ExitStack() as stack:
        url = add_database(stack.enter_context(make_database_url(kind)), "house")
        sessions = open_sessions(create_house_engine(url))
        stack.callback(sessions.engine.dispose)
        install_log(sessions)
        board_id = make_busy_board(sessions, Settings(database_url=url), jobs=jobs)

        def fetch_raw() -> int:
            with open_snapshot(sessions) as session:
                connection = session.connection()
                return sum(len(connection.execute(q, {"board": board_id}).all()) for q in RAW)

        def tell_whole() -> None:
            with open_snapshot(sessions) as session:
                load_story(session, board_id)

        def tell_and_write() -> None:
            with open_snapshot(sessions) as session:
                for _ in load_story(session, board_id).lines:
                    pass

        def tell_piece() -> None:
            with open_snapshot(sessions) as session:
                load_piece(session, board_id, begin=0, limit=PIECE)

        rows = fetch_raw()
        times = time_in_turns(
            {
                "raw": fetch_raw,
                "whole": tell_whole,
                "written": tell_and_write,
                "piece": tell_piece,
            },
            rounds=rounds,
            repeats=REPEATS,
        )
    name = f"history, {kind}"
    raw_s = times["raw"]
    return [
        Figure(name, f"raw SQL, {rows:,} rows of {jobs} jobs", raw_s * 1e3, "ms"),
        Figure(
            name,
            f"a page of the story, {PIECE} lines, against all those rows",
            times["piece"] / raw_s,
            "times as long",
        ),
        Figure(
            name,
            "the whole story with every line written out, as an export does",
            times["written"] / raw_s,
            "times as long",
        ),
        Figure(
            name,
            "the whole story, read and held against the log",
            times["whole"] / raw_s,
            "times as long",
            Bound.AT_MOST,
            TARGET,
        ),
    ]
