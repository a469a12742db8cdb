"""Other runs of the same recipe in words: to be picked, or as an envelope to be held against."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from app.core.clock import spell_minute
from app.core.settings import Settings
from app.jobs.comparison import (
    Alignment,
    Candidate,
    Placed,
    gather_envelopes,
    hold_run,
    place_run,
)
from app.jobs.comparison_envelope import FEWEST_RUNS, USUAL_RUNS, EnvelopeSet, HeldChannel
from app.jobs.comparison_runs import EarlierRuns, count_readings, load_candidate, load_earlier
from app.jobs.pages.compare_words import word_held
from app.jobs.pages.words import StateWords, word_run
from app.jobs.rules import spell_job
from app.jobs.scales import Scale
from app.jobs.tables import Run
from app.numerics.values import CannotSay

# Rows times channels that are read for a page that shows something else first: ten runs of five
# channels over 15 min, ten times a second. The comparison itself reads more.
MOST_BESIDE: Final = 500_000


@dataclass(frozen=True)
class PeerWords:
    """A run that can be laid beside another."""

    id: int
    text: str
    at: str
    state: StateWords


@dataclass(frozen=True)
class EnvelopeWords:
    """How a run lies to the envelope of the accepted runs of its recipe revision and bench.

    `sentence` says what the envelope is of or what is missing for one; `findings` what each
    channel does; `href` leads to the runs over each other, empty where there is none to lay over.
    """

    state: StateWords
    sentence: str
    findings: tuple[tuple[StateWords, str], ...]
    href: str


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


def word_envelope(
    session: Session, run: Run, *, scale: Scale = Scale.CELSIUS, last: int = USUAL_RUNS
) -> EnvelopeWords | None:
    """Hold a complete run of get_run against the last accepted ones, in words.

    Each of those is laid over this run where its first joint fits best, so that neither the moment
    at which a recording began nor a single crossing decides. None for a run without a trace, or
    with more readings than are read beside a page at once; earlier runs that would exceed them are
    left out.
    """
    if run.trace is None or count_readings(run) > MOST_BESIDE:
        return None
    candidate = load_candidate(session, run)
    found = load_earlier(session, run, last=last, most=MOST_BESIDE - count_readings(run))
    earlier = found.runs
    placed, envelopes = _lay_over(candidate, found, last=last)
    held = hold_run(candidate, placed, candidate, envelopes)
    usable = max((len(one.of) for one in envelopes.channels.values()), default=0)
    href = ""
    if earlier:
        asked = [("run", run.id), ("run", earlier[0].run_id)]
        href = f"/runs/compare?{urlencode([*asked, ('align', Alignment.BEST), ('unit', scale)])}"
    if usable < FEWEST_RUNS:
        there = f"{usable} {'is' if usable == 1 else 'are'} there"
        return EnvelopeWords(
            StateWords("plain", "no envelope yet"),
            f"It takes {FEWEST_RUNS} other runs or more of this recipe revision, line and bench in "
            f"jobs closed as accepted; {there}, {FEWEST_RUNS - usable} more "
            f"{'is' if FEWEST_RUNS - usable == 1 else 'are'} missing.",
            (),
            href,
        )
    fewer = f" ({envelopes.fewer})" if envelopes.fewer else ""
    return EnvelopeWords(
        _find_state(held),
        f"The last {len(earlier)} other accepted runs of this recipe revision, line and bench"
        f"{fewer}, each laid over this run where it fits best.",
        word_held(held, scale),
        href,
    )


def _lay_over(
    candidate: Candidate, earlier: EarlierRuns, *, last: int
) -> tuple[Placed, EnvelopeSet]:
    channels = candidate.recorded.channels
    named = next((one for one in channels if one.role.is_joint), channels[0])
    placed = place_run(candidate, named, Alignment.BEST, first=candidate, reference=None)
    envelopes = gather_envelopes(
        candidate,
        earlier.runs,
        named,
        Alignment.BEST,
        reference=placed.trace,
        wanted=last,
        is_cut=earlier.is_cut,
    )
    return placed, envelopes


def _find_state(held: Sequence[HeldChannel]) -> StateWords:
    if any(one.furthest is not None for one in held):
        return StateWords("caution", "leaves the envelope")
    if not held or all(isinstance(one.departures, CannotSay) for one in held):
        return StateWords("caution", "cannot say")
    return StateWords("go", "within the envelope")
