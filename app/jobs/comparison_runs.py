"""Finds the runs that can be laid beside another."""

from collections.abc import Sequence
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.boards.tables import Site
from app.jobs.rules import Outcome, RunState, StepKind
from app.jobs.tables import Job, JobSite, JobStep, Run

MOST_PEERS: Final = 10


def list_peers(
    session: Session,
    run: Run,
    kind: StepKind,
    *,
    accepted_only: bool = False,
    without: Sequence[int] = (),
) -> Sequence[Run]:
    """Return the last 10 other complete runs of the same recipe revision, line and bench.

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
            JobStep.kind == kind,
            Run.id.not_in({run.id, *without}),
        )
        .options(
            joinedload(Run.trace),
            joinedload(Run.job_site).joinedload(JobSite.site).joinedload(Site.board),
        )
        .order_by(Run.started_at.desc(), Run.id.desc())
        .limit(MOST_PEERS)
    )
    if accepted_only:
        found = found.where(Job.outcome == Outcome.ACCEPTED)
    return session.scalars(found).all()
