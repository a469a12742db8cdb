"""The JSON route of what a run may never exceed, and its table."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response
from sqlalchemy.orm import Session

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.request import PathId, RequestSession
from app.core.text import OptionalLine
from app.jobs.downloads import spell_disposition
from app.jobs.queries import get_run, get_trace_of, load_place
from app.jobs.standing_verdicts import RunStanding, hold_run
from app.jobs.standing_views import RunStandingView, spell_standing_csv, view_standing
from app.traces.queries import load_samples

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Exporter = Annotated[Person, Depends(needs(Action.HISTORY_EXPORT))]
WindowKey = Annotated[
    OptionalLine,
    Query(
        description="One more window to hold the run against: a code of the plant's own or a key "
        "of a built-in one. Nothing is kept."
    ),
]
TABLE: dict[int | str, dict[str, object]] = {
    200: {"content": {"text/csv": {"schema": {"type": "string"}}}}
}


@router.get("/runs/{run_id}/standing-windows")
def show_standing(
    run_id: PathId, session: RequestSession, _: Reader, window: WindowKey = ""
) -> RunStandingView:
    """Hold a run against every window that stands for its site's part, whatever its recipe says."""
    return view_standing(run_id, _hold(session, run_id, window))


@router.get("/runs/{run_id}/standing-windows.csv", response_class=Response, responses=TABLE)
def download_standing(
    run_id: PathId, session: RequestSession, _: Exporter, window: WindowKey = ""
) -> Response:
    """Give the same as a table for people."""
    return Response(
        spell_standing_csv(_hold(session, run_id, window)),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": spell_disposition(f"run-{run_id}-never-exceed.csv")},
    )


def _hold(session: Session, run_id: int, key: str) -> RunStanding:
    run = get_run(session, run_id)
    recorded = load_samples(session, get_trace_of(run))
    _card, site, step = load_place(session, run)
    return hold_run(session, run, recorded, site=site, step=step, key=key or None)
