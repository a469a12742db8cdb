"""Lays runs over each other: moved in time by one channel, metric by metric beside each other."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from app.jobs.comparison_envelope import (
    ChannelEnvelope,
    EarlierRun,
    EnvelopeSet,
    HeldChannel,
    build_envelopes,
    hold_channels,
)
from app.jobs.figures import CHANNEL_FIGURES, RunFigures, analyse_run, spell_figure_name
from app.jobs.rules import StepKind
from app.numerics.alignment import (
    BestShift,
    find_best_shift,
    find_shift_to_liquidus,
    find_shift_to_start,
    shift_trace,
)
from app.numerics.crossings import TimeAbove
from app.numerics.differences import compute_difference
from app.numerics.trace import Trace, read_trace
from app.numerics.values import CannotSay, NotReached, Outcome
from app.plant.measuring import MeasuringChain
from app.recipes.body.recipe import RecipeBody
from app.traces.queries import RecordedChannel, RecordedTrace


class Alignment(StrEnum):
    """What is laid over each other."""

    START = "start"
    LIQUIDUS = "liquidus"
    BEST = "best"

    @property
    def words(self) -> str:
        """The alignment as a person says it."""
        return _ALIGNMENT_WORDS[self]

    @property
    def zero_words(self) -> str:
        """What the aligned time is counted from."""
        return "crossing of the liquidus" if self is Alignment.LIQUIDUS else "start"


_ALIGNMENT_WORDS: Final = {
    Alignment.START: "start of the recording",
    Alignment.LIQUIDUS: "first crossing of the liquidus",
    Alignment.BEST: "best fit to the first run",
}


@dataclass(frozen=True, eq=False)
class Candidate:
    """A run with its samples and the recipe that it followed.

    `left_out` says of a channel why the run's own figures were made without it; `chain` is what
    they were measured with, None where it was only assumed, `lifted_at_s` when the part was lifted.
    """

    run_id: int
    label: str
    body: RecipeBody
    recorded: RecordedTrace
    findings: Sequence[Mapping[str, Any]]
    step: StepKind
    left_out: Mapping[str, str]
    chain: MeasuringChain | None
    lifted_at_s: float | None


@dataclass(frozen=True, eq=False)
class Placed:
    """A run moved in time by one of its channels.

    `channel` is None where it has none to compare, `trace` too where it cannot be aligned; `note`
    says why. `shift_s` was added to its times; `rms_k` remains to the first run at the best fit.
    """

    channel: RecordedChannel | None
    trace: Trace | None
    shift_s: float = 0.0
    rms_k: float | None = None
    note: str = ""


@dataclass(frozen=True, eq=False)
class ComparedRun:
    """A run as it lies in the comparison, with its figures and its departures."""

    candidate: Candidate
    placed: Placed
    figures: RunFigures
    held: tuple[HeldChannel, ...]

    @property
    def channel(self) -> str | None:
        """The run's own name for the compared channel; None where it has none."""
        return self.placed.channel.name if self.placed.channel is not None else None


@dataclass(frozen=True)
class ComparedFigure:
    """One metric of every run, and how much more it is than the first run's.

    None stands for a run whose channel was left out.
    """

    name: str
    outcomes: tuple[Outcome | None, ...]
    differences: tuple[Outcome | None, ...]


@dataclass(frozen=True, eq=False)
class Comparison:
    """Runs over each other by one channel, and the envelopes of accepted ones."""

    channel: str
    alignment: Alignment
    runs: tuple[ComparedRun, ...]
    figures: tuple[ComparedFigure, ...]
    envelopes: EnvelopeSet

    @property
    def envelope(self) -> ChannelEnvelope:
        """The envelope of the compared channel."""
        return self.envelopes.channels[self.channel]

    @property
    def liquidus_c(self) -> float:
        """The liquidus of the first run's recipe, in °C."""
        return self.runs[0].candidate.body.window.liquidus_c


def compare_runs(
    candidates: Sequence[Candidate],
    *,
    channel: str,
    alignment: Alignment,
    earlier: Sequence[Candidate],
    wanted: int,
    is_cut: bool = False,
) -> Comparison:
    """Compare runs by a channel of the first one; the envelope is of the `earlier` ones.

    Another run's channel of that name is taken, or else its first one at the same place. Times
    are then counted from what is aligned; a run's other channels move with it. `wanted` is how
    many earlier runs were asked for, `is_cut` says that more are there than could be read.
    """
    first = candidates[0]
    named = get_channel(first, channel)
    reference = place_run(first, named, alignment, first=first, reference=None)
    placed = [reference] + [
        place_run(one, named, alignment, first=first, reference=reference.trace)
        for one in candidates[1:]
    ]
    envelopes = gather_envelopes(
        first,
        earlier,
        named,
        alignment,
        reference=reference.trace,
        wanted=wanted,
        is_cut=is_cut,
    )
    runs = tuple(
        ComparedRun(candidate, one, analyse(candidate), hold_run(candidate, one, first, envelopes))
        for candidate, one in zip(candidates, placed, strict=True)
    )
    return Comparison(channel, alignment, runs, list_compared(runs), envelopes)


def analyse(candidate: Candidate) -> RunFigures:
    """Return a run's figures, computed now from its samples by its own recipe and chain."""
    return analyse_run(
        candidate.body,
        candidate.recorded,
        findings=candidate.findings,
        step=candidate.step,
        chain=candidate.chain,
        lifted_at_s=candidate.lifted_at_s,
    )


