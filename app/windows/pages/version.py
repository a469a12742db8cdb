"""One version of a window as a page, what can be done with it, and its files."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Final
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
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
from app.recipes.side_by_side import PairSection
from app.web.forms import map_faults
from app.web.shell import Shell
from app.web.templates import render
from app.windows.describe import compare_texts
from app.windows.downloads import answer_csv, answer_json, state_version
from app.windows.origin import Origin, find_origin
from app.windows.pages.words import DIGEST_SHOWN, SHAPES, TextWords, spell_text
from app.windows.queries import get_text, get_version
from app.windows.rules import VERSIONS
from app.windows.tables import WindowVersion

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]

_MEANINGS: Final[Mapping[str, str]] = {
    "windows.create": "written",
    "windows.copy": "started as a copy",
    "windows.save_draft": "text changed",
    "windows.propose": "proposed",
    "windows.withdraw": "withdrawn",
    "windows.send_back": "sent back",
    "windows.publish": "approved and published",
    "windows.supersede": "superseded",
    "windows.retire": "retired",
    "windows.put": "put into a recipe",
}


@dataclass(frozen=True)
class Signature:
    """Who did what to the text, and when; the name is empty while nobody did."""

    meaning: str
    name: str
    when: str
    remark: str = ""


@dataclass(frozen=True)
class Event:
    """One line of what happened to the version, from the audit log."""

    when: str
    name: str
    what: str
    remark: str
    digest: str


@dataclass(frozen=True)
class OtherVersion:
    """Another version to compare with."""

    href: str
    word: str


@dataclass(frozen=True)
class Copy:
    """What the version was copied from, beside it; no sections where its text is gone."""

    href: str
    name: str
    digest: str
    sections: tuple[PairSection, ...]
    changed: int
    is_text_known: bool


@dataclass(frozen=True)
class VersionPage:
    """All that version.html can see."""

    shell: Shell
    href: str
    window_href: str
    code: str
    number: int
    title: str
    reason: str
    state_shape: str
    state_word: str
    retire_reason: str
    digest: str
    is_locked: bool
    text: TextWords
    copied: Copy | None
    signatures: tuple[Signature, ...]
    events: tuple[Event, ...]
    others: tuple[OtherVersion, ...]
    moves: frozenset[str]
    can_write: bool
    open_href: str
    why_not_approve: str
    version_id: int
    faults: Mapping[str, str] = field(default_factory=dict)
    fault_of: str = ""


@router.get("/windows/versions/{version_id}")
def show_version(
    version_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Reader,
) -> HTMLResponse:
    """Show a version whole."""
    return show_whole(request, session, settings.zone, person, get_version(session, version_id))


@router.get("/windows/versions/{version_id}/window.json")
def download_json(version_id: PathId, session: RequestSession, _: Reader) -> Response:
    """Download the version as the file that the import and `wickbook analyse` read."""
    return answer_json(state_version(get_version(session, version_id)))


@router.get("/windows/versions/{version_id}/window.csv")
def download_csv(version_id: PathId, session: RequestSession, _: Reader) -> Response:
    """Download the version as a table for people."""
    return answer_csv(state_version(get_version(session, version_id)))


def show_whole(
    request: Request,
    session: Session,
    zone: ZoneInfo,
    person: Person,
    version: WindowVersion,
    *,
    refusal: Unreadable | None = None,
    fault_of: str = "",
) -> HTMLResponse:
    """Return the version's page; with a refusal, beside the move `fault_of` that was refused."""
    permissions = [action for action in Action if person.may(action)]
    opened = find_open(session, WindowVersion, version.window_id)
    code, number = version.window.code, version.number
    page = VersionPage(
        shell=make_shell(request, person, title=f"{code}, version {number}"),
        href=f"/windows/versions/{version.id}",
        window_href=f"/windows/{version.window_id}",
        code=code,
        number=number,
        title=version.title,
        reason=version.reason,
        state_shape=SHAPES[version.state],
        state_word=version.state,
        retire_reason=version.retire_reason or "",
        digest=get_digest(version),
        is_locked=version.digest is not None,
        text=spell_text(get_text(version)),
        copied=_compare_with_origin(find_origin(session, version), version),
        signatures=_list_signatures(session, version, zone),
        events=_list_events(session, version, zone),
        others=_list_others(session, version),
        moves=frozenset(move.action.value for move in list_moves(version.state, permissions)),
        can_write=person.may(Action.RECIPES_WRITE),
        open_href="" if opened is None else f"/windows/versions/{opened.id}",
        why_not_approve=find_why_not(session, VERSIONS, version, person),
        version_id=version.id,
        faults={} if refusal is None else map_faults(refusal),
        fault_of=fault_of,
    )
    return render("windows/version.html", page, status=422 if refusal is not None else 200)


