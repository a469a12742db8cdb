"""How a run's file is read: guesses with why, questions, and which column is which channel."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
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
from app.jobs.pages.reading_form import MOST_COLUMNS, parse_choices, parse_chosen
from app.jobs.pages.sent import KEEP, FileChosen, FileNotAborted
from app.jobs.pages.words import STEP_WORDS, Link
from app.jobs.queries import get_run, load_place
from app.jobs.readings import Suggestion, suggest
from app.jobs.rules import RunState, spell_job
from app.jobs.schemas import ReasonGiven
from app.recipes.body.setup import Thermocouple
from app.recipes.queries import get_body
from app.traces.files import ColumnGuess
from app.traces.rules import (
    ChannelRole,
    ColumnRole,
    DecimalMark,
    Delimiter,
    ReadingChoices,
    TemperatureUnit,
    TimeFormat,
)
from app.web.forms import Form, PostedForm, map_faults
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

Worker = Annotated[Person, Depends(needs(Action.JOBS_WORK))]
_FINDINGS_SHOWN: Final = 40

add_notices({"run-kept": "The trace is kept.", "run-aborted": "The run is aborted."})

Option = tuple[str, str]
ROLES: Final[tuple[Option, ...]] = tuple((str(role), role.words) for role in ChannelRole)
DELIMITERS: Final[tuple[Option, ...]] = tuple((str(one), one.words) for one in Delimiter)
MARKS: Final[tuple[Option, ...]] = (
    (str(DecimalMark.POINT), "point"),
    (str(DecimalMark.COMMA), "comma"),
)
FORMS: Final[tuple[Option, ...]] = tuple((str(one), str(one)) for one in TimeFormat)
UNITS: Final[tuple[Option, ...]] = tuple((str(one), one.words) for one in TemperatureUnit)
COLUMN_ROLES: Final[tuple[Option, ...]] = tuple(
    (str(one), str(one).replace("_", " ")) for one in ColumnRole
)
DAY_FIRST: Final[tuple[Option, ...]] = (("yes", "day first"), ("no", "month first"))


@dataclass(frozen=True)
class Choice:
    """One thing about the file that can be said otherwise; an empty value leaves the guess."""

    name: str
    label: str
    guess: str
    value: str
    options: tuple[Option, ...]
    is_asked: bool


@dataclass(frozen=True)
class ColumnLine:
    """One column of the file with what it is taken for, and its channel where it has one."""

    index: int
    number: int
    header: str
    samples: str
    role: Choice
    unit: Choice | None
    why: str
    channel: str
    channel_role: str
    designator: str
    is_channel: bool


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
    said: str
    choices: tuple[Choice, ...]
    all_units: Choice | None
    header_row: str
    header_guess: str
    columns: tuple[ColumnLine, ...]
    left_out: int
    plan: tuple[tuple[str, str], ...]
    roles: tuple[Option, ...]
    questions: tuple[str, ...]
    assumptions: tuple[str, ...]
    findings: tuple[str, ...]
    more_findings: int
    remember: bool
    remark: str
    faults: Mapping[str, str] = field(default_factory=dict)


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
    job = card.job
    findings = [one.sentence for one in reading.findings] if reading else []
    page = ReadingPage(
        shell=make_shell(request, person, title="Which column is which channel?"),
        href=f"/runs/{run.id}/reading",
        run_href=f"/runs/{run.id}",
        job=Link(f"/jobs/{job.id}", f"{spell_job(job.id)} · board {job.board.serial}"),
        place=f"{site.designator}: {STEP_WORDS[step.kind].lower()}",
        file_name=run.file_name or "",
        is_read=reading is not None,
        is_remembered=bool(suggestion and suggestion.is_remembered),
        said=_spell_reading(suggestion) if suggestion else "",
        choices=_list_choices(choices, suggestion),
        all_units=_make_all_units(choices, suggestion),
        header_row="" if choices.header_row is None else str(choices.header_row),
        header_guess=str(reading.header_row or 0) if reading else "",
        columns=_list_columns(choices, suggestion, form) if suggestion else (),
        left_out=max(0, len(reading.guesses) - MOST_COLUMNS) if reading else 0,
        plan=tuple((one.channel, _spell_planned(one)) for one in plan),
        roles=ROLES,
        questions=tuple(one.sentence for one in reading.questions) if reading else (),
        assumptions=reading.assumptions if reading else (),
        findings=tuple(findings[:_FINDINGS_SHOWN]),
        more_findings=max(0, len(findings) - _FINDINGS_SHOWN),
        remember=form is None or form.text("remember") == "yes",
        remark=form.text("remark") if form else "",
        faults=faults,
    )
    return render("jobs/reading.html", page, status=422 if faults else 200)


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


def _list_choices(choices: ReadingChoices, suggestion: Suggestion | None) -> tuple[Choice, ...]:
    reading = suggestion.reading if suggestion else None
    asked = {one.about for one in reading.questions} if reading else set()
    day = choices.day_first
    return (
        Choice(
            "delimiter", "Between two cells", reading.delimiter.words if reading else "",
            choices.delimiter or "", DELIMITERS, is_asked=False,
        ),
        Choice(
            "decimal_mark", "Decimal mark", dict(MARKS)[reading.decimal_mark] if reading else "",
            choices.decimal_mark or "", MARKS, is_asked=False,
        ),
        Choice(
            "time_format", "Times are in", str(reading.time.form) if reading else "",
            choices.time_format or "", FORMS, is_asked="time_format" in asked,
        ),
        Choice(
            "day_first", "Dates are written", "", "" if day is None else "yes" if day else "no",
            DAY_FIRST, is_asked="day_first" in asked,
        ),
    )  # fmt: skip


def _make_all_units(choices: ReadingChoices, suggestion: Suggestion | None) -> Choice | None:
    """Return one question for all columns that do not say their unit, where there are such."""
    asked = suggestion is not None and any(
        one.about == "unit" for one in suggestion.reading.questions
    )
    if not asked and choices.temperature_unit is None:
        return None
    return Choice(
        "temperature_unit",
        "Columns that do not say their unit are all in",
        "",
        str(choices.temperature_unit or ""),
        UNITS,
        is_asked=asked,
    )


def _list_columns(
    choices: ReadingChoices, suggestion: Suggestion, form: Form | None
) -> tuple[ColumnLine, ...]:
    channels = {channel.column: channel for channel in suggestion.channels}
    asked = {one.column for one in suggestion.reading.questions if one.about == "unit"}
    lines = []
    for guess in suggestion.reading.guesses[:MOST_COLUMNS]:
        chosen = choices.find_column(guess.index)
        channel = channels.get(guess.index)
        is_channel = guess.role is ColumnRole.TEMPERATURE
        was_shown = form is not None and f"channel_{guess.index}" in form.texts
        lines.append(
            ColumnLine(
                index=guess.index,
                number=guess.index + 1,
                header=guess.header,
                samples=" · ".join(guess.samples),
                role=Choice(
                    f"role_{guess.index}",
                    "Taken for",
                    str(guess.role),
                    str(chosen.role or "") if chosen else "",
                    COLUMN_ROLES,
                    is_asked=False,
                ),
                unit=_make_unit(guess, str(chosen.unit or "") if chosen else "", asked)
                if is_channel
                else None,
                why=guess.why,
                channel=_kept(form, f"channel_{guess.index}", was_shown)
                if was_shown
                else (channel.name if channel else ""),
                channel_role=_kept(form, f"channel_role_{guess.index}", was_shown)
                if was_shown
                else str(channel.role if channel else ChannelRole.UNUSED),
                designator=_kept(form, f"designator_{guess.index}", was_shown)
                if was_shown
                else (channel.designator or "" if channel else ""),
                is_channel=is_channel,
            )
        )
    return tuple(lines)


def _kept(form: Form | None, name: str, was_shown: bool) -> str:  # noqa: FBT001
    return form.text(name) if form is not None and was_shown else ""


def _make_unit(guess: ColumnGuess, value: str, asked: Sequence[int] | set[int]) -> Choice:
    return Choice(
        f"unit_{guess.index}", "Unit", guess.unit.words if guess.unit else "", value, UNITS,
        is_asked=guess.index in asked,
    )  # fmt: skip
