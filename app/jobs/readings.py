"""Tells a logger's columns apart: what a bench remembers, what a recipe plans, what is asked."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.core.canonical_json import compute_digest
from app.core.races import wait_for_row
from app.core.settings import Settings
from app.files.queries import get_content
from app.jobs import rules
from app.jobs.logger_file import LoggerFile
from app.jobs.schemas import TraceChosen
from app.jobs.tables import Run
from app.numerics.thermocouple_tables import ThermocoupleType
from app.plant.queries import find_chain, get_bench
from app.plant.tables import BenchReading
from app.recipes.body.setup import Thermocouple
from app.recipes.queries import get_body
from app.traces.files import (
    LoggerReading,
    TemperatureColumn,
    is_cold_junction_header,
    strip_unit,
)
from app.traces.rules import Channel, ChannelMap, ChannelRole, ReadingChoices

LONGEST_NAME = 60


@dataclass(frozen=True)
class Suggestion:
    """How a file was read, and which channels its columns are taken for.

    `is_remembered` says that this bench's earlier files had the same headers, `is_outdated` that
    none of the channels it remembers of them is a temperature now: the plan was followed instead.
    `wire` is the type of thermocouple that the bench was described with.
    """

    reading: LoggerReading
    choices: ReadingChoices
    channels: tuple[Channel, ...]
    is_remembered: bool
    is_outdated: bool = False
    wire: ThermocoupleType | None = None

    @property
    def chosen(self) -> TraceChosen:
        """What would be said of the file if everything is as suggested."""
        return TraceChosen(
            choices=self.choices,
            channel_map=ChannelMap(channels=self.channels),
            remember=False,
        )

    def is_settled(self, plan: Sequence[Thermocouple]) -> bool:
        """Say whether the bench's memory leaves nothing to ask: every channel agrees with the plan.

        Each channel in use has its column, role and part as the plan names them, and no channel
        that the plan requires is missing. A cold junction's fixed temperature is that of one day,
        and is asked for again.
        """
        if not self.is_remembered or not any(
            channel.role is not ChannelRole.UNUSED for channel in self.channels
        ):
            return False
        used = {c.name.casefold(): c for c in self.channels if c.role is not ChannelRole.UNUSED}
        columns = {column.index for column in self.reading.columns}
        planned = {one.channel.casefold(): one for one in plan}
        asked = {q.column for q in self.reading.questions if q.is_of_column}
        return (
            all(q.is_of_column for q in self.reading.questions)
            and all(guess.cold_junction_c is None for guess in self.reading.guesses)
            and all(c.column in columns and c.column not in asked for c in used.values())
            and all(_agrees(c, planned.get(name)) for name, c in used.items())
            and all(name in used for name, one in planned.items() if one.required)
        )


def load_file(session: Session, run: Run, *, settings: Settings) -> LoggerFile:
    """Return the file that a run was recorded with; NoTrace without one."""
    return LoggerFile(get_content(session, get_file_digest(run)), settings=settings)


def suggest(
    session: Session,
    run: Run,
    *,
    choices: ReadingChoices | None,
    settings: Settings,
    file: LoggerFile | None = None,
) -> Suggestion:
    """Return how the run's file is read and which channels its columns are taken for.

    What the bench remembers for these headers comes first, then channels of the recipe's plan
    with the header's name, then the plan's channels in their order. `file` is the run's own where
    it is in hand already.
    """
    return suggest_for(
        session,
        file or load_file(session, run, settings=settings),
        bench_id=run.bench_id,
        plan=get_body(run.job_site.revision).thermocouples,
        choices=choices,
    )


def suggest_for(
    session: Session,
    file: LoggerFile,
    *,
    bench_id: int,
    plan: Sequence[Thermocouple],
    choices: ReadingChoices | None = None,
) -> Suggestion:
    """Return what `suggest` returns, for a file that no run has yet."""
    plain = file.read(choices or ReadingChoices())
    chain = find_chain(get_bench(session, bench_id))
    wire = None if chain is None else ThermocoupleType(chain.thermocouple_type)
    remembered = find_bench_reading(session, bench_id, compute_headers_digest(plain))
    if remembered is None:
        return Suggestion(
            plain,
            choices or ReadingChoices(),
            guess_channels(plain, plan),
            is_remembered=False,
            wire=wire,
        )
    kept = ReadingChoices.model_validate(remembered.choices) if choices is None else choices
    reading = file.read(kept)
    channels = ChannelMap.model_validate(remembered.channel_map)
    there = {column.index for column in reading.columns}
    if not any(channel.column in there for channel in channels.in_use):
        return Suggestion(
            reading,
            kept,
            guess_channels(reading, plan),
            is_remembered=False,
            is_outdated=True,
            wire=wire,
        )
    return Suggestion(
        reading, kept, _follow_plan(channels.channels, plan), is_remembered=True, wire=wire
    )


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
    """Return a channel for each temperature column: by the plan's names, then in its order.

    A cold junction's own column, and millivolts of no known type beside columns of temperatures,
    are channels by their name alone.
    """
    left = {one.channel.casefold(): one for one in plan}
    named = {
        column.index: left.pop(name)
        for column in reading.columns
        for name in (find_planned_name(column, left),)
        if name is not None
    }
    rest = iter(left.values())
    likely = set(list_likely_channels(reading))
    channels: list[Channel] = []
    for place, column in enumerate(reading.columns, start=1):
        planned = named.get(column.index)
        if planned is None and column.index in likely:
            planned = next(rest, None)
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


def find_planned_name(column: TemperatureColumn, names: Collection[str]) -> str | None:
    """Return the header where it is one of these folded names, else the header without its unit."""
    whole, bare = column.header.strip().casefold(), strip_unit(column.header).casefold()
    return next((name for name in (whole, bare) if name in names), None)


def list_likely_channels(reading: LoggerReading) -> tuple[int, ...]:
    """Return the columns that may be channels whatever they are called.

    Those of millivolts without a type are, where there are no temperatures but theirs.
    """
    untyped = {guess.index for guess in reading.guesses if guess.is_untyped}
    sensors = [one.index for one in reading.columns if not is_cold_junction_header(one.header)]
    known = tuple(column for column in sensors if column not in untyped)
    return known or tuple(sensors)


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


def remember(
    session: Session,
    run: Run,
    reading: LoggerReading,
    said: TraceChosen,
    *,
    person: Person,
    now: datetime,
) -> None:
    """Keep how a bench's file was read, for its next files with the same headers."""
    digest = compute_headers_digest(reading)
    # Two runs at one bench may end at the same moment.
    wait_for_row(session, run.bench)
    kept = find_bench_reading(session, run.bench_id, digest)
    if kept is None:
        kept = BenchReading(bench_id=run.bench_id, headers_digest=digest)
        session.add(kept)
    kept.choices = said.choices.model_dump(mode="json", exclude_defaults=True)
    kept.channel_map = said.channel_map.model_dump(mode="json")
    kept.by_id, kept.at = person.account_id, now
    session.flush()


def get_file_digest(run: Run) -> str:
    """Return the SHA-256 of the file a run was recorded with; NoTrace without one."""
    if run.file_sha256 is None:
        raise rules.NoTrace("This run has no file.")
    return run.file_sha256
