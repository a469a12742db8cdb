"""What the work card shows: what is next and what is missing, its lines, holds and outcome."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.accounts.access import make_shell
from app.accounts.permissions import Action
from app.accounts.queries import map_account_names
from app.accounts.rules import Person
from app.core.clock import spell_moment
from app.core.settings import Settings
from app.jobs.answers import list_people
from app.jobs.cases import compose_case
from app.jobs.clearance import describe_findings, find_all, is_clear
from app.jobs.outcomes import list_doubts
from app.jobs.pages.card_words import (
    BenchChoice,
    FindingWords,
    HoldWords,
    SiteWords,
    StepPanel,
    make_panel,
    word_findings,
    word_hold,
    word_sites,
)
from app.jobs.pages.forms import EntryForm, make_form
from app.jobs.pages.reading_lines import spell_file_limits
from app.jobs.pages.words import StateWords, spell_use, word_job, word_next, word_run
from app.jobs.queries import SiteCard, WorkCard, get_job, get_step, load_card
from app.jobs.rules import JobState, spell_job
from app.jobs.tables import Job, JobStep
from app.plant.queries import get_bench, list_benches
from app.web.shell import Shell
from app.web.templates import render


@dataclass(frozen=True)
class Clearance:
    """The check before heat at one bench, or the choice of a bench."""

    benches: tuple[BenchChoice, ...]
    bench_id: str
    bench: str
    findings: tuple[FindingWords, ...]
    is_clear: bool


@dataclass(frozen=True)
class Closing:
    """What an outcome rests on."""

    doubts: tuple[str, ...]
    verdicts: tuple[tuple[str, StateWords, str], ...]
    remark: str


@dataclass(frozen=True)
class JobPage:
    """All that job.html can see."""

    shell: Shell
    href: str
    state: StateWords
    next: str
    facts: tuple[tuple[str, str], ...]
    board_href: str
    serial: str
    hold: HoldWords | None
    holds: tuple[HoldWords, ...]
    clearance: Clearance | None
    cleared: tuple[FindingWords, ...]
    panel: StepPanel | None
    file_limits: str
    closing: Closing | None
    closed: str
    sites: tuple[SiteWords, ...]
    can_work: bool
    can_hold: bool
    can_lift: bool
    can_cancel: bool
    can_close: bool
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Asked:
    """What a request wants of the card: a bench to look at, a line to write, a form to keep."""

    bench_id: int | None = None
    step_id: int | None = None
    form: EntryForm | None = None
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    status: int = 200


def show_card(
    request: Request,
    session: Session,
    settings: Settings,
    person: Person,
    job_id: int,
    *,
    asked: Asked,
) -> HTMLResponse:
    """Show the work card as it is now, with what the request wants of it."""
    job = get_job(session, job_id)
    card = load_card(session, job)
    names = map_account_names(session, list_people(card))
    is_held = card.open_hold is not None
    may_work = person.may(Action.JOBS_WORK) and not is_held
    place = _find_line(card, asked.step_id)
    waiting = (place[0].designator, place[1].kind) if place else None
    is_running = job.state in {JobState.CLEARED, JobState.IN_WORK}
    page = JobPage(
        shell=make_shell(
            request,
            person,
            title=f"{spell_job(job.id)} · board {job.board.serial}",
            scripts=("once.js",),
        ),
        href=f"/jobs/{job.id}",
        state=word_job(job.state, job.outcome, is_held=is_held),
        next=word_next(job.state, waiting, is_held=is_held),
        facts=_list_facts(job, names, settings),
        board_href=f"/boards/{job.board_id}/history",
        serial=job.board.serial,
        hold=word_hold(card.open_hold, names, settings.zone) if card.open_hold else None,
        holds=tuple(word_hold(hold, names, settings.zone) for hold in card.holds),
        clearance=_make_clearance(session, card, settings, asked.bench_id)
        if job.state is JobState.OPEN
        else None,
        cleared=word_findings(job.clearance["findings"]) if job.clearance else (),
        panel=make_panel(
            card,
            *place,
            form=asked.form or make_form(*place),
            benches=list_bench_choices(session, job.bench_id),
            zone=settings.zone,
            said_run=asked.values.get("run_id", ""),
        )
        if place and is_running and may_work
        else None,
        file_limits=spell_file_limits(settings),
        closing=_make_closing(card, asked.values)
        if job.state is JobState.IN_WORK and not is_held
        else None,
        closed=_spell_end(job),
        sites=word_sites(card, names, settings.zone),
        can_work=may_work and is_running,
        can_hold=person.may(Action.HOLDS_PLACE) and not is_held and job.state != JobState.CLOSED,
        can_lift=person.may(Action.HOLDS_LIFT) and is_held,
        can_cancel=person.may(Action.JOBS_CLOSE)
        and not is_held
        and job.state in {JobState.OPEN, JobState.CLEARED},
        can_close=person.may(Action.JOBS_CLOSE),
        values=asked.values,
        faults=asked.faults,
    )
    return render("jobs/job.html", page, status=asked.status)


def _find_line(card: WorkCard, step_id: int | None) -> tuple[SiteCard, JobStep] | None:
    """Return the line that was asked for, where it is its site's next; else the card's next."""
    if step_id is not None:
        site, step = get_step(card, step_id)
        if step is next((one for one in site.steps if not site.is_written(one)), None):
            return site, step
    return card.next_step


def list_bench_choices(session: Session, chosen_id: int | None) -> tuple[BenchChoice, ...]:
    """Return the benches in use to choose from, one of them proposed."""
    benches = list_benches(session)
    alone = len(benches) == 1
    return tuple(
        BenchChoice(str(b.id), f"{b.code} · {b.title}", alone or b.id == chosen_id) for b in benches
    )


def _make_clearance(
    session: Session, card: WorkCard, settings: Settings, bench_id: int | None
) -> Clearance:
    benches = list_benches(session)
    if bench_id is None and len(benches) == 1:
        bench_id = benches[0].id
    choices = list_bench_choices(session, bench_id)
    if bench_id is None:
        return Clearance(choices, "", "", (), is_clear=False)
    bench = get_bench(session, bench_id)
    findings = find_all(compose_case(session, card, bench, settings))
    words = word_findings(describe_findings(findings))
    return Clearance(choices, str(bench.id), bench.code, words, is_clear=is_clear(findings))


def _make_closing(card: WorkCard, values: Mapping[str, str]) -> Closing:
    verdicts = tuple(
        (
            f"{site.designator}, {step.kind}",
            word_run(run.state, run.verdict),
            f"{use} of the window" if use else "",
        )
        for site in card.sites
        for step in site.steps
        if (run := site.find_run_of(step)) is not None
        for use in (spell_use(run.verdict, run.window_use_pct),)
    )
    return Closing(list_doubts(card), verdicts, values.get("remark", ""))


def _spell_end(job: Job) -> str:
    if job.state is not JobState.CLOSED:
        return ""
    return job.closing_remark or "Closed without a remark."


def _list_facts(
    job: Job, names: Mapping[int, str], settings: Settings
) -> tuple[tuple[str, str], ...]:
    assembly = job.board.assembly
    opened = f"{spell_moment(job.opened_at, settings.zone)} · {names.get(job.opened_by_id, '')}"
    facts = [
        ("Assembly", f"{assembly.part_number} revision {assembly.revision} · {assembly.title}"),
        ("Reason", job.reason),
        ("Reference", job.reference),
        ("Opened", opened),
        ("Bench", job.bench.code if job.bench else ""),
    ]
    if job.closed_at is not None:
        closed = spell_moment(job.closed_at, settings.zone)
        facts.append(("Closed", f"{closed} · {names.get(job.closed_by_id or 0, '')}"))
        facts.append(("Closing remark", job.closing_remark or ""))
    return tuple((label, value) for label, value in facts if value)
