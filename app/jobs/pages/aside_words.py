"""What can be done with a run: signed, recorded again, set aside, read again."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.clock import spell_moment
from app.core.settings import Settings
from app.jobs.outcomes import list_troubles
from app.jobs.queries import SiteCard, WorkCard
from app.jobs.rules import JobState, RunState, StepKind
from app.jobs.setting_aside import may_set_aside
from app.jobs.tables import JobStep, Run


@dataclass(frozen=True)
class SetAsideWords:
    """Who said that a run does not count, and why."""

    by: str
    at: str
    reason: str


@dataclass(frozen=True)
class RunNext:
    """What is usual next after a run, and what else a person may do with it.

    `sign_href` leads to the line that waits for its signature, empty where there is none;
    `troubles` speak against signing; `hold_href` and `aside_href` are empty for who may not.
    """

    href: str
    set_aside: SetAsideWords | None
    sign_href: str
    troubles: tuple[str, ...]
    is_part_off: bool
    hold_href: str
    aside_href: str
    can_read_again: bool


def make_run_next(
    card: WorkCard,
    site: SiteCard,
    step: JobStep,
    run: Run,
    *,
    person: Person,
    names: Mapping[int, str],
    settings: Settings,
) -> RunNext:
    """Return what can be done with a run as things are; `names` has those of all its people."""
    job, href = card.job, f"/runs/{run.id}"
    may_work = person.may(Action.JOBS_WORK)
    is_open = job.state is not JobState.CLOSED and card.open_hold is None
    waits = may_work and not site.is_written(step)
    aside = None
    if run.set_aside_at is not None:
        aside = SetAsideWords(
            names.get(run.set_aside_by_id or 0, ""),
            spell_moment(run.set_aside_at, settings.zone),
            run.set_aside_reason or "",
        )
    may_hold = person.may(Action.HOLDS_PLACE) and is_open
    is_dropped = run.is_set_aside or run.state is RunState.ABORTED
    is_free = waits or (may_work and site.has_lost_its_run(step))
    return RunNext(
        href=href,
        set_aside=aside,
        sign_href=f"/jobs/{job.id}?step={step.id}" if run.counts and waits else "",
        troubles=list_troubles(run),
        is_part_off=step.kind is StepKind.REMOVE,
        hold_href=f"/jobs/{job.id}?step={step.id}#hold" if may_hold else "",
        aside_href=f"{href}/setting-aside" if may_set_aside(card, site, step, run, person) else "",
        can_read_again=is_dropped and is_open and is_free and run.file_sha256 is not None,
    )
