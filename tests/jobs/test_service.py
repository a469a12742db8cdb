"""A job from opening to its outcome, through the services."""

from sqlalchemy.orm import Session

from app.jobs.queries import get_job, load_card
from app.jobs.rules import JobState, Outcome
from tests.jobs.conftest import Shop


def test_a_job_goes_from_open_to_accepted(db: Session, shop: Shop) -> None:
    job = shop.open_job(db)
    assert job.state is JobState.OPEN
    shop.clear(db, job)
    assert job.state is JobState.CLEARED
    shop.finish(db, job)
    db.commit()
    stored = get_job(db, job.id)
    assert (stored.state, stored.outcome) == (JobState.CLOSED, Outcome.ACCEPTED)
    assert load_card(db, stored).next_step is None
