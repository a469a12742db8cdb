"""The states of jobs, steps and runs, and the one table of what leads where."""

import re
from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Final

from app.accounts.permissions import Action
from app.core.refusals import Conflict, Forbidden, Unacceptable, Unknown

_JOB_NUMBER: Final = re.compile(r"[Jj]-?0*([1-9][0-9]{0,8})")


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


_WHY_NOT: Final[Mapping[JobMove, str]] = {
    JobMove.CLEAR: "This job is {state}; a run checks everything again by itself.",
    JobMove.START: "This job is {state}: clear it first, the page says what is missing.",
    JobMove.CLOSE: "This job is {state}, and nothing was done yet; cancel it instead.",
    JobMove.CANCEL: "This job is {state}; close it as accepted, rejected or scrapped instead.",
}


def get_next_state(state: JobState, move: JobMove) -> JobState:
    """Return where a move leads; MoveNotAllowed when the state has no such move."""
    try:
        return JOB_MOVES[state, move][0]
    except KeyError:
        if state is JobState.CLOSED:
            raise MoveNotAllowed("The job is closed; nothing about it can be changed.") from None
        raise MoveNotAllowed(_WHY_NOT[move].format(state=state)) from None


# The lines during which the site is heated with the nozzle; each needs a run.
HEATED: Final = frozenset({StepKind.REMOVE, StepKind.REFLOW})


class JobUnknown(Unknown):
    """No job has this number."""

    code = "jobs.unknown"


class StepUnknown(Unknown):
    """The job has no line with this number."""

    code = "jobs.step_unknown"


class EntryUnknown(Unknown):
    """The job has no entry with this number."""

    code = "jobs.entry_unknown"


class RunUnknown(Unknown):
    """No run has this number."""

    code = "jobs.run_unknown"


class SiteBusy(Conflict):
    """Another open job works on the site."""

    code = "jobs.site_busy"


class RecipeDoesNotFit(Unacceptable):
    """The recipe is not for this site."""

    code = "jobs.recipe_does_not_fit"


class RecipeNotPublished(Conflict):
    """Only a published revision can be worked with."""

    code = "jobs.recipe_not_published"


class BoardScrapped(Conflict):
    """The board is scrapped."""

    code = "jobs.board_scrapped"


class JobHeld(Conflict):
    """The job is on hold."""

    code = "jobs.held"


class JobNotHeld(Conflict):
    """There is no hold to lift."""

    code = "jobs.not_held"


class NotClear(Conflict):
    """Something stops the heat."""

    code = "jobs.not_clear"


class NotCleared(Conflict):
    """The job has not been cleared yet."""

    code = "jobs.not_cleared"


class OutOfTurn(Conflict):
    """An earlier line is neither signed nor skipped."""

    code = "jobs.out_of_turn"


class AlreadyWritten(Conflict):
    """The line has its entry; it can only be corrected."""

    code = "jobs.already_written"


class AlreadyCorrected(Conflict):
    """The entry was corrected before; the newest one can be corrected."""

    code = "jobs.already_corrected"


class ReasonMissing(Unacceptable):
    """A reason must be given."""

    code = "jobs.reason_missing"


class NotHeated(Conflict):
    """The line is no heating, or has no complete run yet."""

    code = "jobs.not_heated"


class RunOver(Conflict):
    """The run is over."""

    code = "jobs.run_over"


class RunRecording(Conflict):
    """A run of this site is still being recorded."""

    code = "jobs.run_recording"


class RunNotComplete(Conflict):
    """Only a complete run can be set aside."""

    code = "jobs.run_not_complete"


class RunSetAside(Conflict):
    """The run was set aside; it does not count."""

    code = "jobs.run_set_aside"


class RunCounts(Conflict):
    """The run counts; its file is read again once it is set aside."""

    code = "jobs.run_counts"


class RunMisplaced(Unacceptable):
    """The run is none of the line's complete ones."""

    code = "jobs.run_misplaced"


class RunSigned(Forbidden):
    """The run's line is signed; only an engineer sets the run aside now."""

    code = "jobs.run_signed"


class NoTrace(Conflict):
    """The run has no trace, because it is recording or was aborted."""

    code = "jobs.no_trace"


class TraceUnusable(Unacceptable):
    """Nothing can be computed from the trace."""

    code = "jobs.trace_unusable"


class LiftMisplaced(Unacceptable):
    """A part is lifted at a removal alone, while its trace is recorded."""

    code = "jobs.lift_misplaced"


class InspectionMisplaced(Unacceptable):
    """Only the last line says what an inspection found."""

    code = "jobs.inspection_misplaced"


class LinesOpen(Conflict):
    """Lines of the work card are still open."""

    code = "jobs.lines_open"


class OutcomeContradicted(Conflict):
    """The outcome does not follow from what was recorded."""

    code = "jobs.outcome_contradicted"


def list_steps(*, with_deposit: bool, with_cleaning: bool) -> tuple[StepKind, ...]:
    """Return the lines of a site's work card, in order, for what its recipe asks."""
    left_out = {
        *(() if with_deposit else (StepKind.DEPOSIT,)),
        *(() if with_cleaning else (StepKind.CLEAN,)),
    }
    return tuple(kind for kind in StepKind if kind not in left_out)


def check_reason(reason: str, what: str, *, field: str = "reason") -> None:
    """Refuse with ReasonMissing unless something was said."""
    if not reason:
        raise ReasonMissing(f"Say why {what}.", field=field)


def check_lift(lifted_at_s: float | None, kind: StepKind, *, duration_s: float) -> None:
    """Refuse with LiftMisplaced a lift (s since the first sample) where no part is lifted."""
    if lifted_at_s is None:
        return
    if kind is not StepKind.REMOVE:
        raise LiftMisplaced(
            f"Nothing is lifted at “{kind}”; only a removal takes a moment of the lift.",
            field="lifted_at_s",
        )
    if lifted_at_s > duration_s:
        raise LiftMisplaced(
            f"The trace ends at {duration_s:.1f} s; the part cannot be lifted at {lifted_at_s:g} "
            "s of it.",
            field="lifted_at_s",
        )


def check_turn(kind: StepKind, earlier: Iterable[tuple[StepKind, bool]]) -> None:
    """Refuse with OutOfTurn unless every earlier line of the site has an entry.

    `earlier` gives the lines before this one with whether they are written.
    """
    for before, is_written in earlier:
        if not is_written:
            raise OutOfTurn(f"“{before}” comes before “{kind}”: sign it, or skip it with a reason.")


def spell_job(job_id: int) -> str:
    """Spell a job's number as people say it: `J-00042`."""
    return f"J-{job_id:05d}"


def parse_job(text: str) -> int | None:
    """Return the job number in a typed or scanned text, or None: `J-00042`, `j42`."""
    found = _JOB_NUMBER.fullmatch(text.strip())
    return int(found[1]) if found else None
