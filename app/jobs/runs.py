"""Records runs: a logger's file comes in, its columns are told apart, its figures computed."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit.rules import Subject
from app.core.canonical_json import compute_digest
from app.core.clock import spell_utc
from app.core.refusals import Refusal
from app.core.settings import Settings
from app.files.queries import get_content
from app.files.service import keep_file
from app.jobs import rules
from app.jobs.cases import compose_case
from app.jobs.clearance import RULES, Signal, describe_findings, find_all, is_clear
from app.jobs.figures import analyse_run, describe_figures
from app.jobs.queries import SiteCard, WorkCard, get_step, load_card
from app.jobs.rules import HEATED, RunState
from app.jobs.schemas import TraceChosen
from app.jobs.service import check_free, lock_job, tell
from app.jobs.tables import Job, JobStep, Run
from app.jobs.work import begin_work, check_turn
from app.numerics.errors import NumericsError
from app.plant.rules import check_in_use
from app.plant.tables import Bench, BenchReading
from app.recipes.body.setup import Thermocouple
from app.recipes.queries import get_body
from app.traces.files import LoggerReading, ReadingLimits, read_logger_file
from app.traces.queries import load_samples
from app.traces.rules import Channel, ChannelMap, ChannelRole, ReadingChoices
from app.traces.service import keep_trace

LONGEST_NAME = 60
# What a reader refuses because of what it guessed: a person's choices can put it right.
PUT_RIGHT_BY_CHOICES = frozenset(
    {
        "traces.no_time_column",
        "traces.no_temperature_column",
        "traces.too_many_temperature_columns",
        "traces.row_too_wide",
        "traces.decimal_marks_mixed",
        "traces.units_mixed",
        "traces.time_unreadable",
        "traces.time_not_increasing",
    }
)


@dataclass(frozen=True)
class Suggestion:
    """How a file was read, and which channels its columns are taken for.

    `is_remembered` says that this bench's earlier files had the same headers.
    """

    reading: LoggerReading
    choices: ReadingChoices
    channels: tuple[Channel, ...]
    is_remembered: bool

    def is_settled(self, plan: Sequence[Thermocouple]) -> bool:
        """Say whether the bench's memory leaves nothing to ask: every channel agrees with the plan.

        Each channel in use has its column, role and part as the plan names them, and no channel
        that the plan requires is missing.
        """
        if not self.is_remembered:
            return False
        used = {c.name.casefold(): c for c in self.channels if c.role is not ChannelRole.UNUSED}
        columns = {column.index for column in self.reading.columns}
        planned = {one.channel.casefold(): one for one in plan}
        asked = {q.column for q in self.reading.questions if q.about == "unit"}
        return (
            all(q.about == "unit" for q in self.reading.questions)
            and all(c.column in columns and c.column not in asked for c in used.values())
            and all(_agrees(c, planned.get(name)) for name, c in used.items())
            and all(name in used for name, one in planned.items() if one.required)
        )


def start_run(
    session: Session,
    job: Job,
    step_id: int,
    *,
    bench: Bench,
    content: bytes,
    file_name: str,
    settings: Settings,
    person: Person,
    now: datetime,
) -> Run:
    """Begin a run of a heated line with the file its logger wrote.

    Everything is checked again as it is at this moment; NotClear says what stops the heat. The
    file is refused if no choice could make it readable. Nothing is computed before
    `complete_run`.
    """
    card = load_card(session, job)
    check_free(card)
    site, step = get_step(card, step_id)
    begin_work(job)
    _check_heated(site, step)
    check_turn(site, step)
    check_in_use(bench.code, is_retired=bench.retired_at is not None)
    clearance = _check_clear(session, card, bench, settings, now=now, person=person)
    check_file(content, settings=settings)
    run = Run(
        job_site_id=site.job_site.id,
        step_id=step.id,
        recipe_revision_id=site.job_site.recipe_revision_id,
        bench_id=bench.id,
        state=RunState.RECORDING,
        by_id=person.account_id,
        started_at=now,
        file_sha256=keep_file(session, content, by_id=person.account_id, now=now),
        file_name=file_name,
        clearance=clearance,
        remark="",
    )
    session.add(run)
    try:
        session.flush()
    except IntegrityError:
        raise rules.RunRecording("A run of this site is recording already.") from None
    _tell(
        session, card, site, step, run, "jobs.start_run", person=person, now=now,
        details={"bench": bench.code, "file_sha256": run.file_sha256, "clearance": clearance},
    )  # fmt: skip
    return run


def read_file(content: bytes, choices: ReadingChoices, *, settings: Settings) -> LoggerReading:
    """Read a logger's file within the plant's limit of rows."""
    limits = ReadingLimits(
        max_bytes=settings.upload_limit_mb * 1024 * 1024, max_rows=settings.trace_row_limit
    )
    return read_logger_file(content, choices=choices, limits=limits)


def check_file(content: bytes, *, settings: Settings) -> None:
    """Refuse a file that no choice could make readable, with what its reader says."""
    try:
        read_file(content, ReadingChoices(), settings=settings)
    except Refusal as refusal:
        if refusal.code not in PUT_RIGHT_BY_CHOICES:
            raise


def suggest(
    session: Session, run: Run, *, choices: ReadingChoices | None, settings: Settings
) -> Suggestion:
    """Return how the run's file is read and which channels its columns are taken for.

    What the bench remembers for these headers comes first, then channels of the recipe's plan
    with the header's name, then the plan's channels in their order.
    """
    content = get_content(session, get_file_digest(run))
    plain = read_file(content, choices or ReadingChoices(), settings=settings)
    remembered = find_bench_reading(session, run.bench_id, compute_headers_digest(plain))
    plan = get_body(run.job_site.revision).thermocouples
    if remembered is None:
        return Suggestion(
            plain, choices or ReadingChoices(), guess_channels(plain, plan), is_remembered=False
        )
    kept = ReadingChoices.model_validate(remembered.choices) if choices is None else choices
    reading = read_file(content, kept, settings=settings)
    channels = ChannelMap.model_validate(remembered.channel_map).channels
    return Suggestion(reading, kept, _follow_plan(channels, plan), is_remembered=True)


def complete_at_once(
    session: Session, run: Run, *, settings: Settings, person: Person, now: datetime
) -> bool:
    """Complete a run whose bench remembers how its file is read; False while anything is to ask."""
    try:
        suggestion = suggest(session, run, choices=None, settings=settings)
    except Refusal:
        return False
    if not suggestion.is_settled(get_body(run.job_site.revision).thermocouples):
        return False
    said = TraceChosen(
        choices=suggestion.choices,
        channel_map=ChannelMap(channels=suggestion.channels),
        remember=False,
    )
    complete_run(session, run, said, settings=settings, person=person, now=now)
    return True


def complete_run(
    session: Session,
    run: Run,
    said: TraceChosen,
    *,
    settings: Settings,
    person: Person,
    now: datetime,
) -> Run:
    """Keep the run's trace, compute its figures, and lock the run for good."""
    card, site, step = _find_place(session, run)
    content = get_content(session, get_file_digest(run))
    reading = read_file(content, said.choices, settings=settings)
    try:
        trace = keep_trace(
            session,
            content,
            file_name=run.file_name or "trace.csv",
            reading=reading,
            choices=said.choices,
            channel_map=said.channel_map,
            zone=settings.zone,
            person=person,
            now=now,
        )
        figures = analyse_run(
            get_body(run.job_site.revision),
            load_samples(session, trace),
            findings=trace.reading["findings"],
            step=step.kind,
        )
    except NumericsError as error:
        raise rules.TraceUnusable(f"Nothing can be computed from this file: {error}") from None
    described = describe_figures(figures)
    run.state = RunState.COMPLETE
    run.trace = trace
    run.ended_at = now
    run.figures = described
    run.verdict = str(figures.verdict.state)
    run.window_use_pct = figures.verdict.window_use_pct
    run.remark = said.remark
    session.flush()
    if said.remember:
        _remember(session, run, reading, said, person=person, now=now)
    _tell(
        session, card, site, step, run, "jobs.complete_run", person=person, now=now,
        details={
            "trace": trace.id,
            "file_sha256": trace.file_sha256,
            "samples_sha256": trace.samples_sha256,
            "channels": trace.channels,
            "figures_sha256": compute_digest(described),
            "verdict": run.verdict,
            "remark": said.remark,
        },
    )  # fmt: skip
    return run


