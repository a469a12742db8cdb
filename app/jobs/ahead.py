"""What a request about a run does before its transaction begins: the work that takes seconds.

On SQLite one writer at a time has its turn, and nobody should wait for a file to be read. Nothing
found here decides anything: within the transaction everything is asked again, of a file that
remembers how it was read. A refusal is kept for there too, where it comes in its turn.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, TypeVar

from fastapi import Depends, Query, Request
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from app.accounts.access import needs_ahead
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.refusals import Refusal
from app.core.request import HouseSettings, Now, PathId, RequestBody
from app.core.settings import Settings
from app.core.text import RowId
from app.jobs.logger_file import LoggerFile
from app.jobs.queries import get_job, get_run, get_step, load_card
from app.jobs.readings import load_file, suggest, suggest_for
from app.jobs.rules import RunState
from app.jobs.runs import check_start
from app.jobs.schemas import TraceChosen
from app.plant.queries import find_chain_at, get_bench
from app.recipes.queries import get_body
from app.traces.rules import ReadingChoices

Found = TypeVar("Found")

WorkerAhead = Annotated[Person, Depends(needs_ahead(Action.JOBS_WORK))]


@dataclass(frozen=True)
class Look:
    """Who asks, when, and a session that reads; it ends before the transaction begins."""

    session: Session
    settings: Settings
    person: Person
    now: datetime


@dataclass(frozen=True)
class LookAhead:
    """Opens looks for a person who has the permission."""

    request: Request
    settings: Settings
    person: Person
    now: datetime

    def ask(self, find: Callable[[Look], Found]) -> Found | None:
        """Return what is found; None where that is refused, as it will be again in its turn."""
        with self.request.app.state.sessions.read() as session, suppress(Refusal):
            return find(Look(session, self.settings, self.person, self.now))
        return None


def get_look_ahead(
    request: Request, settings: HouseSettings, person: WorkerAhead, now: Now
) -> LookAhead:
    """Return what opens looks before the request's transaction begins."""
    return LookAhead(request, settings, person, now)


Ahead = Annotated[LookAhead, Depends(get_look_ahead)]


def read_start(
    look: Look, file: LoggerFile, *, job_id: int, step_id: int, bench_id: int, at_once: bool
) -> None:
    """Read and pack the file of a run that could begin; work it out where the bench knows how."""
    session, bench = look.session, get_bench(look.session, bench_id)
    _, site, step, _ = check_start(
        session,
        get_job(session, job_id),
        step_id,
        bench=bench,
        file=file,
        settings=look.settings,
        person=look.person,
        now=look.now,
    )
    _ = file.packed
    if not at_once:
        return
    revision = site.job_site.revision
    plan = get_body(revision).thermocouples
    suggestion = suggest_for(session, file, bench_id=bench.id, plan=plan)
    if suggestion.is_settled(plan):
        chain = find_chain_at(bench, now=look.now, zone=look.settings.zone)
        file.work_out(suggestion.chosen, revision=revision, step=step.kind, chain=chain)


def read_completion(look: Look, run_id: int, said: TraceChosen) -> LoggerFile | None:
    """Return the file of a run that still records, worked out as somebody said; else None."""
    run = get_run(look.session, run_id)
    if run.state is not RunState.RECORDING:
        return None
    file = load_file(look.session, run, settings=look.settings)
    card = load_card(look.session, get_job(look.session, run.job_site.job_id))
    _, step = get_step(card, run.step_id)
    with suppress(Refusal):
        file.work_out(
            said,
            revision=run.job_site.revision,
            step=step.kind,
            chain=find_chain_at(
                get_bench(look.session, run.bench_id),
                now=run.started_at,
                zone=look.settings.zone,
            ),
        )
    return file


def read_kept_file(look: Look, run_id: int) -> LoggerFile:
    """Return the kept file of a run that is to be read again, read once so far as it can be."""
    file = load_file(look.session, get_run(look.session, run_id), settings=look.settings)
    with suppress(Refusal):
        file.check()
    return file


def read_suggestion(
    look: Look, run_id: int, choices: ReadingChoices | None, *, file: LoggerFile | None = None
) -> LoggerFile:
    """Return a run's file, read as somebody chose and as its bench remembers.

    `file` is the run's own where it is in hand already.
    """
    run = get_run(look.session, run_id)
    file = file or load_file(look.session, run, settings=look.settings)
    with suppress(Refusal):
        suggest(look.session, run, choices=choices, settings=look.settings, file=file)
    return file


@dataclass(frozen=True)
class Completion:
    """What somebody said of a run's file, and the file, worked out so where that can be."""

    said: TraceChosen
    file: LoggerFile | None


@dataclass(frozen=True)
class TriedReading:
    """Choices about a run's file, and the file, read so where that can be."""

    choices: ReadingChoices
    file: LoggerFile | None


def read_new_file(
    job_id: PathId,
    step_id: PathId,
    bench_id: Annotated[RowId, Query(description="Where the site was heated.")],
    ahead: Ahead,
    body: RequestBody,
    at_once: Annotated[  # noqa: FBT002 - a query parameter
        bool, Query(description="Complete the run if the bench remembers how to read the file.")
    ] = False,
) -> LoggerFile | None:
    """Read the file that is a request's body; None for a form."""
    if isinstance(body, FormData):
        return None
    file = LoggerFile(body, settings=ahead.settings)
    ahead.ask(
        lambda look: read_start(
            look, file, job_id=job_id, step_id=step_id, bench_id=bench_id, at_once=at_once
        )
    )
    return file


def work_out_completion(run_id: PathId, fields: TraceChosen, ahead: Ahead) -> Completion:
    """Work a run's file out as somebody says."""
    return Completion(fields, ahead.ask(lambda look: read_completion(look, run_id, fields)))


def read_file_again(run_id: PathId, ahead: Ahead) -> LoggerFile | None:
    """Read the kept file of a run."""
    return ahead.ask(lambda look: read_kept_file(look, run_id))


def try_choices(run_id: PathId, choices: ReadingChoices, ahead: Ahead) -> TriedReading:
    """Read a run's file as somebody chooses."""
    return TriedReading(choices, ahead.ask(lambda look: read_suggestion(look, run_id, choices)))


NewFileAhead = Annotated[LoggerFile | None, Depends(read_new_file)]
CompletionAhead = Annotated[Completion, Depends(work_out_completion)]
KeptFileAhead = Annotated[LoggerFile | None, Depends(read_file_again)]
ChoicesAhead = Annotated[TriedReading, Depends(try_choices)]
