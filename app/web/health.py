"""Says whether the service lives, and whether it can work."""

from typing import Literal

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import BaseModel
from sqlalchemy import text
from sqlalchemy.orm import Session

from app.web.problems import Busy

router = APIRouter(tags=["health"])


class Health(BaseModel):
    """That the service answers."""

    state: Literal["alive", "ready"]


@router.get("/healthz")
async def tell_alive() -> Health:
    """Answer as long as the service runs."""
    return Health(state="alive")


@router.get("/readyz", responses={503: {"description": "The database does not answer."}})
async def tell_ready(request: Request) -> Health:
    """Answer `ready` when the database answers too; 503 otherwise."""
    try:
        await run_in_threadpool(_ask, request.app.state.sessions.read)
    except Exception as error:
        raise Busy("The database does not answer; see the service's log.") from error
    return Health(state="ready")


def _ask(make: type[Session]) -> None:
    with make() as session:
        session.execute(text("SELECT 1 FROM audit_entries LIMIT 1"))
