"""How a run's file is read: guesses with why, questions, and which column is which channel."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.refusals import Forbidden, Refusal, Unknown
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.settings import Settings
from app.jobs import runs
from app.jobs.logger_file import LoggerFile
from app.jobs.pages.reading_faults import spell_faults
from app.jobs.pages.reading_form import (
    CHANNEL_FIELDS,
    MOST_COLUMNS,
    parse_choices,
    parse_chosen,
    spell_choices,
)
from app.jobs.pages.reading_lines import (
    ROLES,
    ColumnLine,
    Control,
    FileLine,
    Option,
    Said,
    list_columns,
    list_file_lines,
)
from app.jobs.pages.sent import KEEP, FileChosen, FileNotAborted
from app.jobs.pages.words import STEP_WORDS, Link
from app.jobs.queries import get_run, load_place
from app.jobs.readings import Suggestion, load_file, suggest
from app.jobs.rules import RunState, StepKind, spell_job
from app.jobs.schemas import ReasonGiven
from app.recipes.body.setup import Thermocouple
from app.recipes.queries import get_body
from app.traces.files import ColumnGuess, FirstRow, find_outline
from app.traces.rules import ChannelRole, ReadingChoices
from app.web.forms import Form, PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

Worker = Annotated[Person, Depends(needs(Action.JOBS_WORK))]
_FINDINGS_SHOWN: Final = 40

add_notices({"run-kept": "The trace is kept.", "run-aborted": "The run is aborted."})


@dataclass(frozen=True)
class ReadingPage:
    """All that reading.html can see; without `is_read` the file could not be read as guessed."""

    shell: Shell
    href: str
    run_href: str
    job: Link
    place: str
    file_name: str
    is_read: bool
    is_remembered: bool
    cautions: tuple[str, ...]
    said: str
    is_opened: bool
    asked: tuple[Control, ...]
    lines: tuple[FileLine, ...]
    first_rows: tuple[FirstRow, ...]
    columns: tuple[ColumnLine, ...]
    kept: tuple[tuple[str, str], ...]
    left_out: int
    plan: tuple[tuple[str, str], ...]
    roles: tuple[Option, ...]
    questions: tuple[str, ...]
    assumptions: tuple[str, ...]
    findings: tuple[str, ...]
    more_findings: int
    remember: bool
    remark: str
    is_removal: bool
    lifted_at_s: str
    faults: tuple[str, ...] = ()


@router.get("/runs/{run_id}/reading")
def show_reading(
    run_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    person: Worker,
) -> Response:
    """Show how the file is read; a run that is over shows itself instead."""
    if get_run(session, run_id).state is not RunState.RECORDING:
        return go_to(f"/runs/{run_id}")
    return _show(request, session, settings, person, run_id, form=None, refusal=None)


@router.post("/runs/{run_id}/reading")
def choose_reading(
    file: FileChosen,
    run_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    form: PostedForm,
) -> Response:
    """Read the file again with other choices, or keep the trace as it is read."""
    try:
        if form.text("do") != KEEP:
            return _show(
                request, session, settings, person, run_id, form=form, refusal=None, file=file
            )
        run = get_run(session, run_id)
        runs.complete_run(
            session,
            run,
            parse_chosen(form),
            settings=settings,
            person=person,
            now=now,
            file=file,
        )
    except (Unknown, Forbidden):
        raise
    except Refusal as refusal:
        # What was changed before the refusal must not be kept with the page that shows it.
        session.rollback()
        return _show(
            request, session, settings, person, run_id, form=form, refusal=refusal, file=file
        )
    return go_to(f"/runs/{run_id}", said="run-kept")


@router.post("/runs/{run_id}/abortion")
def abort_run(
    file: FileNotAborted,
    run_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    form: PostedForm,
) -> Response:
    """End a run that is not to count, and say why."""
    try:
        said = form.parse(ReasonGiven)
        run = get_run(session, run_id)
        runs.abort_run(session, run, said.reason, person=person, now=now)
    except (Unknown, Forbidden):
        raise
    except Refusal as refusal:
        session.rollback()
        return _show(
            request, session, settings, person, run_id, form=None, refusal=refusal, file=file
        )
    return go_to(f"/runs/{run_id}", said="run-aborted")


def _show(
    request: Request,
    session: Session,
    settings: Settings,
    person: Person,
    run_id: int,
    *,
    form: Form | None,
    refusal: Refusal | None,
    file: LoggerFile | None = None,
) -> HTMLResponse:
    run = get_run(session, run_id)
    card, site, step = load_place(session, run)
    suggestion: Suggestion | None = None
    faults = map_faults(refusal) if refusal else {}
    choices = ReadingChoices()
    file = file or load_file(session, run, settings=settings)
    try:
        if form is None:
            suggestion = suggest(session, run, choices=None, settings=settings, file=file)
            choices = suggestion.choices
        else:
            choices = parse_choices(form)
            suggestion = suggest(session, run, choices=choices, settings=settings, file=file)
    except Refusal as unreadable:
        faults = faults or map_faults(unreadable)
    plan = get_body(site.job_site.revision).thermocouples
    reading = suggestion.reading if suggestion else None
    # A workbook takes as long to look at as to read, and a text no time.
    is_looked_at = reading is None or not reading.sheets
    outline = find_outline(file.content, choices=choices) if is_looked_at else None
    said = Said(form.texts if form else spell_choices(choices), faults)
    lines = list_file_lines(said, reading, outline, wire=suggestion.wire if suggestion else None)
    job = card.job
    findings = [one.sentence for one in reading.findings] if reading else []
    page = ReadingPage(
        shell=make_shell(
            request, person, title="Which column is which channel?", scripts=("once.js",)
        ),
        href=f"/runs/{run.id}/reading",
        run_href=f"/runs/{run.id}",
        job=Link(f"/jobs/{job.id}", f"{spell_job(job.id)} · board {job.board.serial}"),
        place=f"{site.designator}: {STEP_WORDS[step.kind].lower()}",
        file_name=run.file_name or "",
        is_read=reading is not None,
        is_remembered=bool(suggestion and suggestion.is_remembered),
        cautions=tuple(_list_cautions(suggestion)) if suggestion else (),
        said=_spell_reading(suggestion) if suggestion else "",
        is_opened=reading is None or (form is not None and form.text("do") != KEEP),
        asked=tuple(control for line in lines if line.is_asked for control in line.controls),
        lines=lines,
        first_rows=outline.rows if outline else (),
        columns=list_columns(
            said, suggestion, outline, plain=() if reading else _read_plainly(file)
        ),
        kept=_list_kept(form, is_read=reading is not None),
        left_out=max(0, len(reading.guesses) - MOST_COLUMNS) if reading else 0,
        plan=tuple((one.channel, _spell_planned(one)) for one in plan),
        roles=ROLES,
        questions=tuple(one.sentence for one in reading.questions) if reading else (),
        assumptions=reading.assumptions if reading else (),
        findings=tuple(findings[:_FINDINGS_SHOWN]),
        more_findings=max(0, len(findings) - _FINDINGS_SHOWN),
        remember=form is None or form.text("remember") == "yes",
        remark=form.text("remark") if form else "",
        is_removal=step.kind is StepKind.REMOVE,
        lifted_at_s=form.text("lifted_at_s") if form else "",
        faults=spell_faults(faults, form),
    )
    return render("jobs/reading.html", page, status=422 if faults else 200)


def _list_cautions(suggestion: Suggestion) -> Iterator[str]:
    """Yield what the bench's memory or the columns do not give a channel for."""
    if suggestion.is_outdated:
        yield (
            "What this bench remembers of such a file no longer fits: none of the columns it took "
            "for channels holds temperatures now. The channels here follow the recipe's plan."
        )
    if all(channel.role is ChannelRole.UNUSED for channel in suggestion.channels):
        yield (
            "No column is taken for a channel. Say where the sensor of a column sits; where the "
            "right one is not offered, say below what the columns hold."
        )


