"""One file from its bytes to figures and a verdict, or to the refusal that ended it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path
from typing import Any, Final

from app.analyse.channels import map_channels
from app.analyse.standard import Standard
from app.core.refusals import Conflict, Refusal, TooLarge, Unacceptable
from app.jobs.figures import (
    RunFigures,
    analyse_trace,
    describe_outcome,
    describe_time_above,
    describe_verdict,
)
from app.jobs.verdict_words import spell_verdict
from app.numerics.errors import NumericsError
from app.numerics.ramps import compute_largest_ramps
from app.numerics.recording import ChannelAnalysis, spell_fault
from app.numerics.trace import read_trace
from app.numerics.values import CannotSay, Outcome
from app.plant.measuring import MeasuringChain
from app.recipes.body.setup import Thermocouple
from app.recipes.body.window import Window
from app.recipes.verdict import Verdict, VerdictState
from app.traces.files import DEFAULT_LIMITS, LoggerReading, read_logger_file
from app.traces.queries import RecordedChannel, RecordedTrace
from app.traces.rules import ChannelMap, ChannelRole, ReadingChoices
from app.traces.service import describe_reading

_ANSWERS: Final = {
    "unit": "--unit C, F or K",
    "thermocouple": "--thermocouple K, J, T or N; a cold junction that no header names with "
    "--cold-junction or --cold-junction-c",
    "time_format": "--time-unit s, ms, min, h, hh:mm or mm:ss",
    "day_first": "--day-first or --month-first",
}
_STATES: Final = {
    VerdictState.INSIDE: "Inside",
    VerdictState.TOO_CLOSE: "Too close to call for",
    VerdictState.CANNOT_SAY: "Cannot say of",
    VerdictState.OUTSIDE: "Outside",
}


class ExitStatus(IntEnum):
    """How the command ends; 2 is too close to call or cannot say."""

    INSIDE = 0
    OUTSIDE = 1
    UNDECIDED = 2
    UNREADABLE = 3


# Of several files the worst counts: what is proved wrong before what is not proved.
_SEVERITY: Final = (
    ExitStatus.INSIDE,
    ExitStatus.UNDECIDED,
    ExitStatus.OUTSIDE,
    ExitStatus.UNREADABLE,
)


class QuestionOpen(Conflict):
    """The file does not say something; an option of the command answers it."""

    code = "analyse.question_open"


class FileUnreadable(Unacceptable):
    """There is no such file, or it may not be read."""

    code = "analyse.file_unreadable"


class FileTooLarge(TooLarge):
    """The file has more bytes than are read."""

    code = "analyse.file_too_large"


class NumbersImpossible(Unacceptable):
    """The file's numbers are no trace that metrics can be computed of."""

    code = "analyse.numbers_impossible"


@dataclass(frozen=True)
class Asked:
    """What every file is asked: how to read it, what to hold it against, what else to compute.

    Temperatures to be above in °C, lengths of time for slopes in s. Without a measuring chain one
    is assumed.
    """

    standard: Standard
    choices: ReadingChoices
    maps: tuple[str, ...] = ()
    chain: MeasuringChain | None = None
    times_above_c: tuple[float, ...] = ()
    ramp_windows_s: tuple[float, ...] = ()


@dataclass(frozen=True)
class MoreFigures:
    """What was asked of one channel beyond the window's own metrics; times as they are told."""

    times_above: tuple[dict[str, Any], ...]
    ramps: tuple[tuple[float, Outcome, Outcome], ...]


@dataclass(frozen=True, eq=False)
class Analysis:
    """A file's figures, with all that was found, taken for granted and left out while reading."""

    path: str
    reading: dict[str, object]
    channel_count: int
    sample_count: int
    duration_s: float
    figures: RunFigures
    more: dict[str, MoreFigures]
    times_above_c: tuple[float, ...]
    notes: tuple[str, ...]

    @property
    def status(self) -> ExitStatus:
        """What the command would end with for this file alone."""
        state = self.figures.verdict.state
        if state is VerdictState.INSIDE:
            return ExitStatus.INSIDE
        return ExitStatus.OUTSIDE if state is VerdictState.OUTSIDE else ExitStatus.UNDECIDED


@dataclass(frozen=True)
class Failure:
    """A file that could not be analysed; `field` is the choice that was wrong, if one was."""

    path: str
    code: str
    sentence: str
    field: str | None = None
    status: ExitStatus = ExitStatus.UNREADABLE


def get_worst(statuses: Iterable[ExitStatus]) -> ExitStatus:
    """Return the worst: unreadable, then outside, then undecided; inside where there is none."""
    return max(statuses, key=_SEVERITY.index, default=ExitStatus.INSIDE)


def analyse_or_fail(path: str, asked: Asked) -> Analysis | Failure:
    """Analyse the file; a refusal comes back as a failure."""
    try:
        return analyse_file(path, asked)
    except Refusal as refusal:
        return Failure(path, refusal.code, refusal.sentence, refusal.field)