def abort_run(session: Session, run: Run, reason: str, *, person: Person, now: datetime) -> Run:
    """End a run that is not to count, and say why; its file stays kept."""
    rules.check_reason(reason, "the run is aborted")
    card, site, step = _find_place(session, run)
    run.state = RunState.ABORTED
    run.ended_at = now
    run.abort_reason = reason
    session.flush()
    _tell(
        session, card, site, step, run, "jobs.abort_run", person=person, now=now,
        details={"reason": reason, "file_sha256": run.file_sha256},
    )  # fmt: skip
    return run


def compute_headers_digest(reading: LoggerReading) -> str:
    """Return the digest of a file's headers, by which a bench remembers how to read it."""
    return compute_digest({"headers": [guess.header for guess in reading.guesses]})


def find_bench_reading(session: Session, bench_id: int, headers_digest: str) -> BenchReading | None:
    """Return what a bench remembers of files with these headers, or None."""
    return session.scalar(
        select(BenchReading).where(
            BenchReading.bench_id == bench_id, BenchReading.headers_digest == headers_digest
        )
    )


def guess_channels(reading: LoggerReading, plan: Sequence[Thermocouple]) -> tuple[Channel, ...]:
    """Return a channel for each temperature column: by the plan's names, then in its order."""
    left = {one.channel.casefold(): one for one in plan}
    named = {
        column.index: left.pop(column.header.strip().casefold())
        for column in reading.columns
        if column.header.strip().casefold() in left
    }
    rest = iter(left.values())
    channels: list[Channel] = []
    for place, column in enumerate(reading.columns, start=1):
        planned = named.get(column.index) or next(rest, None)
        if planned is not None:
            channels.append(
                Channel(
                    column=column.index,
                    name=planned.channel,
                    role=planned.role,
                    designator=planned.designator or None,
                )
            )
            continue
        name = (column.header.strip() or f"column {place}")[:LONGEST_NAME]
        channels.append(Channel(column=column.index, name=name, role=ChannelRole.UNUSED))
    return tuple(channels)


