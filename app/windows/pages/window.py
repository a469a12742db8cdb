"""One window of the plant's own with all its versions."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.approval.queries import get_digest, list_revisions, map_people
from app.approval.rules import RevisionState
from app.core.clock import spell_minute
from app.core.refusals import Refusal
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.recipes.schemas import CopyFields
from app.web.forms import PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render
from app.windows import service
from app.windows.pages.words import DIGEST_SHOWN, SHAPES
from app.windows.queries import get_version, get_window
from app.windows.tables import WindowVersion

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]

add_notices({"window-version-started": "A new draft was started as a copy."})


@dataclass(frozen=True)
class VersionItem:
    """One version of a window."""

    id: int
    href: str
    number: int
    title: str
    reason: str
    shape: str
    state: str
    written: str
    proposed: str
    approved: str
    retired: str
    retire_reason: str
    digest: str
    compare_href: str


@dataclass(frozen=True)
class WindowPage:
    """All that window.html can see."""

    shell: Shell
    href: str
    versions: tuple[VersionItem, ...]
    open_href: str
    can_write: bool
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@router.get("/windows/{window_id}")
def show_window(
    window_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Reader,
) -> HTMLResponse:
    """Show one window with all its versions."""
    return _show(request, session, settings.zone, person, window_id)


@router.post("/windows/{window_id}/versions")
def start_version(
    window_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Writer,
    form: PostedForm,
) -> Response:
    """Start a new version as a copy, or show the window again with what was wrong."""
    window = get_window(session, window_id)
    try:
        fields = form.parse(CopyFields)
        source = get_version(session, fields.copy_of)
        version = service.copy_version(
            session, window, source, reason=fields.reason, person=person, now=now
        )
    except Refusal as refusal:
        return _show(
            request,
            session,
            settings.zone,
            person,
            window_id,
            values=form.texts,
            faults=map_faults(refusal),
        )
    return go_to(f"/windows/versions/{version.id}/edit", said="window-version-started")


def _show(
    request: Request,
    session: Session,
    zone: ZoneInfo,
    person: Person,
    window_id: int,
    *,
    values: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> HTMLResponse:
    window = get_window(session, window_id)
    versions = list_revisions(session, WindowVersion, window_id)
    people = map_people(session, versions)
    open_ids = [
        one.id for one in versions if one.state in {RevisionState.DRAFT, RevisionState.PROPOSED}
    ]
    earlier = {one.id: before for one, before in pairwise(versions)}
    page = WindowPage(
        shell=make_shell(request, person, title=f"Window {window.code}"),
        href=f"/windows/{window.id}",
        versions=tuple(_spell_item(one, earlier.get(one.id), people, zone) for one in versions),
        open_href=f"/windows/versions/{open_ids[0]}" if open_ids else "",
        can_write=person.may(Action.RECIPES_WRITE),
        values=values or {},
        faults=faults or {},
    )
    return render("windows/window.html", page, status=422 if faults else 200)


def _spell_item(
    version: WindowVersion,
    earlier: WindowVersion | None,
    people: Mapping[int, str],
    zone: ZoneInfo,
) -> VersionItem:
    steps = {
        "written": (version.author_id, version.created_at),
        "proposed": (version.proposed_by_id, version.proposed_at),
        "approved": (version.approved_by_id, version.approved_at),
        "retired": (version.retired_by_id, version.retired_at),
    }
    who_when = {
        step: f"{people[by]}, {spell_minute(at, zone)}" if by is not None and at is not None else ""
        for step, (by, at) in steps.items()
    }
    return VersionItem(
        id=version.id,
        href=f"/windows/versions/{version.id}",
        number=version.number,
        title=version.title,
        reason=version.reason,
        shape=SHAPES[version.state],
        state=version.state,
        retire_reason=version.retire_reason or "",
        digest=get_digest(version)[:DIGEST_SHOWN],
        compare_href=f"/windows/versions/{earlier.id}/compare/{version.id}" if earlier else "",
        **who_when,
    )
