"""Reads jobs with all that hangs on them, in a fixed number of questions."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, aliased, contains_eager, joinedload

from app.boards.tables import Board, Placement, Site
from app.jobs.rules import (
    EntryUnknown,
    JobState,
    JobUnknown,
    NoTrace,
    RunState,
    RunUnknown,
    StepKind,
    StepUnknown,
)
from app.jobs.tables import Job, JobHold, JobSite, JobStep, Run, StepEntry
from app.recipes.queries import get_body, list_fitting
from app.recipes.rules import Fit, fits
from app.recipes.tables import RecipeRevision
from app.traces.tables import Trace


@dataclass(frozen=True)
class SiteCard:
    """One site of a job with its lines, what was written on them, and its runs."""

    job_site: JobSite
    steps: tuple[JobStep, ...]
    entries: dict[int, tuple[StepEntry, ...]]
    runs: tuple[Run, ...]

    @property
    def designator(self) -> str:
        """The site's reference designator."""
        return self.job_site.site.placement.designator

    def is_written(self, step: JobStep) -> bool:
        """Say whether a line is signed or skipped."""
        return bool(self.entries.get(step.id))

    def find_valid_entry(self, step: JobStep) -> StepEntry | None:
        """Return the newest entry of a line: the first one, or its last correction."""
        written = self.entries.get(step.id, ())
        return written[-1] if written else None

    def list_runs_of(self, step: JobStep) -> tuple[Run, ...]:
        """Return the runs of a heated line, oldest first."""
        return tuple(run for run in self.runs if run.step_id == step.id)

    def list_counting_runs(self, step: JobStep) -> tuple[Run, ...]:
        """Return the complete runs of a heated line that are not set aside, oldest first."""
        return tuple(run for run in self.list_runs_of(step) if run.counts)

    def find_run_of(self, step: JobStep) -> Run | None:
        """Return the run that counts for a line: the one it was signed with, or the newest.

        None where there is none, or where the one it was signed with was set aside since.
        """
        counting = self.list_counting_runs(step)
        entry = self.find_valid_entry(step)
        named = entry.values.get("run") if entry else None
        if named is not None:
            return next((run for run in counting if run.id == named), None)
        return counting[-1] if counting else None

    def has_lost_its_run(self, step: JobStep) -> bool:
        """Say whether a line has runs that were set aside, and none that counts."""
        runs = self.list_runs_of(step)
        return any(run.is_set_aside for run in runs) and not any(run.counts for run in runs)


@dataclass(frozen=True)
class WorkCard:
    """A job with its board, sites and holds."""

    job: Job
    sites: tuple[SiteCard, ...]
    holds: tuple[JobHold, ...]

    @property
    def open_hold(self) -> JobHold | None:
        """The hold that is on the job now, or None."""
        return next((hold for hold in self.holds if hold.lifted_at is None), None)

    @property
    def next_step(self) -> tuple[SiteCard, JobStep] | None:
        """The first line that is not written yet, or None."""
        return next(
            (
                (site, step)
                for site in self.sites
                for step in site.steps
                if not site.is_written(step)
            ),
            None,
        )


def get_job(session: Session, job_id: int, *, for_change: bool = False) -> Job:
    """Return a job with its board and assembly; JobUnknown if there is none.

    `for_change` makes other changes of the same job wait until this transaction ends.
    """
    if for_change:
        session.execute(select(Job.id).where(Job.id == job_id).with_for_update())
    job = session.scalar(
        select(Job)
        .where(Job.id == job_id)
        .options(joinedload(Job.board).joinedload(Board.assembly), joinedload(Job.bench))
        .execution_options(populate_existing=for_change)
    )
    if job is None:
        raise JobUnknown(f"There is no job number {job_id}.", field="job_id")
    return job


