"""The audit trail: every entry, newest first, and each one whole."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.audit.service import split_frontier
from app.audit.tables import AuditEntry
from app.core.clock import spell_moment, spell_utc
from app.core.paging import Paging, take_piece
from app.core.refusals import Refusal
from app.core.request import HouseSettings, PathId
from app.core.settings import Settings
from app.history.asked import TrailAsked, select_asked
from app.history.pages.board import spell_body
from app.history.pages.parts import LogLine, find_place, spell_log
from app.history.queries import (
    find_neighbour,
    find_newest,
    get_entry,
    list_actions,
    list_people,
    map_card_names,
    select_entries,
)
from app.history.snapshot import Snapshot
from app.history.told import read_entry
from app.history.watch import HouseLog
from app.history.words import spell_action
from app.jobs.rules import spell_job
from app.numerics.merkle import hash_leaf
from app.web.forms import map_faults
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Auditor = Annotated[Person, Depends(needs(Action.AUDIT_READ))]
Cursor = Annotated[str | None, Query(max_length=60)]

ENTRIES_A_PAGE: Final = 50
SUBJECTS: Final = (
    "account",
    "assembly",
    "bench",
    "board",
    "job",
    "layout_draft",
    "part",
    "placement",
    "recipe_revision",
    "run",
    "session",
    "step",
    "token",
    "window_version",
)


@dataclass(frozen=True)
class TrailLine:
    """One entry in the list."""

    seq: int
    href: str
    day: str
    clock: str
    who: str
    words: str
    action: str
    subject: str
    subject_href: str
    job: str
    job_href: str
    board_href: str
    leaf: str


@dataclass(frozen=True)
class TrailPage:
    """All that audit.html can see."""

    shell: Shell
    log: LogLine
    lines: tuple[TrailLine, ...]
    next_href: str
    actions: tuple[tuple[str, str], ...]
    people: tuple[tuple[str, str], ...]
    subjects: tuple[tuple[str, str], ...]
    values: Mapping[str, str]
    faults: Mapping[str, str]
    is_filtered: bool
    can_verify: bool


@dataclass(frozen=True)
class EntryPage:
    """All that entry.html can see."""

    shell: Shell
    facts: tuple[tuple[str, str, str], ...]
    hashes: tuple[tuple[str, str], ...]
    is_hash_right: bool
    body: str
    pretty: str
    before: str
    after: str
    board_before: str
    board_after: str
    log: LogLine


@router.get("/audit")
def show_trail(
    request: Request,
    session: Snapshot,
    settings: HouseSettings,
    house_log: HouseLog,
    person: Auditor,
    asked: TrailAsked,
    cursor: Cursor = None,
) -> HTMLResponse:
    """Show the entries, newest first, those that the filter leaves."""
    faults: Mapping[str, str] = {}
    rows = select_entries()
    try:
        rows = select_asked(asked, settings.zone)
        paging = Paging(cursor=cursor, limit=ENTRIES_A_PAGE)
    except Refusal as refusal:
        faults, paging = map_faults(refusal), Paging(limit=ENTRIES_A_PAGE)
    found, following = take_piece(
        session, rows, key=AuditEntry.seq, paging=paging, newest_first=True
    )
    entries = [(row, read_entry(row)) for row in found]
    names = map_card_names(session, {entry.person for _, entry in entries if entry.person})
    page = TrailPage(
        shell=make_shell(request, person, title="Audit trail"),
        log=spell_log(house_log.look(), person=person, zone=settings.zone),
        lines=tuple(
            _spell_line(row, names.get(entry.person or ""), settings, person=person)
            for row, entry in entries
        ),
        next_href=f"/audit{asked.spell_query(cursor=following)}" if following else "",
        actions=tuple((action, spell_action(action)) for action in list_actions(session)),
        people=tuple((str(number), name) for number, name in list_people(session)),
        subjects=tuple((kind, kind.replace("_", " ")) for kind in SUBJECTS),
        values=asked.values,
        faults=faults,
        is_filtered=any(asked.values.values()),
        can_verify=person.may(Action.AUDIT_VERIFY),
    )
    return render("history/audit.html", page, status=422 if faults else 200)


@router.get("/audit/{seq}")
def show_entry(
    seq: PathId,
    request: Request,
    session: Snapshot,
    settings: HouseSettings,
    house_log: HouseLog,
    person: Auditor,
) -> HTMLResponse:
    """Show one entry whole: its columns, its exact text, its hashes and its neighbours."""
    row = get_entry(session, seq)
    entry = read_entry(row)
    names = map_card_names(session, {entry.person} if entry.person else ())
    before, after = find_neighbour(session, row, step=-1), find_neighbour(session, row, step=1)
    newest = find_newest(session)
    page = EntryPage(
        shell=make_shell(request, person, title=f"Audit entry {row.seq:,}"),
        facts=_list_facts(row, names.get(entry.person or ""), settings, person=person),
        hashes=(
            ("Leaf hash", row.leaf_hash.hex()),
            ("Root after it", row.root.hex()),
            ("Frontier after it", " ".join(_split(row.frontier))),
        ),
        is_hash_right=hash_leaf(row.body) == row.leaf_hash,
        body=row.body.decode("utf-8", errors="replace"),
        pretty=spell_body(row.body),
        before=f"/audit/{row.seq - 1}" if row.seq > 1 else "",
        after=f"/audit/{row.seq + 1}" if row.seq < newest else "",
        board_before=f"/audit/{before}" if before else "",
        board_after=f"/audit/{after}" if after else "",
        log=spell_log(house_log.look(), person=person, zone=settings.zone),
    )
    return render("history/entry.html", page)


def _spell_line(
    row: AuditEntry, name: str | None, settings: Settings, *, person: Person
) -> TrailLine:
    moment = spell_moment(row.at, settings.zone)
    return TrailLine(
        seq=row.seq,
        href=f"/audit/{row.seq}",
        day=moment[:10],
        clock=moment[11:],
        who=_spell_person(row, name),
        words=spell_action(row.action),
        action=row.action,
        subject=f"{row.subject_kind.replace('_', ' ')} {row.subject_id}",
        subject_href=find_place(row.subject_kind, row.subject_id, person=person),
        job=spell_job(row.job_id) if row.job_id else "",
        job_href=f"/jobs/{row.job_id}" if row.job_id else "",
        board_href=f"/boards/{row.board_id}/history" if row.board_id else "",
        leaf=row.leaf_hash.hex()[:12],
    )


def _spell_person(row: AuditEntry, name: str | None) -> str:
    if name is not None:
        return name
    return "the terminal" if row.actor_id is None else f"account {row.actor_id}"


def _list_facts(
    row: AuditEntry, name: str | None, settings: Settings, *, person: Person
) -> tuple[tuple[str, str, str], ...]:
    """Return label, text and address of each column."""
    facts = [
        ("When", spell_moment(row.at, settings.zone), ""),
        ("When, in UTC", spell_utc(row.at), ""),
        ("Who", _spell_person(row, name), find_place("account", row.actor_id, person=person)),
        ("What", f"{spell_action(row.action)} ({row.action})", ""),
        (
            "Acted on",
            f"{row.subject_kind.replace('_', ' ')} {row.subject_id}",
            find_place(row.subject_kind, row.subject_id, person=person),
        ),
    ]
    if row.actor_id is None:
        facts[2] = (*facts[2][:2], "")
    if row.job_id is not None:
        facts.append(("Job", spell_job(row.job_id), f"/jobs/{row.job_id}"))
    if row.board_id is not None:
        text = f"board {row.board_id}, its entry number {row.board_number}"
        facts.append(("Board", text, f"/boards/{row.board_id}/history"))
    return tuple(facts)


def _split(frontier: bytes) -> list[str]:
    return [hashed.hex() for hashed in split_frontier(frontier)]
