"""The screens of setting up: the start of Setup, and benches."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.clock import spell_day
from app.core.refusals import Refusal
from app.core.request import HouseSettings, Now, RequestSession
from app.plant import pages_bench, service
from app.plant.queries import list_benches
from app.plant.schemas import BenchFields
from app.web.forms import PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Manager = Annotated[Person, Depends(needs(Action.BENCHES_MANAGE))]

add_notices({"bench-added": "The bench was added."})


@dataclass(frozen=True)
class SetupLine:
    """One way on from the start of Setup."""

    href: str
    title: str
    purpose: str


@dataclass(frozen=True)
class SetupPage:
    """All that setup.html can see."""

    shell: Shell
    lines: tuple[SetupLine, ...]


@dataclass(frozen=True)
class BenchLine:
    """One bench in the list."""

    href: str
    code: str
    title: str
    nitrogen: str
    since: str
    shape: str
    word: str


@dataclass(frozen=True)
class BenchesPage:
    """All that benches.html can see."""

    shell: Shell
    lines: tuple[BenchLine, ...]
    can_manage: bool
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@router.get("/setup")
def show_setup(request: Request, person: Reader) -> HTMLResponse:
    """Show what can be set up, and by whom."""
    lines = [
        SetupLine("/me", "My account", "Password, running sign-ins, tokens for programs."),
        SetupLine("/setup/benches", "Benches", "Where boards are heated."),
        SetupLine("/api/docs", "REST reference", "Everything the pages do, for programs."),
    ]
    if person.may(Action.ACCOUNTS_MANAGE):
        lines.insert(1, SetupLine("/setup/people", "People", "Accounts and their roles."))
    return render(
        "plant/setup.html", SetupPage(make_shell(request, person, title="Setup"), (*lines,))
    )


@router.get("/setup/benches")
def show_benches(
    request: Request, session: RequestSession, settings: HouseSettings, person: Reader
) -> HTMLResponse:
    """Show the benches and, to an administrator, the form for another."""
    return _show_benches(request, session, settings, person, values={"has_nitrogen": ""}, faults={})


@router.post("/setup/benches")
def add_bench(
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Manager,
    form: PostedForm,
) -> Response:
    """Add a bench, or show the form again with what was wrong."""
    try:
        service.add_bench(session, form.parse(BenchFields), person=person, now=now)
    except Refusal as refusal:
        return _show_benches(
            request, session, settings, person, values=form.texts, faults=map_faults(refusal)
        )
    return go_to("/setup/benches", said="bench-added")


def _show_benches(
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Person,
    *,
    values: Mapping[str, str],
    faults: Mapping[str, str],
) -> HTMLResponse:
    lines = tuple(
        BenchLine(
            href=f"/setup/benches/{bench.id}",
            code=bench.code,
            title=bench.title,
            nitrogen="yes" if bench.has_nitrogen else "no",
            since=spell_day(bench.created_at, settings.zone),
            shape="plain" if bench.retired_at else "go",
            word="out of use" if bench.retired_at else "in use",
        )
        for bench in list_benches(session, with_retired=True)
    )
    page = BenchesPage(
        shell=make_shell(request, person, title="Benches"),
        lines=lines,
        can_manage=person.may(Action.BENCHES_MANAGE),
        values=values,
        faults=faults,
    )
    return render("plant/benches.html", page, status=422 if faults else 200)


router.include_router(pages_bench.router)
