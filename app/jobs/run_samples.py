"""Loads a run's samples as its figures were computed from them."""

from sqlalchemy.orm import Session

from app.jobs.figures import find_kept_chain
from app.jobs.queries import get_trace_of
from app.jobs.tables import Run
from app.plant.measuring import find_correction
from app.traces.queries import RecordedTrace, add_corrections, load_samples


def load_run_samples(session: Session, run: Run) -> RecordedTrace:
    """Unpack a run's samples, with the corrections that its kept figures were made with.

    What is drawn and compared then agrees with the figures beside it. NoTrace where it has none,
    SamplesDamaged when the samples are not what was recorded.
    """
    recorded = load_samples(session, get_trace_of(run))
    chain = find_kept_chain(run.figures)
    if chain is None:
        return recorded
    found = {one.name: find_correction(chain, one.name) for one in recorded.channels}
    return add_corrections(
        recorded, {name: one.correction_k for name, one in found.items() if one is not None}
    )
