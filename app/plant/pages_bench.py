"""The screen of one bench: what it is called, and how it measures."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.conditional import check_version
from app.core.refusals import Refusal
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.settings import Settings
from app.plant import service
from app.plant.chain_form import arrange, read_form, spell_form
from app.plant.chain_sheet import ChainFacts, ChainForm, lay_out_facts, lay_out_form
from app.plant.measuring import ASSUMED_CHAIN
from app.plant.queries import find_chain, get_bench
from app.plant.schemas import BenchFields
from app.plant.tables import Bench
from app.web.forms import PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Manager = Annotated[Person, Depends(needs(Action.BENCHES_MANAGE))]

add_notices(
    {
        "bench-changed": "The bench was changed.",
        "bench-retired": "The bench is out of use; its runs keep naming it.",
        "bench-reinstated": "The bench is in use again.",
        "chain-described": "The measuring chain was saved; it counts for runs from now on.",
        "chain-forgotten": "The measuring chain was taken out; what is assumed counts again.",
    }
)


@dataclass(frozen=True)
class BenchPage:
    """All that bench.html can see."""

    shell: Shell
    href: str
    version: int
    is_retired: bool
    can_edit: bool
    can_manage: bool
    values: Mapping[str, str]
    faults: Mapping[str, str]
    chain: ChainFacts
    chain_form: ChainForm
    is_chain_open: bool


@dataclass(frozen=True)
class Typed:
    """What was typed into one of the page's forms, and what was wrong with it."""

    texts: Mapping[str, str]
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class _View:
    """What showing the page needs beside the bench."""

    request: Request
    session: RequestSession
    settings: Settings
    now: datetime


async def _get_view(
    request: Request, session: RequestSession, settings: HouseSettings, now: Now
) -> _View:
    return _View(request, session, settings, now)


View = Annotated[_View, Depends(_get_view)]


@router.get("/setup/benches/{bench_id}")
def show_bench(bench_id: PathId, view: View, person: Reader) -> HTMLResponse:
    """Show one bench and how it measures."""
    return _show_bench(view, person, bench_id)


@router.post("/setup/benches/{bench_id}")
def edit_bench(
    bench_id: PathId,
    session: RequestSession,
    now: Now,
    person: Manager,
    form: PostedForm,
    view: View,
) -> Response:
    """Change a bench, or show the form again with what was wrong."""
    bench = get_bench(session, bench_id)
    try:
        check_version(form.text("version"), bench.version)
        service.edit_bench(session, bench, form.parse(BenchFields), person=person, now=now)
    except Refusal as refusal:
        return _show_bench(
            view, person, bench_id, bench_typed=Typed(form.texts, map_faults(refusal))
        )
    return go_to("/setup/benches", said="bench-changed")


@router.post("/setup/benches/{bench_id}/measuring-chain")
def describe_chain(
    bench_id: PathId,
    session: RequestSession,
    now: Now,
    person: Manager,
    form: PostedForm,
    view: View,
) -> Response:
    """Say how a bench measures, or show the form again with what was wrong."""
    bench = get_bench(session, bench_id)
    texts = arrange(form.texts)
    try:
        check_version(form.text("version"), bench.version)
        service.describe_chain(session, bench, read_form(texts), person=person, now=now)
    except Refusal as refusal:
        return _show_bench(view, person, bench_id, chain_typed=Typed(texts, map_faults(refusal)))
    return go_to(f"/setup/benches/{bench_id}", said="chain-described")


@router.post("/setup/benches/{bench_id}/measuring-chain/removal")
def forget_chain(
    bench_id: PathId,
    session: RequestSession,
    now: Now,
    person: Manager,
    form: PostedForm,
    view: View,
) -> Response:
    """Say nothing of how a bench measures any more."""
    bench = get_bench(session, bench_id)
    try:
        check_version(form.text("version"), bench.version)
        service.describe_chain(session, bench, None, person=person, now=now)
    except Refusal as refusal:
        return _show_bench(view, person, bench_id, refusal=refusal)
    return go_to(f"/setup/benches/{bench_id}", said="chain-forgotten")


@router.post("/setup/benches/{bench_id}/retirement")
def retire_bench(bench_id: PathId, session: RequestSession, now: Now, person: Manager) -> Response:
    """Take a bench out of use."""
    service.retire_bench(session, get_bench(session, bench_id), person=person, now=now)
    return go_to("/setup/benches", said="bench-retired")


@router.post("/setup/benches/{bench_id}/reinstatement")
def reinstate_bench(
    bench_id: PathId, session: RequestSession, now: Now, person: Manager
) -> Response:
    """Take a bench into use again."""
    service.reinstate_bench(session, get_bench(session, bench_id), person=person, now=now)
    return go_to("/setup/benches", said="bench-reinstated")


def _show_bench(
    view: _View,
    person: Person,
    bench_id: int,
    *,
    bench_typed: Typed | None = None,
    chain_typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> HTMLResponse:
    view.session.expire_all()
    bench = get_bench(view.session, bench_id)
    is_retired = bench.retired_at is not None
    can_manage = person.may(Action.BENCHES_MANAGE)
    said = find_chain(bench)
    in_bench = bench_typed or Typed(_spell_bench(bench))
    in_chain = chain_typed or Typed(
        spell_form(said) if said else {}, map_faults(refusal) if refusal else {}
    )
    page = BenchPage(
        shell=make_shell(
            view.request, person, title=f"Bench {bench.code}", scripts=("recipes.js",)
        ),
        href=f"/setup/benches/{bench.id}",
        version=bench.version,
        is_retired=is_retired,
        can_manage=can_manage,
        can_edit=can_manage and not is_retired,
        values=in_bench.texts,
        faults=in_bench.faults,
        chain=lay_out_facts(
            said or ASSUMED_CHAIN,
            is_assumed=said is None,
            now=view.now,
            zone=view.settings.zone,
        ),
        chain_form=lay_out_form(in_chain.texts, in_chain.faults),
        is_chain_open=chain_typed is not None,
    )
    is_refused = bool(in_bench.faults or in_chain.faults)
    return render("plant/bench.html", page, status=422 if is_refused else 200)


def _spell_bench(bench: Bench) -> dict[str, str]:
    return {
        "code": bench.code,
        "title": bench.title,
        "has_nitrogen": "yes" if bench.has_nitrogen else "",
    }