def load_card(session: Session, job: Job) -> WorkCard:
    """Return the whole work card of a job: five questions, however many lines it has."""
    job_sites = session.scalars(
        select(JobSite)
        .where(JobSite.job_id == job.id)
        .options(
            joinedload(JobSite.site).joinedload(Site.placement).joinedload(Placement.part),
            joinedload(JobSite.revision).joinedload(RecipeRevision.recipe),
        )
        .order_by(JobSite.id)
    ).all()
    ids = [job_site.id for job_site in job_sites]
    steps = session.scalars(
        select(JobStep).where(JobStep.job_site_id.in_(ids)).order_by(JobStep.ordinal)
    ).all()
    entries = session.scalars(
        select(StepEntry)
        .where(StepEntry.step_id.in_([step.id for step in steps]))
        .order_by(StepEntry.id)
    ).all()
    runs = session.scalars(
        select(Run)
        .where(Run.job_site_id.in_(ids))
        .options(joinedload(Run.bench), joinedload(Run.trace))
        .order_by(Run.id)
    ).all()
    holds = session.scalars(
        select(JobHold).where(JobHold.job_id == job.id).order_by(JobHold.id)
    ).all()
    by_step: dict[int, list[StepEntry]] = defaultdict(list)
    for entry in entries:
        by_step[entry.step_id].append(entry)
    sites = tuple(
        SiteCard(
            job_site,
            tuple(step for step in steps if step.job_site_id == job_site.id),
            {step_id: tuple(written) for step_id, written in by_step.items()},
            tuple(run for run in runs if run.job_site_id == job_site.id),
        )
        for job_site in job_sites
    )
    return WorkCard(job, sites, tuple(holds))


def get_step(card: WorkCard, step_id: int) -> tuple[SiteCard, JobStep]:
    """Return a line of a job and the site it belongs to; StepUnknown if it is not the job's."""
    for site in card.sites:
        for step in site.steps:
            if step.id == step_id:
                return site, step
    raise StepUnknown(f"This job has no line number {step_id}.", field="step_id")


def get_entry(site: SiteCard, step: JobStep, entry_id: int) -> StepEntry:
    """Return an entry of a line; EntryUnknown if it has none such."""
    for entry in site.entries.get(step.id, ()):
        if entry.id == entry_id:
            return entry
    raise EntryUnknown(f"This line has no entry number {entry_id}.", field="entry_id")


def get_run(session: Session, run_id: int) -> Run:
    """Return a run with its bench, trace, site and recipe; RunUnknown if there is none."""
    run = session.scalar(
        select(Run)
        .where(Run.id == run_id)
        .options(
            joinedload(Run.bench),
            joinedload(Run.trace),
            joinedload(Run.job_site).joinedload(JobSite.site).joinedload(Site.placement),
            joinedload(Run.job_site).joinedload(JobSite.revision).joinedload(RecipeRevision.recipe),
        )
    )
    if run is None:
        raise RunUnknown(f"There is no run number {run_id}.", field="run_id")
    return run


def load_place(session: Session, run: Run) -> tuple[WorkCard, SiteCard, JobStep]:
    """Return the card, the site and the line that a run belongs to."""
    card = load_card(session, get_job(session, run.job_site.job_id))
    return card, *get_step(card, run.step_id)


def get_trace_of(run: Run) -> Trace:
    """Return a run's trace; NoTrace when it has none."""
    if run.trace is None:
        raise NoTrace(f"This run is {run.state}; it has no trace.")
    return run.trace


def select_jobs(*, states: Sequence[JobState] = (), board_id: int | None = None) -> Select[Job]:
    """Return the select of jobs with their boards, for reading in pieces."""
    rows = (
        select(Job)
        .join(Job.board)
        .options(contains_eager(Job.board).joinedload(Board.assembly), joinedload(Job.bench))
    )
    if states:
        rows = rows.where(Job.state.in_(states))
    if board_id is not None:
        rows = rows.where(Job.board_id == board_id)
    return rows


def find_open_job_of_site(session: Session, site_id: int) -> int | None:
    """Return the number of the open job that works on a site, or None."""
    return session.scalar(
        select(Job.id)
        .join(JobSite, JobSite.job_id == Job.id)
        .where(JobSite.site_id == site_id, Job.state != JobState.CLOSED)
        .limit(1)
    )


