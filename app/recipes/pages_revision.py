"""One revision as a page that can be read and printed, and what can be done with it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Final
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.queries import map_account_names
from app.accounts.rules import Person
from app.approval.queries import (
    find_open,
    find_why_not,
    get_digest,
    list_revisions,
    map_people,
)
from app.approval.rules import RevisionState, list_moves
from app.audit.queries import list_entries_of_subject
from app.audit.rules import read_body
from app.core.clock import spell_moment
from app.core.refusals import Unreadable
from app.core.request import HouseSettings, PathId, RequestSession
from app.recipes.body.describe import Section, describe_body, spell_number
from app.recipes.body.heating import Zone
from app.recipes.figures import draw_set_points
from app.recipes.form_sheet import FaultLine, lay_out
from app.recipes.form_values import spell_fields
from app.recipes.queries import get_body, get_revision
from app.recipes.rules import REVISIONS
from app.recipes.tables import RecipeRevision
from app.recipes.unheld import Unheld, list_unheld
from app.web.forms import list_faults, map_faults
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]

SHAPES: Final[Mapping[RevisionState, str]] = {
    RevisionState.DRAFT: "plain",
    RevisionState.PROPOSED: "caution",
    RevisionState.PUBLISHED: "go",
    RevisionState.RETIRED: "stop",
}
_MEANINGS: Final[Mapping[str, str]] = {
    "recipes.create": "written",
    "recipes.copy": "started as a copy",
    "recipes.save_draft": "text changed",
    "recipes.propose": "proposed",
    "recipes.withdraw": "withdrawn",
    "recipes.send_back": "sent back",
    "recipes.publish": "approved and published",
    "recipes.supersede": "superseded",
    "recipes.retire": "retired",
}
_ZONE: Final = "Zone "


@dataclass(frozen=True)
class ZoneLine:
    """One zone as the bench sheet shows it."""

    name: str
    time: str
    until: str
    top: str
    bottom: str
    airflow: str
    nitrogen: str


@dataclass(frozen=True)
class Signature:
    """Who did what to the text, and when; the name is empty while nobody did."""

    meaning: str
    name: str
    when: str
    remark: str = ""


@dataclass(frozen=True)
class Event:
    """One line of what happened to the revision, from the audit log."""

    when: str
    name: str
    what: str
    remark: str
    digest: str


@dataclass(frozen=True)
class OtherRevision:
    """Another revision to compare with."""

    href: str
    word: str


@dataclass(frozen=True)
class RevisionPage:
    """All that revision.html can see."""

    shell: Shell
    href: str
    recipe_href: str
    code: str
    number: int
    title: str
    reason: str
    state_shape: str
    state_word: str
    retire_reason: str
    digest: str
    is_locked: bool
    before_zones: tuple[Section, ...]
    zones: tuple[ZoneLine, ...]
    picture: Markup
    after_zones: tuple[Section, ...]
    cautions: tuple[str, ...]
    unheld: tuple[Unheld, ...]
    has_windows: bool
    put_query: str
    signatures: tuple[Signature, ...]
    events: tuple[Event, ...]
    others: tuple[OtherRevision, ...]
    moves: frozenset[str]
    can_write: bool
    open_href: str
    why_not_approve: str
    revision_id: int
    version: int
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    fault_of: str = ""
    open_values: tuple[FaultLine, ...] = ()


@router.get("/recipes/revisions/{revision_id}")
def show_revision(
    revision_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Reader,
) -> HTMLResponse:
    """Show a revision whole."""
    return show_whole(request, session, settings.zone, person, get_revision(session, revision_id))


def show_whole(
    request: Request,
    session: Session,
    zone: ZoneInfo,
    person: Person,
    revision: RecipeRevision,
    *,
    refusal: Unreadable | None = None,
    fault_of: str = "",
) -> HTMLResponse:
    """Return the revision's page; with a refusal, beside the move `fault_of` that was refused."""
    body = get_body(revision)
    sections = [one for one in describe_body(body) if not one.title.startswith(_ZONE)]
    heads = [one.title for one in sections].index("Thermocouples") + 1
    permissions = [action for action in Action if person.may(action)]
    opened = find_open(session, RecipeRevision, revision.recipe_id)
    code, number = revision.recipe.code, revision.number
    page = RevisionPage(
        shell=make_shell(request, person, title=f"{code}, revision {number}"),
        href=f"/recipes/revisions/{revision.id}",
        recipe_href=f"/recipes/{revision.recipe_id}",
        code=code,
        number=number,
        title=revision.title,
        reason=revision.reason,
        state_shape=SHAPES[revision.state],
        state_word=revision.state,
        retire_reason=revision.retire_reason or "",
        digest=get_digest(revision),
        is_locked=revision.digest is not None,
        before_zones=tuple(sections[:heads]),
        zones=_spell_zones(body.zones),
        # The figure escapes every text it writes.
        picture=Markup(draw_set_points(body.zones, liquidus_c=body.window.liquidus_c)),  # noqa: S704
        after_zones=tuple(one for one in sections[heads:] if one.title != "Cautions"),
        cautions=body.cautions,
        unheld=list_unheld(body),
        has_windows=any(one.taken_from is not None for one in body.window.limits),
        put_query=_spell_put_query(revision, person),
        signatures=_list_signatures(session, revision, zone),
        events=_list_events(session, revision, zone),
        others=_list_others(session, revision),
        moves=frozenset(move.action.value for move in list_moves(revision.state, permissions)),
        can_write=person.may(Action.RECIPES_WRITE),
        open_href="" if opened is None else f"/recipes/revisions/{opened.id}",
        why_not_approve=find_why_not(session, REVISIONS, revision, person),
        revision_id=revision.id,
        version=revision.version,
        faults={} if refusal is None else map_faults(refusal),
        fault_of=fault_of,
        open_values=(
            lay_out(spell_fields(body), list_faults(refusal)).faults
            if refusal is not None and fault_of == "proposal"
            else ()
        ),
    )
    return render("recipes/revision.html", page, status=422 if refusal is not None else 200)


