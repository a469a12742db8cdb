"""A board's page: everything that ever happened to it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, StreamingResponse
from pydantic_core import from_json, to_json
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.clock import spell_minute, spell_moment
from app.core.refusals import Refusal
from app.core.request import HouseSettings, Now, PathId
from app.core.settings import Settings
from app.history.asked import AskedStory, StoryAsked
from app.history.composer import StoryLine
from app.history.exports import answer_download, stream_csv, stream_json
from app.history.pages.parts import LogLine, spell_log
from app.history.queries import list_cards
from app.history.rules import EventKind
from app.history.snapshot import Snapshot
from app.history.story import (
    Story,
    StoryFilter,
    check_shown,
    filter_lines,
    iterate_fitting,
    load_piece,
    load_story,
)
from app.history.told import ToldEntry
from app.history.watch import HouseLog
from app.history.words import spell_action
from app.jobs.rules import JobState, spell_job
from app.web.forms import map_faults
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Exporter = Annotated[Person, Depends(needs(Action.HISTORY_EXPORT))]
PageNumber = Annotated[int, Query(ge=1, le=100_000)]
View = Annotated[str, Query(max_length=10, pattern=r"^(print)?$")]

LINES_A_PAGE: Final = 100


@dataclass(frozen=True)
class EntryItem:
    """An audit entry beneath a line."""

    seq: int
    href: str
    action: str
    words: str
    leaf_hash: str
    body: str


@dataclass(frozen=True)
class RecipeItem:
    """A recipe revision of a line."""

    href: str
    name: str
    digest: str


@dataclass(frozen=True)
class LineItem:
    """One line as the page shows it."""

    anchor: str
    number: int
    day: str
    clock: str
    who: str
    what: str
    is_replaced: str
    details: tuple[tuple[str, str], ...]
    job: str
    job_href: str
    recipes: tuple[RecipeItem, ...]
    lots: tuple[str, ...]
    shape: str
    word: str
    window_use: str
    run_href: str
    picture: str
    picture_alt: str
    entries: tuple[EntryItem, ...]
    faults: tuple[str, ...]


@dataclass(frozen=True)
class Pager:
    """Which piece of the lines is shown, and the ways to the others."""

    text: str
    first: str
    before: str
    after: str
    last: str


@dataclass(frozen=True)
class BoardHistoryPage:
    """All that board.html can see."""

    shell: Shell
    path: str
    serial: str
    assembly: str
    assembly_href: str
    state_shape: str
    state_word: str
    note: str
    note_href: str
    open_job_href: str
    log: LogLine
    chain_fault: str
    chain_text: str
    differing: tuple[str, ...]
    differing_more: int
    lines: tuple[LineItem, ...]
    total: int
    pager: Pager | None
    is_filtered: bool
    is_print: bool
    print_href: str
    export_query: str
    can_export: bool
    kinds: tuple[tuple[str, str], ...]
    people: tuple[tuple[str, str], ...]
    designators: tuple[str, ...]
    values: Mapping[str, str]
    faults: Mapping[str, str]


@router.get("/boards/{board_id}/history")
def show_history(
    board_id: PathId,
    request: Request,
    session: Snapshot,
    settings: HouseSettings,
    house_log: HouseLog,
    person: Reader,
    asked: StoryAsked,
    page: PageNumber = 1,
    view: View = "",
) -> HTMLResponse:
    """Show a board's story, held against the log."""
    faults: Mapping[str, str] = {}
    wanted = StoryFilter()
    try:
        wanted = asked.parse(settings.zone)
    except Refusal as refusal:
        faults = map_faults(refusal)
    is_print = view == "print"
    story, begin = _load(session, board_id, wanted, page=page, is_print=is_print)
    board = story.board
    differing = _list_differing(story)
    pages = max(-(-story.total // LINES_A_PAGE), 1)
    state = _find_state(story)
    made = BoardHistoryPage(
        shell=make_shell(request, person, title=f"Board {board.serial}"),
        path=f"/boards/{board.id}/history",
        serial=board.serial,
        assembly=f"{board.part_number} rev {board.revision} · {board.title}",
        assembly_href=f"/boards/assemblies/{board.assembly_id}",
        state_shape="stop" if board.scrapped_at else state[0],
        state_word=(
            f"scrapped {spell_minute(board.scrapped_at, settings.zone)}"
            if board.scrapped_at
            else state[1]
        ),
        note=board.note,
        note_href=f"/boards/{board.id}/note" if person.may(Action.BOARDS_REGISTER) else "",
        open_job_href=(
            f"/jobs/new?board={board.id}"
            if person.may(Action.JOBS_OPEN) and not board.scrapped_at
            else ""
        ),
        log=spell_log(house_log.look(), person=person, zone=settings.zone),
        chain_fault=(
            f"entry {story.chain_fault.seq:,}: {story.chain_fault.reason}."
            if story.chain_fault
            else ""
        ),
        chain_text=f"This board's own {len(story.index.entries):,} entries follow each other.",
        differing=differing[:20],
        differing_more=max(len(differing) - 20, 0),
        lines=tuple(_spell_line(line, settings, person, is_print=is_print) for line in story.lines),
        total=story.total,
        pager=None if is_print else _make_pager(asked, pages, begin, story.total),
        is_filtered=not wanted.is_open or bool(faults),
        is_print=is_print,
        print_href=asked.spell_query(view="print"),
        export_query=asked.spell_query(),
        can_export=person.may(Action.HISTORY_EXPORT),
        kinds=tuple((str(kind), str(kind)) for kind in EventKind),
        people=_list_people(story),
        designators=story.index.designators,
        values=asked.values,
        faults=faults,
    )
    return render("history/board.html", made, status=422 if faults else 200)


@router.get("/boards/{board_id}/history.csv")
def export_csv(
    board_id: PathId,
    session: Snapshot,
    settings: HouseSettings,
    _: Exporter,
    asked: StoryAsked,
) -> StreamingResponse:
    """Hand out a board's story as a table."""
    story = load_story(session, board_id, with_all_figures=True)
    lines = iterate_fitting(story.lines, asked.parse(settings.zone))
    name = f"history-{story.board.serial}.csv"
    return answer_download(stream_csv(lines, settings.zone), name=name, media_type="text/csv")


@router.get("/boards/{board_id}/history.json")
def export_json(
    board_id: PathId,
    session: Snapshot,
    settings: HouseSettings,
    house_log: HouseLog,
    now: Now,
    _: Exporter,
    asked: StoryAsked,
) -> StreamingResponse:
    """Hand out a board's story with the exact text of its entries, so that it can be checked."""
    story = load_story(session, board_id, with_all_figures=True)
    lines = iterate_fitting(story.lines, asked.parse(settings.zone))
    cards = list_cards(session, {entry.person or "" for entry in story.records.entries})
    pieces = stream_json(
        story, lines, cards=cards, standing=house_log.look(), now=now, plant=settings.plant_name
    )
    name = f"history-{story.board.serial}.json"
    return answer_download(pieces, name=name, media_type="application/json")


def spell_body(body: bytes) -> str:
    """Spell an entry's text with indents; one that is no JSON as it stands."""
    try:
        return to_json(from_json(body), indent=2, inf_nan_mode="constants").decode()
    except ValueError:
        return body.decode("utf-8", errors="replace")


def _load(
    session: Session, board_id: int, wanted: StoryFilter, *, page: int, is_print: bool
) -> tuple[Story, int]:
    """Return the story with the lines to show, and how many come before them."""
    begin = (page - 1) * LINES_A_PAGE
    if wanted.is_open and not is_print:
        story = load_piece(session, board_id, begin=begin, limit=LINES_A_PAGE)
        if story.lines or begin == 0:
            return story, begin
        begin = max(story.total - 1, 0) // LINES_A_PAGE * LINES_A_PAGE
        return load_piece(session, board_id, begin=begin, limit=LINES_A_PAGE), begin
    story = load_story(session, board_id)
    fitting = filter_lines(story.lines, wanted)
    begin = 0 if is_print else min(begin, max(len(fitting) - 1, 0) // LINES_A_PAGE * LINES_A_PAGE)
    piece = fitting if is_print else fitting[begin : begin + LINES_A_PAGE]
    lines = check_shown(session, story, piece)
    return replace(story, lines=lines, total=len(fitting)), begin


def _find_state(story: Story) -> tuple[str, str]:
    held = story.index.open_holds
    open_jobs = [row.id for row in story.index.jobs if row.state is not JobState.CLOSED]
    if held:
        return "stop", f"on hold: {spell_job(held[0].job_id)}"
    if open_jobs:
        return "caution", f"in rework: {', '.join(spell_job(number) for number in open_jobs)}"
    return "go", "in use, no open job"


def _list_differing(story: Story) -> tuple[str, ...]:
    """Name every difference, and those that only the shown runs' figures tell."""
    found = [str(difference) for difference in story.differences]
    sentences = {difference.sentence for difference in story.differences}
    for line in story.lines:
        found += [
            f"{line.what}: {fault}"
            for fault in line.faults
            if not any(fault.endswith(sentence) for sentence in sentences)
        ]
    return tuple(found)


def _list_people(story: Story) -> tuple[tuple[str, str], ...]:
    ids = {entry.actor_id for entry in story.index.entries if entry.actor_id is not None}
    names = {number: story.records.account_names.get(number, f"account {number}") for number in ids}
    return tuple((str(number), name) for number, name in sorted(names.items(), key=lambda p: p[1]))


def _make_pager(asked: AskedStory, pages: int, begin: int, total: int) -> Pager | None:
    if pages == 1:
        return None
    page = begin // LINES_A_PAGE + 1
    end = min(begin + LINES_A_PAGE, total)

    def spell(number: int) -> str:
        return asked.spell_query(page=str(number))

    return Pager(
        text=f"Lines {begin + 1:,} to {end:,} of {total:,}, oldest first",
        first=spell(1) if page > 1 else "",
        before=spell(page - 1) if page > 1 else "",
        after=spell(page + 1) if page < pages else "",
        last=spell(pages) if page < pages else "",
    )


def _spell_line(line: StoryLine, settings: Settings, person: Person, *, is_print: bool) -> LineItem:
    moment = spell_moment(line.at, settings.zone)
    is_entry = line.record is not None and line.record.kind == "step entry"
    return LineItem(
        anchor=f"entry-{line.record.id}" if is_entry and line.record else f"line-{line.number}",
        number=line.number,
        day=moment[:10],
        clock=moment[11:],
        who=line.who,
        what=line.what,
        is_replaced=f"entry {line.corrected_by}" if line.corrected_by else "",
        details=tuple((label, text) for label, text in line.details if text),
        job=spell_job(line.job_id) if line.job_id else "",
        job_href=f"/jobs/{line.job_id}" if line.job_id else "",
        recipes=tuple(
            RecipeItem(
                f"/recipes/revisions/{used.id}",
                f"{used.code} rev {used.number}",
                (used.digest or "")[:12],
            )
            for used in line.recipes
        ),
        lots=line.lots,
        shape=line.sign.shape if line.sign else "",
        word=line.sign.word if line.sign else "",
        window_use=f"{line.window_use_pct:.0f} % of window" if line.window_use_pct else "",
        run_href=f"/runs/{line.run_id}" if line.run_id else "",
        picture=f"/runs/{line.run_id}/picture.svg" if line.has_picture else "",
        picture_alt=f"Trace of run {line.run_id}",
        entries=tuple(_spell_entry(entry, person, is_print=is_print) for entry in line.entries),
        faults=line.faults,
    )


def _spell_entry(entry: ToldEntry, person: Person, *, is_print: bool) -> EntryItem:
    return EntryItem(
        seq=entry.seq,
        href=f"/audit/{entry.seq}" if person.may(Action.AUDIT_READ) else "",
        action=entry.action,
        words=spell_action(entry.action),
        leaf_hash=entry.leaf_hash.hex(),
        body="" if is_print else spell_body(entry.body),
    )
