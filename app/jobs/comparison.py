"""Lays runs over each other: one channel of each, moved in time, against what earlier runs did."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from app.jobs.drawing import DrawnChannel, draw_channels
from app.jobs.figures import CHANNEL_FIGURES, RunFigures, analyse_run, list_faults
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
from app.numerics.envelope import Departures, Envelope, compute_envelope, find_departures
from app.numerics.trace import Trace, read_trace
from app.numerics.values import CannotSay, Measured, NotReached, Outcome
from app.recipes.body.recipe import RecipeBody
from app.traces.queries import RecordedChannel, RecordedTrace

# A run leaves the envelope when it is further out than two thermocouples of type K, class 2, may
# differ from each other's middle (IEC 60584-1, ±2.5 K up to 333 °C, from memory), for longer than a
# reading that failed. The time is our own rule.
MARGIN_K: Final = 2.5
SHORTEST_S: Final = 2.0
LINE_POINTS: Final = 600


class Alignment(StrEnum):
    """What is laid over each other."""

    START = "start"
    LIQUIDUS = "liquidus"
    BEST = "best"

    @property
    def words(self) -> str:
        """The alignment as a person says it."""
        return _ALIGNMENT_WORDS[self]


_ALIGNMENT_WORDS: Final = {
    Alignment.START: "start of the recording",
    Alignment.LIQUIDUS: "first crossing of the liquidus",
    Alignment.BEST: "best fit to the first run",
}


@dataclass(frozen=True, eq=False)
class Candidate:
    """A run with its samples and the recipe that it followed."""

    run_id: int
    label: str
    body: RecipeBody
    recorded: RecordedTrace
    findings: Sequence[Mapping[str, Any]]
    step: StepKind


@dataclass(frozen=True, eq=False)
class ComparedRun:
    """A run as it lies in the comparison.

    `channel` is None where it has none to compare, `line` too where it cannot be aligned; `note`
    says why. `shift_s` was added to its times; `rms_k` remains to the first run at the best fit.
    """

    candidate: Candidate
    channel: str | None
    line: DrawnChannel | None
    trace: Trace | None
    shift_s: float
    rms_k: float | None
    note: str
    figures: RunFigures
    departures: Departures | None


@dataclass(frozen=True)
class ComparedFigure:
    """One metric of every run, and how much more it is than the first run's."""

    name: str
    outcomes: tuple[Outcome | None, ...]
    differences: tuple[Outcome | None, ...]


@dataclass(frozen=True, eq=False)
class Comparison:
    """Runs over each other; `envelope_of` are the runs that the envelope is of."""

    channel: str
    alignment: Alignment
    runs: tuple[ComparedRun, ...]
    figures: tuple[ComparedFigure, ...]
    envelope: Envelope | CannotSay
    envelope_of: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class _Aligned:
    channel: RecordedChannel | None
    trace: Trace | None
    shift_s: float = 0.0
    rms_k: float | None = None
    note: str = ""


def compare_runs(
    candidates: Sequence[Candidate],
    *,
    channel: str,
    alignment: Alignment,
    earlier: Sequence[Candidate],
) -> Comparison:
    """Compare runs by a channel of the first one; the envelope is of the `earlier` ones.

    Another run's channel of that name is taken, or else its first one at the same place. Times
    are then counted from what is aligned.
    """
    first = candidates[0]
    named = next(one for one in first.recorded.channels if one.name == channel)
    reference = _align(first, named, alignment, first.body.window.liquidus_c, reference=None)
    liquidus_c = first.body.window.liquidus_c
    aligned = [reference] + [
        _align(one, named, alignment, liquidus_c, reference=reference.trace)
        for one in candidates[1:]
    ]
    behind: dict[int, Trace] = {}
    for one in earlier:
        found = _align(one, named, alignment, liquidus_c, reference=reference.trace)
        is_sound = found.channel and found.channel.name not in list_faults(
            one.recorded, one.findings
        )
        if found.trace is not None and is_sound:
            behind[one.run_id] = found.trace
    envelope = compute_envelope(list(behind.values()))
    runs = tuple(
        _place(candidate, one, envelope) for candidate, one in zip(candidates, aligned, strict=True)
    )
    return Comparison(channel, alignment, runs, list_compared(runs), envelope, tuple(behind))


def _align(
    candidate: Candidate,
    named: RecordedChannel,
    alignment: Alignment,
    liquidus_c: float,
    *,
    reference: Trace | None,
) -> _Aligned:
    channel = find_channel(candidate.recorded.channels, named)
    if channel is None:
        return _Aligned(None, None, note=f"has no channel {named.name} and none at that place")
    trace = read_trace(candidate.recorded.time_s, channel.temperature_c())
    if alignment is Alignment.BEST and reference is not None:
        best = find_best_shift(trace, reference)
        if isinstance(best, CannotSay):
            return _Aligned(channel, None, note=best.reason)
        note = "a better fit may lie further out" if best.is_at_limit else ""
        return _shifted(channel, trace, best, note)
    shift = (
        find_shift_to_liquidus(trace, liquidus_c)
        if alignment is Alignment.LIQUIDUS
        else find_shift_to_start(trace)
    )
    if isinstance(shift, NotReached | CannotSay):
        return _Aligned(channel, None, note=shift.reason)
    return _Aligned(channel, shift_trace(trace, shift.value), shift.value)


def _shifted(channel: RecordedChannel, trace: Trace, best: BestShift, note: str) -> _Aligned:
    return _Aligned(
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


def _place(candidate: Candidate, aligned: _Aligned, envelope: Envelope | CannotSay) -> ComparedRun:
    figures = analyse_run(
        candidate.body, candidate.recorded, findings=candidate.findings, step=candidate.step
    )
    line = departures = None
    if aligned.trace is not None and aligned.channel is not None:
        drawn = next(
            one
            for one in draw_channels(candidate.recorded, points=LINE_POINTS)
            if one.name == aligned.channel.name
        )
        line = DrawnChannel(
            drawn.name,
            drawn.role,
            drawn.designator,
            tuple(moment + aligned.shift_s for moment in drawn.time_s),
            drawn.temperature_c,
        )
        if isinstance(envelope, Envelope):
            found = find_departures(
                envelope, aligned.trace, margin_k=MARGIN_K, shortest_s=SHORTEST_S
            )
            departures = found if isinstance(found, Departures) else None
    return ComparedRun(
        candidate,
        aligned.channel.name if aligned.channel else None,
        line,
        aligned.trace,
        aligned.shift_s,
        aligned.rms_k,
        aligned.note,
        figures,
        departures,
    )


def list_compared(runs: Sequence[ComparedRun]) -> tuple[ComparedFigure, ...]:
    """Return every metric of the compared channels, then the site's spread.

    None stands where a run's channel was left out.
    """
    rows = {
        label: [_find_outcome(run, name) for run in runs] for name, label in CHANNEL_FIGURES.items()
    }
    rows["Spread between joints"] = [run.figures.site.spread for run in runs]
    return tuple(
        ComparedFigure(
            label,
            tuple(outcomes),
            tuple(
                None
                if not isinstance(one, Measured) or not isinstance(outcomes[0], Measured)
                else compute_difference(one, outcomes[0])
                for one in outcomes[1:]
            ),
        )
        for label, outcomes in rows.items()
        if any(outcome is not None for outcome in outcomes)
    )


def _find_outcome(run: ComparedRun, name: str) -> Outcome | None:
    for reading in run.figures.channels:
        if reading.name == run.channel:
            found = getattr(reading.metrics, name)
            outcome: Outcome | None = found.total if isinstance(found, TimeAbove) else found
            return outcome
    return None