def _spell_put_query(revision: RecipeRevision, person: Person) -> str:
    """Spell what brings a window's page to this draft; empty where they cannot change it."""
    is_own = revision.author_id == person.account_id and person.may(Action.RECIPES_WRITE)
    is_draft = revision.state is RevisionState.DRAFT
    return f"draft={revision.id}" if is_own and is_draft else ""


def _spell_zones(zones: tuple[Zone, ...]) -> tuple[ZoneLine, ...]:
    lines, until_s = [], 0.0
    for zone in zones:
        until_s += zone.time_s
        lines.append(
            ZoneLine(
                name=zone.name,
                time=spell_number(zone.time_s),
                until=spell_number(until_s),
                top="off" if zone.top_c is None else spell_number(zone.top_c),
                bottom="off" if zone.bottom_c is None else spell_number(zone.bottom_c),
                airflow=spell_number(zone.airflow_l_per_min),
                nitrogen="yes" if zone.nitrogen else "no",
            )
        )
    return tuple(lines)


def _list_signatures(
    session: Session, revision: RecipeRevision, zone: ZoneInfo
) -> tuple[Signature, ...]:
    people = map_people(session, [revision])

    def sign(meaning: str, by: int | None, at: datetime | None, remark: str = "") -> Signature:
        if by is None or at is None:
            return Signature(meaning, "", "")
        return Signature(meaning, people[by], spell_moment(at, zone), remark)

    signed = [
        sign("Written by", revision.author_id, revision.created_at),
        sign("Proposed by", revision.proposed_by_id, revision.proposed_at),
        sign("Approved by", revision.approved_by_id, revision.approved_at),
    ]
    if revision.state is RevisionState.RETIRED:
        remark = revision.retire_reason or ""
        signed.append(sign("Retired by", revision.retired_by_id, revision.retired_at, remark))
    return tuple(signed)


def _list_events(session: Session, revision: RecipeRevision, zone: ZoneInfo) -> tuple[Event, ...]:
    entries = list_entries_of_subject(session, REVISIONS.subject, revision.id)
    names = map_account_names(session, {one.actor_id for one in entries if one.actor_id})
    events = []
    for entry in entries:
        details = read_body(entry.body)["details"]
        said = details if isinstance(details, Mapping) else {}
        remark = str(said.get("reason", ""))
        if entry.action == "recipes.save_draft":
            count = said.get("changed", 0)
            remark = f"{count} {'value' if count == 1 else 'values'} of the body changed"
        events.append(
            Event(
                when=spell_moment(entry.at, zone),
                name=names.get(entry.actor_id or 0, ""),
                what=_MEANINGS.get(entry.action, entry.action),
                remark=remark,
                digest=str(said.get("digest", ""))[:12],
            )
        )
    return tuple(events)


def _list_others(session: Session, revision: RecipeRevision) -> tuple[OtherRevision, ...]:
    return tuple(
        OtherRevision(
            href=f"/recipes/revisions/{min(one.id, revision.id)}"
            f"/compare/{max(one.id, revision.id)}",
            word=f"revision {one.number} ({one.state})",
        )
        for one in list_revisions(session, RecipeRevision, revision.recipe_id)
        if one.id != revision.id
    )
