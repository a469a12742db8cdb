"""The half year's jobs, each from the board at the door to its outcome."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from functools import cached_property, partial
from typing import Final

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.boards.queries import get_assembly
from app.boards.service import register_boards
from app.jobs.logger_file import LoggerFile
from app.jobs.queries import get_run, load_card
from app.jobs.rules import Outcome
from app.jobs.runs import abort_run, complete_run, start_run
from app.jobs.schemas import CloseJob, NewJob, NewJobSite, StepCorrected, TraceChosen
from app.jobs.service import (
    cancel_job,
    clear_job,
    close_job,
    lift_hold,
    lock_job,
    open_job,
    place_hold,
)
from app.jobs.tables import Job
from app.jobs.work import correct_entry, sign_step, skip_step
from app.plant.queries import get_bench
from app.recipes.body.recipe import RecipeBody
from seed_demo import story_texts as texts
from seed_demo.load_acts import Act, Stage
from seed_demo.load_words import say_channels, say_lots, say_reading, say_step, say_values
from seed_demo.recipes import Recipe, list_recipes
from seed_demo.runs import list_gas_zones, write_run_file
from seed_demo.story_shapes import (
    PlannedCorrection,
    PlannedHold,
    PlannedJob,
    PlannedRun,
    PlannedStep,
)
from seed_demo.thermal_model import Variant

_REGISTERED_BEFORE: Final = timedelta(minutes=4)
# From the end of the heating to its file at the desk, and from there to the channels' names.
_FILE_BROUGHT_AFTER: Final = timedelta(seconds=30)
_CHANNELS_NAMED_AFTER: Final = timedelta(seconds=45)


def list_job_acts(stage: Stage, jobs: Sequence[PlannedJob]) -> Iterator[Act]:
    """List the acts of jobs; a board is registered when it first comes in."""
    recipes = {recipe.code: recipe for recipe in list_recipes()}
    seen: set[str] = set()
    for job in jobs:
        if job.serial not in seen:
            seen.add(job.serial)
            yield Act(job.opened_at - _REGISTERED_BEFORE, partial(_register, stage, job))
        yield from _JobActs(stage, job, recipes[job.recipe_code]).list_all()


def _register(stage: Stage, job: PlannedJob, session: Session, now: datetime) -> None:
    assembly = get_assembly(session, stage.assembly_ids[job.assembly_part_number])
    (board,) = register_boards(
        session, assembly, [job.serial], person=stage.people[job.operator], now=now
    )
    stage.board_ids[job.serial] = board.id


class _JobActs:
    """Turns one planned job into acts; keeps the numbers of its rows between them."""

    def __init__(self, stage: Stage, planned: PlannedJob, recipe: Recipe) -> None:
        self.stage = stage
        self.planned = planned
        self.recipe = recipe
        self.operator = planned.operator
        self.job_id = 0
        self.line_ids: dict[tuple[str, str], int] = {}
        self.entry_ids: dict[int, int] = {}
        self.run_ids: dict[int, int] = {}

    @cached_property
    def body(self) -> RecipeBody:
        return RecipeBody.model_validate(
            self.recipe.revisions[self.planned.recipe_revision - 1].body
        )

    def list_all(self) -> Iterable[Act]:
        """List the job's acts; they are in order once they are sorted by time."""
        planned = self.planned
        yield Act(planned.opened_at, self._open)
        if planned.cleared_at is not None:
            yield Act(planned.cleared_at, self._clear)
        for step in planned.steps:
            for run in step.runs:
                yield from self._list_run_acts(step, run)
            yield Act(step.signed_at, partial(self._sign, step))
        for hold in planned.holds:
            yield Act(hold.placed_at, partial(self._hold, hold))
            if hold.lifted_at is not None:
                yield Act(hold.lifted_at, partial(self._lift, hold))
        for correction in planned.corrections:
            yield Act(correction.at, partial(self._correct, correction))
        if planned.closed_at is not None:
            yield Act(planned.closed_at, self._close)

    def _list_run_acts(self, step: PlannedStep, run: PlannedRun) -> Iterable[Act]:
        zones = list_gas_zones(self.recipe.revisions[self.planned.recipe_revision - 1].body)
        heated = timedelta(seconds=sum(zone.time_s for zone in zones))
        brought_at = run.started_at + heated + _FILE_BROUGHT_AFTER
        yield Act(brought_at, partial(self._start_run, step, run))
        end = self._abort_run if run.variant is Variant.ABORTED else self._complete_run
        yield Act(brought_at + _CHANNELS_NAMED_AFTER, partial(end, run))

    def _open(self, session: Session, now: datetime) -> None:
        planned = self.planned
        revision_id = self.stage.revision_ids[planned.recipe_code, planned.recipe_revision]
        new = NewJob(
            board_id=self.stage.board_ids[planned.serial],
            reason=planned.reason,
            reference=planned.reference,
            sites=[
                NewJobSite(designator=name, recipe_revision_id=revision_id)
                for name in planned.designators
            ],
        )
        job = open_job(session, new, person=self._who(self.operator), now=now)
        self.job_id = job.id
        self.line_ids = {
            (site.designator, str(line.kind)): line.id
            for site in load_card(session, job).sites
            for line in site.steps
        }

    def _clear(self, session: Session, now: datetime) -> None:
        bench = get_bench(session, self.stage.bench_ids[self.planned.bench])
        clear_job(
            session,
            self._lock(session),
            bench,
            settings=self.stage.settings,
            person=self._who(self.operator),
            now=now,
        )

    def _start_run(
        self, step: PlannedStep, run: PlannedRun, session: Session, now: datetime
    ) -> None:
        job = self._lock(session)
        file = write_run_file(run, recipe=self.recipe, revision=self.planned.recipe_revision)
        row = start_run(
            session,
            job,
            self._get_line(step),
            bench=get_bench(session, self.stage.bench_ids[self.planned.bench]),
            file=LoggerFile(file.text.encode(), settings=self.stage.settings),
            file_name=file.name,
            settings=self.stage.settings,
            person=self._who(self.operator),
            now=now,
        )
        self.run_ids[run.seed] = row.id

    def _complete_run(self, run: PlannedRun, session: Session, now: datetime) -> None:
        """Say how the file is read; the bench remembers it from the logger's first file on."""
        taught = (self.planned.bench, run.dialect)
        said = TraceChosen(
            choices=say_reading(run.dialect),
            channel_map=say_channels(run.dialect, self.body.thermocouples),
            remember=taught not in self.stage.taught,
        )
        complete_run(
            session,
            get_run(session, self.run_ids[run.seed]),
            said,
            settings=self.stage.settings,
            person=self._who(self.operator),
            now=now,
        )
        self.stage.taught.add(taught)

    def _abort_run(self, run: PlannedRun, session: Session, now: datetime) -> None:
        row = get_run(session, self.run_ids[run.seed])
        abort_run(session, row, texts.ABORTED_BECAUSE, person=self._who(self.operator), now=now)

    def _sign(self, step: PlannedStep, session: Session, now: datetime) -> None:
        job = self._lock(session)
        line_id = self._get_line(step)
        person = self._who(self.operator)
        if step.skipped_because is not None:
            skip_step(session, job, line_id, step.skipped_because, person=person, now=now)
            return
        said = say_step(step, self.body, values=step.values, lots=step.lots)
        entry = sign_step(session, job, line_id, said, person=person, now=now)
        self.entry_ids[line_id] = entry.id

    def _correct(self, correction: PlannedCorrection, session: Session, now: datetime) -> None:
        step = self.planned.steps[correction.step_index]
        job = self._lock(session)
        line_id = self._get_line(step)
        said = StepCorrected(
            values=say_values(correction.values),
            lots=say_lots(correction.lots),
            remark=step.remark,
            reason=correction.reason,
        )
        person = self._who(correction.by)
        wrong_id = self.entry_ids[line_id]
        correct_entry(session, job, line_id, wrong_id, said, person=person, now=now)

    def _hold(self, hold: PlannedHold, session: Session, now: datetime) -> None:
        person = self._who(hold.placed_by)
        place_hold(session, self._lock(session), hold.reason, person=person, now=now)

    def _lift(self, hold: PlannedHold, session: Session, now: datetime) -> None:
        person = self._who(hold.lifted_by or "")
        lift_hold(session, self._lock(session), hold.lift_reason or "", person=person, now=now)

    def _close(self, session: Session, now: datetime) -> None:
        planned = self.planned
        person = self._who(planned.closed_by or "")
        job = self._lock(session)
        outcome = Outcome(planned.outcome or "")
        if outcome is Outcome.CANCELLED:
            cancel_job(session, job, planned.closing_remark, person=person, now=now)
            return
        said = CloseJob(outcome=outcome, remark=planned.closing_remark)
        close_job(session, job, said, person=person, now=now)

    def _who(self, username: str) -> Person:
        return self.stage.people[username]

    def _lock(self, session: Session) -> Job:
        return lock_job(session, self.job_id)

    def _get_line(self, step: PlannedStep) -> int:
        return self.line_ids[step.designator, step.kind]
