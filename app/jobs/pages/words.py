"""Jobs, lines and verdicts in the words and shapes of a page."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from app.jobs.clearance import Signal
from app.jobs.rules import JobState, Outcome, RunState, StepKind
from app.recipes.verdict import VerdictState


@dataclass(frozen=True)
class StateWords:
    """A state as a shape and a word."""

    shape: str
    word: str


def spell_use(verdict: str | None, window_use_pct: float | None) -> str:
    """Spell how much of its window a run used; empty where the verdict cannot say."""
    if window_use_pct is None or verdict == VerdictState.CANNOT_SAY:
        return ""
    return f"{window_use_pct:.0f} %"


@dataclass(frozen=True)
class Link:
    """Words that lead somewhere."""

    href: str
    text: str


STEP_WORDS: Final[Mapping[StepKind, str]] = {
    StepKind.REMOVE: "Remove the part",
    StepKind.DRESS: "Dress the site",
    StepKind.DEPOSIT: "Put down flux or paste",
    StepKind.PLACE: "Place the new part",
    StepKind.REFLOW: "Reflow",
    StepKind.CLEAN: "Clean",
    StepKind.INSPECT: "Inspect",
}
_STATES: Final = {
    JobState.OPEN: StateWords("plain", "open, not cleared"),
    JobState.CLEARED: StateWords("go", "cleared"),
    JobState.IN_WORK: StateWords("go", "in work"),
}
_OUTCOMES: Final = {
    Outcome.ACCEPTED: StateWords("go", "accepted"),
    Outcome.REJECTED: StateWords("stop", "rejected"),
    Outcome.SCRAPPED: StateWords("stop", "scrapped"),
    Outcome.CANCELLED: StateWords("plain", "cancelled"),
}
_VERDICTS: Final = {
    VerdictState.INSIDE: StateWords("go", "inside the window"),
    VerdictState.OUTSIDE: StateWords("stop", "outside the window"),
    VerdictState.TOO_CLOSE: StateWords("caution", "too close to call"),
    VerdictState.CANNOT_SAY: StateWords("caution", "cannot say"),
}
SIGNALS: Final[Mapping[str, StateWords]] = {
    str(Signal.GO): StateWords("go", "go"),
    str(Signal.CAUTION): StateWords("caution", "caution"),
    str(Signal.STOP): StateWords("stop", "stop"),
}


def word_job(state: JobState, outcome: Outcome | None, *, is_held: bool) -> StateWords:
    """Return where a job stands; a hold hides everything else."""
    if is_held:
        return StateWords("stop", "on hold")
    return _OUTCOMES[outcome] if outcome is not None else _STATES[state]


def word_verdict(verdict: str | None) -> StateWords:
    """Return a verdict; a run without one was not held against its window."""
    return _VERDICTS[VerdictState(verdict)] if verdict else StateWords("plain", "no verdict")


def word_run(state: RunState, verdict: str | None, *, is_set_aside: bool = False) -> StateWords:
    """Return where a run stands, and its verdict once it is complete."""
    if is_set_aside:
        return StateWords("plain", "does not count")
    if state is RunState.RECORDING:
        return StateWords("caution", "file not read yet")
    if state is RunState.ABORTED:
        return StateWords("stop", "aborted")
    return word_verdict(verdict)


def word_next(
    state: JobState, waiting: tuple[str, StepKind] | None, *, is_held: bool, with_site: bool = True
) -> str:
    """Say what is to be done next with a job."""
    if state is JobState.CLOSED:
        return ""
    if is_held:
        return "An engineer lifts the hold"
    if state is JobState.OPEN:
        return "Clear it for heat"
    if waiting is None:
        return "Close the job"
    designator, kind = waiting
    return f"{designator}: {STEP_WORDS[kind]}" if with_site else STEP_WORDS[kind]