def analyse_file(path: str, asked: Asked) -> Analysis:
    """Read the file, take its channels, compute every metric and hold them against the window.

    Raises FileUnreadable, FileTooLarge, QuestionOpen, NumbersImpossible and the refusals of
    reading and mapping.
    """
    reading = read_logger_file(_read_bytes(Path(path)), choices=asked.choices)
    standard = asked.standard
    channel_map, supposed = map_channels(reading, said=asked.maps, plan=standard.plan)
    _check_answered(reading, channel_map)
    recorded = _take_trace(reading, channel_map)
    described = describe_reading(reading, asked.choices)
    plan = standard.plan
    if plan is None:
        plan = _plan_all(recorded, standard.window)
    try:
        figures = analyse_trace(
            recorded,
            window=standard.window,
            plan=plan,
            lift_rule=standard.lift_rule,
            findings=described["findings"],
            zones=standard.zones,
            chain=asked.chain,
            times_above_c=asked.times_above_c,
        )
        more = {
            channel.name: _compute_more(
                recorded, channel, asked, figures.analysis.channels[channel.name]
            )
            for channel in recorded.channels
            if channel.name in figures.analysis.channels
        }
    except NumericsError as error:
        raise NumbersImpossible(str(error), field="file") from error
    return Analysis(
        path=path,
        reading=described,
        channel_count=len(recorded.channels),
        sample_count=reading.sample_count,
        duration_s=float(recorded.time_s[-1]),
        figures=figures,
        more=more,
        times_above_c=asked.times_above_c,
        notes=(
            *supposed,
            *reading.assumptions,
            *(finding.sentence for finding in reading.findings),
            *(f"{name}: {why}" for name, why in figures.faults.items()),
            *_list_cautions(figures),
            *_list_unused(recorded, asked.chain),
        ),
    )


def spell_sentence(verdict: Verdict, title: str) -> str:
    """Return the verdict in a sentence: the line it rests on, and what would settle it."""
    about = f"{_STATES[verdict.state]} the window “{title}”"
    if verdict.deciding is None:
        return f"{about}: it limits nothing that was measured."
    return f"{about}: {spell_verdict(describe_verdict(verdict))}"


def _list_cautions(figures: RunFigures) -> Iterator[str]:
    """Yield the faults that leave their channel in."""
    for fault in figures.analysis.faults:
        if fault.channel not in figures.faults:
            of = f"{fault.channel}: " if fault.channel else ""
            yield f"{of}{spell_fault(fault)}"


def _list_unused(recorded: RecordedTrace, chain: MeasuringChain | None) -> Iterator[str]:
    there = {channel.name.casefold() for channel in recorded.channels}
    for correction in chain.corrections if chain else ():
        if correction.channel.casefold() not in there:
            yield f"No channel is named {correction.channel}: its correction was not used."


def _read_bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > DEFAULT_LIMITS.max_bytes:
            raise FileTooLarge(
                f"The file has {size:,} bytes; {DEFAULT_LIMITS.max_bytes:,} is the limit.",
                field="file",
            )
        return path.read_bytes()
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise FileUnreadable(f"The file cannot be read: {why}.", field="file") from error


def _check_answered(reading: LoggerReading, channel_map: ChannelMap) -> None:
    used = {channel.column for channel in channel_map.in_use}
    for question in reading.questions:
        if not question.is_of_column or question.column in used:
            raise QuestionOpen(
                f"{question.sentence} Say it with {_ANSWERS[question.about]}.",
                field=question.about,
            )


def _take_trace(reading: LoggerReading, channel_map: ChannelMap) -> RecordedTrace:
    columns = {column.index: column for column in reading.columns}
    return RecordedTrace(
        time_s=reading.time.elapsed_s(),
        channels=tuple(
            RecordedChannel(
                name=channel.name,
                role=channel.role,
                designator=channel.designator,
                header=columns[channel.column].header,
                column=columns[channel.column],
            )
            for channel in channel_map.in_use
        ),
        ticks=reading.time.ticks - reading.time.ticks[0],
        tick_decimals=-reading.time.exponent,
    )


def _plan_all(recorded: RecordedTrace, window: Window) -> tuple[Thermocouple, ...]:
    """Ask for every channel there is, and for one of each limit that no channel shows.

    A limit that nobody measured is then no limit that was kept.
    """
    there = {channel.role for channel in recorded.channels}
    unmeasured = {
        limit.roles[0] for limit in window.limits if limit.roles and there.isdisjoint(limit.roles)
    }
    asked = [(one.name, one.role, one.designator) for one in recorded.channels]
    asked += [(f"no {role.words}", role, None) for role in ChannelRole if role in unmeasured]
    return tuple(
        Thermocouple(
            channel=name,
            role=role,
            designator=(designator or "any") if role is ChannelRole.ADJACENT else "",
            required=True,
        )
        for name, role, designator in asked
    )


def _compute_more(
    recorded: RecordedTrace, channel: RecordedChannel, asked: Asked, found: ChannelAnalysis
) -> MoreFigures:
    """Tell the times that were asked for; slopes are the same whatever is added to readings."""
    trace = read_trace(recorded.time_s, channel.temperature_c())
    weighed = found.times_above_uncertainty or (None,) * len(found.times_above)
    return MoreFigures(
        tuple(
            {"threshold_c": above_c, **describe_outcome(above)}
            if isinstance(above, CannotSay)
            else describe_time_above(above, uncertainty)
            for above_c, above, uncertainty in zip(
                asked.times_above_c, found.times_above, weighed, strict=True
            )
        ),
        tuple((over_s, *compute_largest_ramps(trace, over_s)) for over_s in asked.ramp_windows_s),
    )
