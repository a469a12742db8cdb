"""Other runs of the same recipe in words, to be picked for a comparison."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.core.clock import spell_minute
from app.core.settings import Settings
from app.jobs.pages.words import StateWords, word_run
from app.jobs.rules import spell_job
from app.jobs.tables import Run


@dataclass(frozen=True)
class PeerWords:
    """A run that can be laid beside another."""

    id: int
    text: str
    at: str
    state: StateWords


def word_peers(runs: Sequence[Run], settings: Settings) -> tuple[PeerWords, ...]:
    """Return runs in words, in the order given."""
    return tuple(
        PeerWords(
            run.id,
            f"Run {run.id} · board {run.job_site.site.board.serial} · "
            f"{spell_job(run.job_site.job_id)}",
            spell_minute(run.started_at, settings.zone),
            word_run(run.state, run.verdict),
        )
        for run in runs
    )
