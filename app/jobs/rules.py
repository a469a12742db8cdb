"""The states of jobs, steps and runs, and the one table of what leads where."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from app.accounts.permissions import Action
from app.core.refusals import Conflict


class JobState(StrEnum):
    """Where a job stands."""

    OPEN = "open"
    CLEARED = "cleared"
    IN_WORK = "in work"
    CLOSED = "closed"


class Outcome(StrEnum):
    """How a job ended."""

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    SCRAPPED = "scrapped"
    CANCELLED = "cancelled"


class StepKind(StrEnum):
    """The lines of a work card, in the order of the work."""

    REMOVE = "remove"
    DRESS = "dress"
    DEPOSIT = "deposit"
    PLACE = "place"
    REFLOW = "reflow"
    CLEAN = "clean"
    INSPECT = "inspect"


class EntryKind(StrEnum):
    """What an entry on a line says."""

    DONE = "done"
    SKIPPED = "skipped"
    CORRECTION = "correction"


class RunState(StrEnum):
    """Where a run stands."""

    RECORDING = "recording"
    COMPLETE = "complete"
    ABORTED = "aborted"


class JobMove(StrEnum):
    """What moves a job from one state to the next."""

    CLEAR = "clear"
    START = "start"
    CLOSE = "close"
    CANCEL = "cancel"


class MoveNotAllowed(Conflict):
    """The job's state does not allow this."""

    code = "jobs.move_not_allowed"


JOB_MOVES: Final[Mapping[tuple[JobState, JobMove], tuple[JobState, Action]]] = {
    (JobState.OPEN, JobMove.CLEAR): (JobState.CLEARED, Action.JOBS_WORK),
    (JobState.OPEN, JobMove.CANCEL): (JobState.CLOSED, Action.JOBS_CLOSE),
    (JobState.CLEARED, JobMove.CLEAR): (JobState.CLEARED, Action.JOBS_WORK),
    (JobState.CLEARED, JobMove.START): (JobState.IN_WORK, Action.JOBS_WORK),
    (JobState.CLEARED, JobMove.CANCEL): (JobState.CLOSED, Action.JOBS_CLOSE),
    (JobState.IN_WORK, JobMove.START): (JobState.IN_WORK, Action.JOBS_WORK),
    (JobState.IN_WORK, JobMove.CLOSE): (JobState.CLOSED, Action.JOBS_CLOSE),
}


def get_next_state(state: JobState, move: JobMove) -> JobState:
    """Return where a move leads; MoveNotAllowed when the state has no such move."""
    try:
        return JOB_MOVES[state, move][0]
    except KeyError:
        raise MoveNotAllowed(f"A job that is {state} cannot {move}.") from None
