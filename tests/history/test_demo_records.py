"""A house with the demo in it is as its log tells, and every lock of it holds."""

from app.audit.locks import check_locks
from app.core.db import create_house_engine, open_sessions
from app.history.sweep import count_records, sweep


def test_the_demo_differs_in_nothing(with_demo: str) -> None:
    sessions = open_sessions(create_house_engine(with_demo))
    found = [str(one) for swept in sweep(sessions) for one in swept.differences]
    with sessions.read() as session:
        assert count_records(session) > 30
    assert check_locks(sessions.engine).open == ()
    sessions.engine.dispose()
    assert found == []
