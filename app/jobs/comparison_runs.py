"""Finds the runs that can be laid beside another, and loads them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.boards.tables import Board, Site
from app.core.refusals import Conflict, TooLarge, Unacceptable
from app.jobs.comparison import Candidate
from app.jobs.figures import find_kept_chain, find_kept_lift_s
from app.jobs.queries import get_run
from app.jobs.rules import Outcome, RunState, StepKind
from app.jobs.run_samples import load_run_samples
from app.jobs.tables import Job, JobSite, JobStep, Run
from app.recipes.queries import get_body

MOST_PEERS: Final = 10
# Rows times channels of all runs together, some hundred times a usual comparison.
MOST_READINGS: Final = 4_000_000


class RunWithoutTrace(Conflict):
    """A run that is not complete has nothing to compare."""

    code = "jobs.run_without_trace"


class ChannelNotThere(Unacceptable):
    """The run has no channel of this name."""

    code = "jobs.channel_not_there"


class ComparisonTooLarge(TooLarge):
    """The runs together have more readings than are compared at once."""

    code = "jobs.comparison_too_large"


def list_peers(
    session: Session,
    run: Run,
    kind: StepKind,
    *,
    accepted_only: bool = False,
    without: Sequence[int] = (),
    most: int = MOST_PEERS,
) -> Sequence[Run]:
    """Return the last `most` other complete runs of the same recipe revision, line and bench.

    Runs that were set aside are not among them.
    `accepted_only` keeps those whose job was closed as accepted; `without` leaves runs out.
    """
    found = (
        select(Run)
        .join(JobStep, JobStep.id == Run.step_id)
        .join(JobSite, JobSite.id == Run.job_site_id)
        .join(Job, Job.id == JobSite.job_id)
        .where(
            Run.recipe_revision_id == run.recipe_revision_id,
            Run.bench_id == run.bench_id,
            Run.state == RunState.COMPLETE,
            Run.set_aside_at.is_(None),
            JobStep.kind == kind,
            Run.id.not_in({run.id, *without}),
        )
        .options(
            joinedload(Run.trace),
            joinedload(Run.job_site).joinedload(JobSite.site).joinedload(Site.board),
        )
        .order_by(Run.started_at.desc(), Run.id.desc())
        .limit(most)
    )
    if accepted_only:
        found = found.where(Job.outcome == Outcome.ACCEPTED)
    return session.scalars(found).all()


def load_candidate(session: Session, run: Run) -> Candidate:
    """Return a run of get_run with its samples; RunWithoutTrace where it has none."""
    if run.trace is None:
        raise RunWithoutTrace(
            f"Run {run.id} is {run.state}; it has no trace to compare.", field="run"
        )
    return Candidate(
        run_id=run.id,
        label=f"run {run.id}",
        body=get_body(run.job_site.revision),
        recorded=load_run_samples(session, run),
        findings=run.trace.reading["findings"],
        step=get_step_of(session, run).kind,
        left_out=list_left_out(run),
        chain=find_kept_chain(run.figures),
        lifted_at_s=find_kept_lift_s(run.figures),
    )


def load_candidates(session: Session, runs: Sequence[Run], *, most: int) -> list[Candidate]:
    """Return runs with their samples; ComparisonTooLarge above `most` readings together."""
    total = 0
    for run in runs:
        if run.trace is None:
            raise RunWithoutTrace(
                f"Run {run.id} is {run.state}; it has no trace to compare.", field="run"
            )
        total += count_readings(run)
    if total > most:
        raise ComparisonTooLarge(
            f"These runs have {total:,} readings together; at most {most:,} are compared at once.",
            field="run",
        )
    return [load_candidate(session, run) for run in runs]


@dataclass(frozen=True, eq=False)
class EarlierRuns:
    """Accepted runs, newest first; `is_cut`: more are there, but too long to be read beside."""

    runs: tuple[Candidate, ...]
    is_cut: bool


def load_earlier(
    session: Session, run: Run, *, last: int, most: int, loaded: Sequence[Candidate] = ()
) -> EarlierRuns:
    """Return the last other accepted runs against which a run is held.

    Those that are `loaded` already are taken from there; of the others, those that would bring the
    readings above `most` are not among them.
    """
    kind = get_step_of(session, run).kind
    earlier: list[Candidate] = []
    known = {one.run_id: one for one in loaded}
    for one in list_peers(session, run, kind, accepted_only=True, most=last):
        if one.id in known:
            earlier.append(known[one.id])
            continue
        most -= count_readings(one)
        if most < 0:
            return EarlierRuns(tuple(earlier), is_cut=True)
        earlier.append(load_candidate(session, get_run(session, one.id)))
    return EarlierRuns(tuple(earlier), is_cut=False)


def count_readings(run: Run) -> int:
    """Return how many readings a run's trace has, on all channels together."""
    return run.trace.rows * len(run.trace.channels) if run.trace else 0


def get_step_of(session: Session, run: Run) -> JobStep:
    """Return the line of the work card that a run belongs to."""
    return session.get_one(JobStep, run.step_id)


def map_serials(session: Session, runs: Sequence[Run]) -> dict[int, str]:
    """Return run id → serial of its board, for runs of get_run."""
    ids = {run.job_site.site.board_id for run in runs}
    rows = session.execute(select(Board.id, Board.serial).where(Board.id.in_(ids))).all()
    serials = {row.id: row.serial for row in rows}
    return {run.id: serials[run.job_site.site.board_id] for run in runs}


def list_left_out(run: Run) -> Mapping[str, str]:
    """Return channel → why the figures kept with a run were made without it."""
    kept = (run.figures or {}).get("faults", {})
    return {str(name): str(why) for name, why in kept.items()}


def find_left_out(run: Run, channel: str) -> str:
    """Return why the figures kept with a run were made without a channel; empty if they were."""
    return list_left_out(run).get(channel, "")
