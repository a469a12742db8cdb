"""Loads the demo through the house's services: everything, or nothing at all."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Final

from sqlalchemy import Connection, text
from sqlalchemy.orm import Session

from app.accounts.queries import count_accounts
from app.audit.queries import LOG_LOCK
from app.core.db import WRITES, Sessions
from app.core.settings import Settings
from seed_demo.load_acts import Act, DemoAccount, Stage, sort_acts
from seed_demo.load_jobs import list_job_acts
from seed_demo.load_plant import list_plant_acts
from seed_demo.load_recipes import list_recipe_acts
from seed_demo.load_windows import list_window_acts
from seed_demo.story_shapes import PlannedJob

Tell = Callable[[int, int], None]


class InUse(Exception):
    """The database holds accounts already; nothing was changed."""

    def __init__(self, count: int) -> None:
        super().__init__(f"the database holds {count} accounts already")
        self.count: Final = count


def load_demo(
    sessions: Sessions,
    settings: Settings,
    *,
    end: datetime,
    jobs: Sequence[PlannedJob],
    tell: Tell | None = None,
) -> tuple[DemoAccount, ...]:
    """Load the demo with jobs planned for `end`; return its accounts with their passwords.

    Every act is a commit with its own audit entries, in time order over the whole plant. All of
    them lie within one transaction of the database, so that an interrupted loading leaves nothing.
    `tell` hears how many acts of how many are done. InUse when the database holds accounts already.
    """
    stage = Stage(settings)
    acts = list_acts(stage, end=end, jobs=jobs)
    with sessions.engine.execution_options(**{WRITES: True}).begin() as connection:
        _check_empty(sessions, connection)
        for done, act in enumerate(acts, start=1):
            # Its commit ends a savepoint, not the transaction.
            with _begin(sessions, connection) as session:
                act.do(session, act.at)
                session.commit()
            if tell is not None:
                tell(done, len(acts))
    return tuple(stage.accounts)


def list_acts(stage: Stage, *, end: datetime, jobs: Sequence[PlannedJob]) -> list[Act]:
    """List everything that happens up to `end`, in time order."""
    return sort_acts(
        [
            *list_plant_acts(stage, end),
            *list_recipe_acts(stage, end),
            *list_window_acts(stage, end),
            *list_job_acts(stage, jobs),
        ]
    )


def _begin(sessions: Sessions, connection: Connection) -> Session:
    return sessions.write(bind=connection, join_transaction_mode="create_savepoint")


def _check_empty(sessions: Sessions, connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        # Two loadings at once would each find the database empty.
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": LOG_LOCK})
    with _begin(sessions, connection) as session:
        count = count_accounts(session)
    if count:
        raise InUse(count)