def get_channel(candidate: Candidate, name: str) -> RecordedChannel:
    """Return a run's channel by its own name; StopIteration where there is none."""
    return next(one for one in candidate.recorded.channels if one.name == name)


def place_run(
    candidate: Candidate,
    named: RecordedChannel,
    alignment: Alignment,
    *,
    first: Candidate,
    reference: Trace | None,
) -> Placed:
    """Move a run in time by the channel that is `named` in the first one."""
    channel = find_channel(candidate.recorded.channels, named)
    if channel is None:
        return Placed(None, None, note=f"has no channel {named.name} and none at that place")
    trace = read_trace(candidate.recorded.time_s, channel.temperature_c())
    if alignment is Alignment.BEST and reference is not None:
        best = find_best_shift(trace, reference)
        if isinstance(best, CannotSay):
            return Placed(channel, None, note=best.reason)
        note = "a better fit may lie further out" if best.is_at_limit else ""
        return _move(channel, trace, best, note)
    shift = (
        find_shift_to_liquidus(trace, first.body.window.liquidus_c)
        if alignment is Alignment.LIQUIDUS
        else find_shift_to_start(trace)
    )
    if isinstance(shift, NotReached | CannotSay):
        return Placed(channel, None, note=shift.reason)
    return Placed(channel, shift_trace(trace, shift.value), shift.value)


def _move(channel: RecordedChannel, trace: Trace, best: BestShift, note: str) -> Placed:
    return Placed(
        channel, shift_trace(trace, best.shift_s), best.shift_s, rms_k=best.rms_k, note=note
    )


def find_channel(
    channels: Iterable[RecordedChannel], like: RecordedChannel
) -> RecordedChannel | None:
    """Return the channel of the same name, else the first at the same place, else None."""
    found = list(channels)
    return next(
        (one for one in found if one.name == like.name),
        next(
            (o for o in found if (o.role, o.designator) == (like.role, like.designator)),
            None,
        ),
    )


def gather_envelopes(
    first: Candidate,
    earlier: Sequence[Candidate],
    named: RecordedChannel,
    alignment: Alignment,
    *,
    reference: Trace | None,
    wanted: int,
    is_cut: bool,
) -> EnvelopeSet:
    """Return the envelope of every channel of the first run, of the earlier runs moved as it is."""
    moved = []
    for one in earlier:
        placed = place_run(one, named, alignment, first=first, reference=reference)
        traces, unusable = _move_channels(one, placed, first)
        note = "" if placed.trace is not None else placed.note
        moved.append(EarlierRun(one.run_id, traces, unusable, note))
    names = [channel.name for channel in first.recorded.channels]
    return build_envelopes(names, moved, wanted=wanted, is_cut=is_cut)


def hold_run(
    candidate: Candidate, placed: Placed, first: Candidate, envelopes: EnvelopeSet
) -> tuple[HeldChannel, ...]:
    """Hold every channel of a placed run against the envelopes; nothing where it has no place."""
    if placed.trace is None:
        return ()
    return hold_channels(*_move_channels(candidate, placed, first), envelopes)


def _move_channels(
    candidate: Candidate, placed: Placed, first: Candidate
) -> tuple[dict[str, Trace], dict[str, str]]:
    """Return a run's usable channels, moved, by the first run's names; and why others are not."""
    if placed.trace is None:
        return {}, {}
    traces: dict[str, Trace] = {}
    unusable: dict[str, str] = {}
    for named in first.recorded.channels:
        channel = find_channel(candidate.recorded.channels, named)
        if channel is None:
            unusable[named.name] = "there is no such channel"
        elif channel.name in candidate.left_out:
            unusable[named.name] = candidate.left_out[channel.name]
        else:
            moments = candidate.recorded.time_s + placed.shift_s
            traces[named.name] = read_trace(moments, channel.temperature_c())
    return traces, unusable


def list_compared(runs: Sequence[ComparedRun]) -> tuple[ComparedFigure, ...]:
    """Return every metric of the compared channels, then the site's."""
    times_s = {one.metrics.ramp_window_s for run in runs for one in run.figures.channels}
    rows: dict[str, list[Outcome | None]] = {
        spell_figure_name(name, over_s=times_s): [_find_outcome(run, name) for run in runs]
        for name in CHANNEL_FIGURES
    }
    rows["Spread between joints"] = [run.figures.site.spread for run in runs]
    rows["All joints above liquidus, from"] = [run.figures.site.all_above_liquidus for run in runs]
    return tuple(
        ComparedFigure(label, tuple(outcomes), _subtract(outcomes))
        for label, outcomes in rows.items()
        if any(outcome is not None for outcome in outcomes)
    )


def _subtract(outcomes: Sequence[Outcome | None]) -> tuple[Outcome | None, ...]:
    first = outcomes[0]
    return tuple(
        None if one is None or first is None else compute_difference(one, first)
        for one in outcomes[1:]
    )


def _find_outcome(run: ComparedRun, name: str) -> Outcome | None:
    for reading in run.figures.channels:
        if reading.name == run.channel:
            found = getattr(reading.metrics, name)
            outcome: Outcome | None = found.total if isinstance(found, TimeAbove) else found
            return outcome
    return None