def _follow_plan(channels: Sequence[Channel], plan: Sequence[Thermocouple]) -> tuple[Channel, ...]:
    """Let the channels that a bench remembers be called as this recipe's plan calls them.

    What a bench remembers is where the sensor of a column sits; name and adjacent part are the
    plan's, by its name where the roles agree, else by the role in the plan's order.
    """
    left = {one.channel.casefold(): one for one in plan}
    named: dict[int, Thermocouple] = {}
    for channel in channels:
        one = left.get(channel.name.casefold())
        if one is not None and one.role is channel.role:
            named[channel.column] = left.pop(channel.name.casefold())
    for channel in channels:
        same = next((key for key, one in left.items() if one.role is channel.role), None)
        if channel.column not in named and same is not None:
            named[channel.column] = left.pop(same)
    taken = {one.channel.casefold() for one in named.values()}
    return tuple(
        _name_after(channel, named.get(channel.column), taken=taken) for channel in channels
    )


def _name_after(channel: Channel, one: Thermocouple | None, *, taken: Collection[str]) -> Channel:
    if one is not None:
        return channel.model_copy(
            update={"name": one.channel, "designator": one.designator or None}
        )
    if channel.name.casefold() in taken:
        name = f"column {channel.column + 1}"
        return channel.model_copy(update={"name": name})
    return channel


def _agrees(channel: Channel, planned: Thermocouple | None) -> bool:
    if planned is None:
        return channel.role is not ChannelRole.ADJACENT
    return channel.role is planned.role and (channel.designator or "") == planned.designator


def _remember(
    session: Session,
    run: Run,
    reading: LoggerReading,
    said: TraceChosen,
    *,
    person: Person,
    now: datetime,
) -> None:
    digest = compute_headers_digest(reading)
    kept = find_bench_reading(session, run.bench_id, digest)
    if kept is None:
        kept = BenchReading(bench_id=run.bench_id, headers_digest=digest)
        session.add(kept)
    kept.choices = said.choices.model_dump(mode="json", exclude_defaults=True)
    kept.channel_map = said.channel_map.model_dump(mode="json")
    kept.by_id, kept.at = person.account_id, now
    session.flush()


def _check_heated(site: SiteCard, step: JobStep) -> None:
    if step.kind not in HEATED:
        raise rules.NotHeated(f"“{step.kind}” is not heated with the nozzle; it takes no run.")
    if site.is_written(step):
        raise rules.AlreadyWritten(f"“{step.kind}” is signed already; no run can be added to it.")


def _check_clear(
    session: Session,
    card: WorkCard,
    bench: Bench,
    settings: Settings,
    *,
    person: Person,
    now: datetime,
) -> dict[str, Any]:
    findings = find_all(compose_case(session, card, bench, settings))
    if not is_clear(findings):
        first = next(finding for finding in findings if finding.signal is Signal.STOP)
        raise rules.NotClear(f"{first.sentence} {first.way_out}".strip())
    return {
        "at": spell_utc(now),
        "by_id": person.account_id,
        "bench": bench.code,
        "rules": RULES,
        "findings": describe_findings(findings),
    }


def _check_recording(run: Run) -> None:
    if run.state is not RunState.RECORDING:
        raise rules.RunOver(f"The run is {run.state}; nothing can be added to it.")


def get_file_digest(run: Run) -> str:
    """Return the SHA-256 of the file a run was recorded with; NoTrace without one."""
    if run.file_sha256 is None:
        raise rules.NoTrace("This run has no file.")
    return run.file_sha256


def _find_place(session: Session, run: Run) -> tuple[WorkCard, SiteCard, JobStep]:
    """Return the run's job, site and line; from here on nobody else changes them.

    JobHeld while a hold is on the job; RunOver when the run has ended.
    """
    job = lock_job(session, run.job_site.job_id)
    session.refresh(run, ["state", "version", "ended_at"])
    card = load_card(session, job)
    check_free(card)
    _check_recording(run)
    site, step = get_step(card, run.step_id)
    return card, site, step


def _tell(
    session: Session,
    card: WorkCard,
    site: SiteCard,
    step: JobStep,
    run: Run,
    action: str,
    *,
    person: Person,
    now: datetime,
    details: dict[str, Any],
) -> None:
    tell(
        session, card.job, action, person=person, now=now, subject=Subject("run", run.id),
        details={"designator": site.designator, "step": str(step.kind), **details},
    )  # fmt: skip
