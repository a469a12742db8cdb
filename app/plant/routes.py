"""The JSON routes of benches."""

from datetime import datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Response
from sqlalchemy.orm import Session

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.conditional import IfMatch, check_if_match, spell_etag
from app.core.paging import AskedPage, Piece, take_piece
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.settings import Settings
from app.plant import service
from app.plant.measuring import MeasuringChain
from app.plant.queries import get_bench, select_benches
from app.plant.schemas import BenchFields, BenchView
from app.plant.tables import Bench
from app.plant.views import ChainView
from app.web.once import CreateOnce

router = APIRouter(tags=["plant"])

Reader = Annotated[Person, Depends(needs(Action.READ))]
Manager = Annotated[Person, Depends(needs(Action.BENCHES_MANAGE))]


@router.get("/benches")
def list_benches(session: RequestSession, paging: AskedPage, _: Reader) -> Piece[BenchView]:
    """List the benches, those out of use too."""
    rows, cursor = take_piece(session, select_benches(), key=Bench.id, paging=paging)
    return Piece(items=[BenchView.model_validate(row) for row in rows], next_cursor=cursor)


@router.post("/benches", response_model=BenchView, status_code=HTTPStatus.CREATED)
def add_bench(
    fields: BenchFields, session: RequestSession, now: Now, person: Manager, once: CreateOnce
) -> Response:
    """Add a bench."""
    return once.answer(
        session,
        person.account_id,
        lambda: BenchView.model_validate(
            service.add_bench(session, fields, person=person, now=now)
        ),
    )


@router.get("/benches/{bench_id}")
def show_bench(
    bench_id: PathId, session: RequestSession, response: Response, _: Reader
) -> BenchView:
    """Show a bench with its version as the `ETag`."""
    bench = get_bench(session, bench_id)
    response.headers["ETag"] = spell_etag(bench.version)
    return BenchView.model_validate(bench)


@router.put("/benches/{bench_id}")
def edit_bench(
    bench_id: PathId,
    fields: BenchFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Manager,
    if_match: IfMatch = None,
) -> BenchView:
    """Change a bench; `If-Match` names the version that was read."""
    bench = get_bench(session, bench_id)
    check_if_match(if_match, bench.version)
    service.edit_bench(session, bench, fields, person=person, now=now)
    response.headers["ETag"] = spell_etag(bench.version)
    return BenchView.model_validate(bench)


@router.post("/benches/{bench_id}/retirement")
def retire_bench(bench_id: PathId, session: RequestSession, now: Now, person: Manager) -> BenchView:
    """Take a bench out of use."""
    bench = service.retire_bench(session, get_bench(session, bench_id), person=person, now=now)
    return BenchView.model_validate(bench)


@router.delete("/benches/{bench_id}/retirement")
def reinstate_bench(
    bench_id: PathId, session: RequestSession, now: Now, person: Manager
) -> BenchView:
    """Take a bench into use again."""
    bench = service.reinstate_bench(session, get_bench(session, bench_id), person=person, now=now)
    return BenchView.model_validate(bench)


@router.get("/benches/{bench_id}/measuring-chain")
def show_chain(
    bench_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    response: Response,
    now: Now,
    _: Reader,
) -> ChainView:
    """Show how a bench measures, or what is assumed meanwhile; the `ETag` is the bench's."""
    bench = get_bench(session, bench_id)
    response.headers["ETag"] = spell_etag(bench.version)
    return ChainView.of(bench, now=now, zone=settings.zone)


@router.put("/benches/{bench_id}/measuring-chain")
def describe_chain(
    bench_id: PathId,
    chain: MeasuringChain,
    session: RequestSession,
    settings: HouseSettings,
    response: Response,
    now: Now,
    person: Manager,
    if_match: IfMatch = None,
) -> ChainView:
    """Say how a bench measures; `If-Match` names the version that was read."""
    return _describe(
        session, bench_id, chain, settings, response, now=now, person=person, if_match=if_match
    )


@router.delete("/benches/{bench_id}/measuring-chain")
def forget_chain(
    bench_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    response: Response,
    now: Now,
    person: Manager,
    if_match: IfMatch = None,
) -> ChainView:
    """Say nothing of how a bench measures any more; answers what is assumed from now on."""
    return _describe(
        session, bench_id, None, settings, response, now=now, person=person, if_match=if_match
    )


def _describe(
    session: Session,
    bench_id: int,
    chain: MeasuringChain | None,
    settings: Settings,
    response: Response,
    *,
    now: datetime,
    person: Person,
    if_match: str | None,
) -> ChainView:
    bench = get_bench(session, bench_id)
    check_if_match(if_match, bench.version)
    service.describe_chain(session, bench, chain, person=person, now=now)
    response.headers["ETag"] = spell_etag(bench.version)
    return ChainView.of(bench, now=now, zone=settings.zone)
