"""Has the whole log verified when the service starts, and every night."""

import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from datetime import datetime, time, timedelta
from threading import Event, Lock, Thread
from typing import Annotated, Final
from zoneinfo import ZoneInfo

from fastapi import Depends, FastAPI, Request

from app.core.clock import Clock
from app.core.settings import Settings
from app.history.log_state import LogState
from app.history.rules import NoVerificationRunning, VerificationRunning

NIGHT: Final = time(2, 30)
# The clock of a computer may be set while we wait: the time is asked again now and then.
LONGEST_WAIT_S: Final = 600.0

log = logging.getLogger("wickbook")
_guard = Lock()


def find_log_state(app: FastAPI) -> LogState:
    """Return what this process knows of the log, made at the first question."""
    with _guard:
        state: LogState | None = getattr(app.state, "log_state", None)
        if state is None:
            state = app.state.log_state = LogState(app.state.sessions, app.state.clock)
        return state


def get_log_state(request: Request) -> LogState:
    """Return what this process knows of the log, for a route."""
    app: FastAPI = request.app
    return find_log_state(app)


HouseLog = Annotated[LogState, Depends(get_log_state)]


@asynccontextmanager
async def keep_verified(app: FastAPI) -> AsyncIterator[None]:
    """Verify everything now and every night as long as the service runs."""
    state = find_log_state(app)
    settings: Settings = app.state.settings
    over = Event()
    watch = Thread(
        target=_watch,
        args=(state, app.state.clock, settings.zone, over),
        name="wickbook-watch",
        daemon=True,
    )
    _begin(state)
    watch.start()
    try:
        yield
    finally:
        over.set()
        with suppress(NoVerificationRunning):
            state.stop_check()
        watch.join(5)
        state.wait(5)


def find_next_night(now: datetime, zone: ZoneInfo) -> datetime:
    """Return the next half past two of the plant's clock after a moment."""
    local = now.astimezone(zone)
    night = datetime.combine(local.date(), NIGHT, tzinfo=zone)
    return (
        night
        if night > local
        else datetime.combine(local.date() + timedelta(days=1), NIGHT, tzinfo=zone)
    )


def _watch(state: LogState, clock: Clock, zone: ZoneInfo, over: Event) -> None:
    night = find_next_night(clock(), zone)
    while not over.wait(min(max((night - clock()).total_seconds(), 1.0), LONGEST_WAIT_S)):
        if clock() >= night:
            _begin(state)
            night = find_next_night(clock(), zone)


def _begin(state: LogState) -> None:
    with suppress(VerificationRunning):
        state.start_check()