def _read_plainly(file: LoggerFile) -> tuple[ColumnGuess, ...]:
    with suppress(Refusal):
        return file.read(ReadingChoices()).guesses
    return ()


def _list_kept(form: Form | None, *, is_read: bool) -> tuple[tuple[str, str], ...]:
    """Return the fields that were sent and have no place on a page of a file that was not read.

    They are sent along until it is; a column that is read as something else then is no channel.
    """
    if form is None or is_read:
        return ()
    names = [f"{name}_{index}" for index in range(MOST_COLUMNS) for name in CHANNEL_FIELDS]
    return tuple(
        (name, form.text(name))
        for name in (*names, "remember", "remark", "lifted_at_s")
        if name in form.texts
    )


def _spell_reading(suggestion: Suggestion) -> str:
    reading = suggestion.reading
    form = "date and time" if reading.time.is_absolute else f"time in {reading.time.form}"
    return (
        f"{reading.sample_count:,} rows of samples, {_count_columns(len(reading.columns))} of "
        f"temperatures, {form}, first “{reading.time.first_written}”, {reading.encoding}"
    )


def _count_columns(count: int) -> str:
    return "1 column" if count == 1 else f"{count} columns"


def _spell_planned(one: Thermocouple) -> str:
    where = f"{one.role.words} {one.designator}".strip()
    return f"{where}{'' if one.required else ', optional'}"
