"""What a request may ask for in its signature: its session, its moment, its settings."""

from collections.abc import AsyncIterator
from contextlib import AsyncExitStack
from datetime import datetime
from typing import Annotated, Final

from fastapi import Depends, Path, Request
from fastapi.concurrency import run_in_threadpool
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from app.core.settings import Settings

SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_FORM_TYPES: Final = ("application/x-www-form-urlencoded", "multipart/form-data")


async def parse_body(request: Request) -> FormData | bytes:
    """Read the whole body before a transaction begins: a slow sender must not hold a lock.

    Form bodies are parsed (at most 2 files and 2,000 fields); any other stays bytes. Asked again,
    it gives what was read before.
    """
    if request.method in SAFE_METHODS:
        return b""
    if not request.headers.get("content-type", "").startswith(_FORM_TYPES):
        return await request.body()
    most = request.app.state.settings.body_limit_kb * 1024
    return await request.form(max_files=2, max_fields=2_000, max_part_size=most)


async def read_body(request: Request) -> AsyncIterator[FormData | bytes]:
    """Give the body to the route; the files of a form are closed when the answer is out."""
    body = await parse_body(request)
    try:
        yield body
    finally:
        if isinstance(body, FormData):
            await body.close()


async def get_session(
    request: Request, _body: Annotated[FormData | bytes, Depends(read_body)]
) -> AsyncIterator[Session]:
    """Open the request's one transaction: commit when the route returns, roll back if it raises."""
    state = request.app.state
    if request.method in SAFE_METHODS:
        session: Session = state.sessions.read()
        try:
            yield session
        finally:
            await run_in_threadpool(session.close)
        return
    async with AsyncExitStack() as turn:
        # On SQLite one writer at a time waits here and not in a thread, which the writer needs.
        if state.write_turn is not None:
            await turn.enter_async_context(state.write_turn)
        session = state.sessions.write()
        try:
            yield session
        except BaseException:
            await run_in_threadpool(session.close)
            raise
        if session.in_transaction():
            await run_in_threadpool(_commit, session)


def _commit(session: Session) -> None:
    with session:
        session.commit()


# What only looks something up is async: a thread's turn costs more than the look.
async def get_now(request: Request) -> datetime:
    """Return the moment of the request, from the app's clock."""
    now: datetime = request.app.state.clock()
    return now


async def get_settings(request: Request) -> Settings:
    """Return the settings the app was created with."""
    settings: Settings = request.app.state.settings
    return settings


# "function" ends the dependency, and so commits, BEFORE the response leaves; the default scope
# would commit after the reader has already seen "done". Sessions are cached per scope, so every
# signature must use this one alias or a request would hold two transactions.
RequestSession = Annotated[Session, Depends(get_session, scope="function")]
RequestBody = Annotated[FormData | bytes, Depends(read_body)]
Now = Annotated[datetime, Depends(get_now)]
HouseSettings = Annotated[Settings, Depends(get_settings)]
PathId = Annotated[int, Path(ge=1, le=2**31 - 1)]