def count_heats(session: Session, site_id: int) -> int:
    """Return how many runs a site has had, complete or aborted.

    A run that was set aside heated the site too, but not when its file was read again: then both
    are the same heat.
    """
    again, again_site = aliased(Run), aliased(JobSite)
    is_read_again = (
        select(again.id)
        .join(again_site, again_site.id == again.job_site_id)
        .where(
            again_site.site_id == site_id,
            again.file_sha256 == Run.file_sha256,
            again.id > Run.id,
            again.state != RunState.RECORDING,
        )
        .exists()
    )
    return (
        session.scalar(
            select(func.count(Run.id))
            .join(JobSite, JobSite.id == Run.job_site_id)
            .where(
                JobSite.site_id == site_id,
                Run.state != RunState.RECORDING,
                Run.set_aside_at.is_(None) | ~is_read_again,
            )
        )
        or 0
    )


def count_reworks(session: Session, site_id: int, *, before_job_id: int) -> int:
    """Return how many earlier jobs reflowed a site."""
    return (
        session.scalar(
            select(func.count(func.distinct(JobSite.job_id)))
            .join(Run, Run.job_site_id == JobSite.id)
            .join(JobStep, JobStep.id == Run.step_id)
            .where(
                JobSite.site_id == site_id,
                JobSite.job_id < before_job_id,
                JobStep.kind == StepKind.REFLOW,
                Run.state == RunState.COMPLETE,
            )
        )
        or 0
    )


def map_open_holds(session: Session, job_ids: Sequence[int]) -> dict[int, JobHold]:
    """Return job → its open hold, for the jobs asked for."""
    rows = session.scalars(
        select(JobHold).where(JobHold.job_id.in_(job_ids), JobHold.lifted_at.is_(None))
    )
    return {hold.job_id: hold for hold in rows}


def map_designators(session: Session, job_ids: Sequence[int]) -> dict[int, tuple[str, ...]]:
    """Return job → its designators, for the jobs asked for."""
    rows = session.execute(
        select(JobSite.job_id, Placement.designator)
        .join(Site, Site.id == JobSite.site_id)
        .join(Placement, Placement.id == Site.placement_id)
        .where(JobSite.job_id.in_(job_ids))
        .order_by(JobSite.id)
    ).all()
    found: dict[int, list[str]] = defaultdict(list)
    for row in rows:
        found[row.job_id].append(row.designator)
    return {job_id: tuple(names) for job_id, names in found.items()}


def map_next_steps(session: Session, job_ids: Sequence[int]) -> dict[int, tuple[str, StepKind]]:
    """Return job → designator and kind of its first line without an entry, for open work."""
    rows = session.execute(
        select(JobSite.job_id, Placement.designator, JobStep.kind)
        .join(JobStep, JobStep.job_site_id == JobSite.id)
        .join(Site, Site.id == JobSite.site_id)
        .join(Placement, Placement.id == Site.placement_id)
        .outerjoin(StepEntry, StepEntry.step_id == JobStep.id)
        .where(JobSite.job_id.in_(job_ids), StepEntry.id.is_(None))
        .order_by(JobSite.id, JobStep.ordinal)
    ).all()
    found: dict[int, tuple[str, StepKind]] = {}
    for job_id, designator, kind in rows:
        found.setdefault(job_id, (designator, kind))
    return found


def list_offers(
    session: Session, board: Board, placement: Placement
) -> list[tuple[RecipeRevision, Fit]]:
    """Return every published recipe revision and whether it fits a site of a board."""
    return list_fitting(
        session,
        assembly_part_number=board.assembly.part_number,
        assembly_revision=board.assembly.revision,
        designator=placement.designator,
        part_number=placement.part_number or None,
    )


def list_designators_with_recipes(
    session: Session, board: Board, placements: Sequence[Placement]
) -> frozenset[str]:
    """Return the designators of a board for which at least one published recipe fits."""
    if not placements:
        return frozenset()
    bodies = [get_body(revision) for revision, _ in list_offers(session, board, placements[0])]
    return frozenset(
        placement.designator
        for placement in placements
        if any(
            fits(
                body,
                assembly_part_number=board.assembly.part_number,
                assembly_revision=board.assembly.revision,
                designator=placement.designator,
                part_number=placement.part_number or None,
            ).fits
            for body in bodies
        )
    )
