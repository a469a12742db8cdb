"""How a channel of a run answers a step: which stretch, by which methods, and whether it holds."""

from dataclasses import dataclass
from typing import Final

from app.core.refusals import Unacceptable
from app.jobs.comparison_runs import ChannelNotThere
from app.numerics.step_judgement import StepJudgement, judge_step
from app.numerics.step_stretch import find_steepest_stretch
from app.numerics.trace import read_trace
from app.numerics.values import CannotSay
from app.traces.queries import RecordedChannel, RecordedTrace


class StretchUnusable(Unacceptable):
    """The stretch asked for is empty or not in the trace."""

    code = "jobs.stretch_unusable"


@dataclass(frozen=True)
class Method:
    """How a number is computed, and who says so."""

    name: str
    formula: str
    source: str


LEAST_SQUARES: Final = Method(
    "Least squares",
    "T(t) = T₀ before θ and T₀ + ΔT · (1 − e^(−(t − θ) / τ)) after it, t from the start of the "
    "stretch: the ΔT, τ and θ with the least sum of squares of readings minus curve. T₀ is the "
    "first reading; every reading weighs the same.",
    "Levenberg and Marquardt's method with ΔT projected out, after Golub and Pereyra, SIAM J. "
    "Numer. Anal. 10, 1973 (from memory; confirm against your copy)",
)
TWO_POINTS: Final = Method(
    "Two points",
    "τ = 1.5 · (t₆₃ − t₂₈), θ = t₆₃ − τ: t₂₈ and t₆₃ are the first moments at 1 − e^(−1/3) = "
    "28.3 % and 1 − e^(−1) = 63.2 % of the way from the first reading to the mean of the "
    "stretch's last tenth.",
    "Marlin, Process Control, chapter 6 (from memory; confirm against your copy); the fractions "
    "exact, not rounded",
)


@dataclass(frozen=True, eq=False)
class StepResponse:
    """A channel's stretch and what was found in it.

    `is_found`: the stretch was not given but is the steepest one. `judgement` is None where no
    stretch was given and none could be found, for `no_stretch`'s reason. `left_out` says why the
    run's own figures were made without the channel, if they were.
    """

    channel: RecordedChannel
    from_s: float
    to_s: float
    is_found: bool
    judgement: StepJudgement | None
    no_stretch: str
    left_out: str

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why there are no numbers; empty when there are."""
        return (self.no_stretch,) if self.judgement is None else self.judgement.reasons


def find_response(
    recorded: RecordedTrace,
    *,
    channel: str,
    from_s: float | None,
    to_s: float | None,
    left_out: str = "",
) -> StepResponse:
    """Return the answer to a step in a stretch (s) of a channel; None is the steepest's own end.

    Raises ChannelNotThere, and StretchUnusable for a stretch that is empty or not in the trace.
    """
    named = next((one for one in recorded.channels if one.name == channel), None)
    if named is None:
        names = ", ".join(one.name for one in recorded.channels)
        raise ChannelNotThere(
            f"The run has no channel of this name; it has {names}.", field="channel"
        )
    trace = read_trace(recorded.time_s, named.temperature_c())
    found = find_steepest_stretch(trace)
    ends_at_s = float(recorded.time_s[-1])
    if isinstance(found, CannotSay) and (from_s is None or to_s is None):
        return StepResponse(
            named,
            0.0,
            ends_at_s,
            is_found=True,
            judgement=None,
            no_stretch=found.reason,
            left_out=left_out,
        )
    begin = from_s if from_s is not None else 0.0
    end = to_s if to_s is not None else ends_at_s
    if not isinstance(found, CannotSay):
        # An end alone moves within what was found; where it lies outside, the trace's end counts.
        if from_s is None and found.from_s < end:
            begin = found.from_s
        if to_s is None and found.to_s > begin:
            end = found.to_s
    if begin >= ends_at_s:
        raise StretchUnusable(
            f"The trace ends at {ends_at_s:.1f} s; nothing is there from {begin:g} s on.",
            field="from",
        )
    if end <= begin:
        raise StretchUnusable(f"Must be more than from, {begin:g} s; it is {end:g} s.", field="to")
    end = min(end, ends_at_s)
    return StepResponse(
        named,
        begin,
        end,
        from_s is None and to_s is None,
        judge_step(trace, from_s=begin, to_s=end),
        "",
        left_out,
    )


def choose_response_channel(recorded: RecordedTrace) -> str:
    """Return the channel to begin with: the first joint, or else the first."""
    channels = recorded.channels
    return next((one.name for one in channels if one.role.is_joint), channels[0].name)
