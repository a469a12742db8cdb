"""A run that was set aside, in a board's history and held against the log."""

import pytest

from app.core.db import Sessions
from app.history.sweep import sweep
from app.jobs.queries import get_run
from app.jobs.rules import StepKind
from app.jobs.setting_aside import read_again, set_aside_run
from tests.history.conftest import Tamper, Teller, read_story


@pytest.fixture
def run_id(teller: Teller) -> int:
    """Return the number of a run of a second job that was set aside and read again."""
    shop = teller.shop
    with shop.sessions.write() as session:
        job = shop.open_job(session)
        teller.later()
        shop.clear(session, job)
        run = shop.record(session, job, StepKind.REMOVE)
        teller.later()
        set_aside_run(session, run, "Wrong file", person=shop.odile, now=shop.now)
        teller.later()
        again = read_again(session, run, settings=shop.settings, person=shop.odile, now=shop.now)
        shop.complete(session, get_run(session, again.id))
        shop.sign(session, job, StepKind.REMOVE)
        session.commit()
        return run.id


def find_differences(sessions: Sessions) -> list[str]:
    return [str(one) for swept in sweep(sessions) for one in swept.differences]


def test_a_run_that_was_set_aside_differs_in_nothing_and_the_story_says_it(
    sessions: Sessions, run_id: int
) -> None:
    assert find_differences(sessions) == []
    lines = [line for line in read_story(sessions, 1).lines if line.run_id == run_id]
    assert [line.what for line in lines] == [
        f"Run {run_id}, remove of U3: complete",
        f"Run {run_id}, remove of U3: set aside, does not count",
    ]
    complete, aside = lines
    assert ("Does not count, set aside because", "Wrong file") in complete.details
    assert complete.sign is not None
    assert complete.sign.word == "does not count (inside)"
    assert aside.details == (("Reason", "Wrong file"),)
    assert [line.faults for line in lines] == [(), ()]


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ("set_aside_reason = 'Better'", "its reason for setting aside is Better"),
        ("set_aside_by_id = 2", "its person setting it aside is 2"),
        ("set_aside_at = '2026-01-01 00:00:00'", "its moment of setting aside is"),
        (
            "set_aside_at = NULL, set_aside_by_id = NULL, set_aside_reason = NULL",
            "its moment of setting aside is",
        ),
    ],
)
def test_a_setting_aside_changed_past_the_locks_is_named(
    sessions: Sessions, run_id: int, tamper: Tamper, change: str, named: str
) -> None:
    tamper(f"UPDATE runs SET {change} WHERE id = :run", run=run_id)
    assert any(named in one and f"run {run_id} of U3" in one for one in find_differences(sessions))


def test_a_run_set_aside_without_a_word_in_the_log_is_named(
    sessions: Sessions, job_id: int, tamper: Tamper
) -> None:
    tamper(
        "UPDATE runs SET set_aside_at = ended_at, set_aside_by_id = by_id,"
        " set_aside_reason = 'Trial' WHERE id = 3"
    )
    assert any("its reason for setting aside is Trial" in one for one in find_differences(sessions))