def _compare_with_origin(origin: Origin | None, version: WindowVersion) -> Copy | None:
    if origin is None:
        return None
    sections = () if origin.text is None else compare_texts(origin.text, get_text(version))
    return Copy(
        href=origin.href,
        name=f"{origin.words[:1].upper()}{origin.words[1:]}",
        digest=origin.digest[:DIGEST_SHOWN],
        sections=sections,
        changed=sum(section.changed for section in sections),
        is_text_known=origin.text is not None,
    )


def _list_signatures(
    session: Session, version: WindowVersion, zone: ZoneInfo
) -> tuple[Signature, ...]:
    people = map_people(session, [version])

    def sign(meaning: str, by: int | None, at: datetime | None, remark: str = "") -> Signature:
        if by is None or at is None:
            return Signature(meaning, "", "")
        return Signature(meaning, people[by], spell_moment(at, zone), remark)

    signed = [
        sign("Written by", version.author_id, version.created_at),
        sign("Proposed by", version.proposed_by_id, version.proposed_at),
        sign("Approved by", version.approved_by_id, version.approved_at),
    ]
    if version.state is RevisionState.RETIRED:
        remark = version.retire_reason or ""
        signed.append(sign("Retired by", version.retired_by_id, version.retired_at, remark))
    return tuple(signed)


def _list_events(session: Session, version: WindowVersion, zone: ZoneInfo) -> tuple[Event, ...]:
    entries = list_entries_of_subject(session, VERSIONS.subject, version.id)
    names = map_account_names(session, {one.actor_id for one in entries if one.actor_id})
    events = []
    for entry in entries:
        details = read_body(entry.body)["details"]
        said = details if isinstance(details, Mapping) else {}
        events.append(
            Event(
                when=spell_moment(entry.at, zone),
                name=names.get(entry.actor_id or 0, ""),
                what=_MEANINGS.get(entry.action, entry.action),
                remark=_spell_remark(entry.action, said),
                digest=str(said.get("digest", ""))[:DIGEST_SHOWN],
            )
        )
    return tuple(events)


def _spell_remark(action: str, said: Mapping[str, object]) -> str:
    if action == "windows.save_draft":
        count = said.get("changed", 0)
        return f"{count} {'value' if count == 1 else 'values'} of the text changed"
    if action == "windows.put":
        return f"recipe {said.get('recipe')}, revision {said.get('revision')}"
    remark, origin = str(said.get("reason", "")), said.get("from")
    if isinstance(origin, Mapping):
        found = (
            f"Begun from built-in {origin['built_in']}, version {origin.get('version')}."
            if "built_in" in origin
            else f"Begun from a file: {origin.get('file')}."
        )
        return f"{remark}\n{found}"
    return remark


def _list_others(session: Session, version: WindowVersion) -> tuple[OtherVersion, ...]:
    return tuple(
        OtherVersion(
            href=f"/windows/versions/{min(one.id, version.id)}/compare/{max(one.id, version.id)}",
            word=f"version {one.number} ({one.state})",
        )
        for one in list_revisions(session, WindowVersion, version.window_id)
        if one.id != version.id
    )
