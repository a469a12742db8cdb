"""Turns jobs and runs into their JSON."""

from collections.abc import Iterable, Sequence
from typing import Any, cast

from sqlalchemy.orm import Session

from app.accounts.queries import map_account_names
from app.approval.queries import get_digest
from app.boards.tables import Board
from app.jobs.clearance import RULES, Finding, is_clear
from app.jobs.figure_views import FiguresFields
from app.jobs.outcomes import list_doubts
from app.jobs.queries import SiteCard, WorkCard, map_designators, map_open_holds
from app.jobs.readings import Suggestion
from app.jobs.rules import HEATED, spell_job
from app.jobs.schemas import InspectionResult, LotUsed, ValueUsed
from app.jobs.tables import Job, JobHold, JobStep, Run, StepEntry
from app.jobs.views import (
    BoardName,
    ClearanceView,
    ColumnView,
    EntryView,
    FileFindingView,
    FindingView,
    HoldView,
    JobLine,
    JobView,
    NextStep,
    QuestionView,
    ReadingView,
    RecipeName,
    RunLine,
    RunView,
    SetAsideView,
    SiteView,
    StepView,
    TakenView,
)
from app.recipes.schemas import PersonView
from app.recipes.tables import RecipeRevision

_Names = dict[int, str]


def view_jobs(session: Session, jobs: Sequence[Job]) -> list[JobLine]:
    """Return jobs as lists show them."""
    ids = [job.id for job in jobs]
    designators, holds = map_designators(session, ids), map_open_holds(session, ids)
    return [
        JobLine(**_describe_job(job, designators.get(job.id, ()), is_held=job.id in holds))
        for job in jobs
    ]


def view_job(session: Session, card: WorkCard) -> JobView:
    """Return a job with its whole work card."""
    job = card.job
    names = map_account_names(session, list_people(card))
    waiting = card.next_step
    return JobView(
        **_describe_job(
            job, [site.designator for site in card.sites], is_held=card.open_hold is not None
        ),
        opened_by=_name(job.opened_by_id, names),
        bench=job.bench.code if job.bench else None,
        clearance=job.clearance,
        closed_by=_name(job.closed_by_id, names) if job.closed_by_id else None,
        closing_remark=job.closing_remark,
        next_step=NextStep(
            step_id=waiting[1].id, designator=waiting[0].designator, kind=waiting[1].kind
        )
        if waiting
        else None,
        doubts=list(list_doubts(card)) if waiting is None else [],
        holds=[_view_hold(hold, names) for hold in card.holds],
        sites=[_view_site(site, names) for site in card.sites],
    )


def view_entry(session: Session, entry: StepEntry) -> EntryView:
    """Return one entry that was just written."""
    return _view_entry(entry, map_account_names(session, {entry.by_id}), is_valid=True)


def view_clearance(bench_id: int, findings: Sequence[Finding]) -> ClearanceView:
    """Return what was found before heat."""
    return ClearanceView(
        bench_id=bench_id,
        is_clear=is_clear(findings),
        rules=RULES,
        findings=[
            FindingView(
                code=one.code,
                signal=one.signal,
                sentence=one.sentence,
                source=one.source,
                way_out=one.way_out,
            )
            for one in findings
        ],
    )


def view_run(session: Session, card: WorkCard, site: SiteCard, step: JobStep, run: Run) -> RunView:
    """Return a run whole; `run` is one that get_run returned."""
    trace = run.trace
    return RunView(
        **_describe_run(run),
        job_id=card.job.id,
        job_number=spell_job(card.job.id),
        board=_name_board(card.job.board),
        designator=site.designator,
        kind=step.kind,
        bench_id=run.bench_id,
        recipe=name_recipe(site.job_site.revision),
        by=_name(run.by_id, map_account_names(session, {run.by_id})),
        file_name=run.file_name,
        file_sha256=run.file_sha256,
        trace_id=run.trace_id,
        samples_sha256=trace.samples_sha256 if trace else None,
        sample_count=trace.rows if trace else None,
        duration_s=trace.duration_s if trace else None,
        reading=trace.reading if trace else None,
        channels=trace.channels if trace else [],
        clearance=run.clearance,
        figures=cast("FiguresFields | None", run.figures),
        set_aside=_view_set_aside(session, run),
        abort_reason=run.abort_reason,
        remark=run.remark,
    )


def view_reading(run: Run, suggestion: Suggestion) -> ReadingView:
    """Return how a run's file is read, and what its columns are suggested to be."""
    reading = suggestion.reading
    return ReadingView(
        run_id=run.id,
        is_remembered=suggestion.is_remembered,
        choices=suggestion.choices,
        encoding=reading.encoding,
        sheet=reading.sheet,
        sheets=list(reading.sheets),
        delimiter=reading.delimiter,
        decimal_mark=reading.decimal_mark,
        header_row=reading.header_row,
        header_last_row=reading.header_last_row,
        units_row=reading.units_row,
        sample_count=reading.sample_count,
        first_time=reading.time.first_written,
        taken=[TakenView(about=one.about, what=one.what, why=one.why) for one in reading.taken],
        columns=[
            ColumnView(
                index=guess.index,
                header=guess.header,
                role=guess.role,
                unit=guess.unit,
                time_format=guess.time_format,
                thermocouple=guess.thermocouple,
                cold_junction=guess.cold_junction,
                cold_junction_c=guess.cold_junction_c,
                why=guess.why,
                samples=list(guess.samples),
            )
            for guess in reading.guesses
        ],
        findings=[
            FileFindingView(
                column=finding.column,
                kind=str(finding.kind),
                first_row=finding.first_row,
                last_row=finding.last_row,
                count=finding.count,
                sentence=finding.sentence,
            )
            for finding in reading.findings
        ],
        assumptions=list(reading.assumptions),
        questions=[
            QuestionView(about=asked.about, column=asked.column, sentence=asked.sentence)
            for asked in reading.questions
        ],
        channels=list(suggestion.channels),
    )


def name_recipe(revision: RecipeRevision) -> RecipeName:
    """Return the names of a recipe revision."""
    return RecipeName(
        revision_id=revision.id,
        code=revision.recipe.code,
        number=revision.number,
        title=revision.title,
        state=revision.state,
        digest=get_digest(revision),
    )


def list_people(card: WorkCard) -> set[int]:
    """Return the accounts of everybody who did something on a job."""
    job = card.job
    ids: set[int | None] = {job.opened_by_id, job.closed_by_id}
    for hold in card.holds:
        ids |= {hold.placed_by_id, hold.lifted_by_id}
    for site in card.sites:
        ids |= {run.by_id for run in site.runs}
        ids |= {run.set_aside_by_id for run in site.runs}
        ids |= {entry.by_id for written in site.entries.values() for entry in written}
    return {one for one in ids if one is not None}


def _describe_job(job: Job, designators: Iterable[str], *, is_held: bool) -> dict[str, Any]:
    return {
        "id": job.id,
        "number": spell_job(job.id),
        "board": _name_board(job.board),
        "designators": list(designators),
        "state": job.state,
        "outcome": job.outcome,
        "is_held": is_held,
        "reason": job.reason,
        "reference": job.reference,
        "opened_at": job.opened_at,
        "closed_at": job.closed_at,
        "version": job.version,
    }


def _describe_run(run: Run) -> dict[str, Any]:
    return {
        "id": run.id,
        "step_id": run.step_id,
        "state": run.state,
        "bench": run.bench.code,
        "started_at": run.started_at,
        "ended_at": run.ended_at,
        "verdict": run.verdict,
        "window_use_pct": run.window_use_pct,
        "is_set_aside": run.is_set_aside,
        "version": run.version,
    }


def _name_board(board: Board) -> BoardName:
    return BoardName(
        id=board.id,
        serial=board.serial,
        assembly=board.assembly.part_number,
        assembly_revision=board.assembly.revision,
    )


def _name(account_id: int, names: _Names) -> PersonView:
    return PersonView(id=account_id, name=names.get(account_id, ""))


def _view_hold(hold: JobHold, names: _Names) -> HoldView:
    return HoldView(
        id=hold.id,
        reason=hold.reason,
        placed_by=_name(hold.placed_by_id, names),
        placed_at=hold.placed_at,
        lifted_by=_name(hold.lifted_by_id, names) if hold.lifted_by_id else None,
        lifted_at=hold.lifted_at,
        lift_reason=hold.lift_reason,
    )


def _view_set_aside(session: Session, run: Run) -> SetAsideView | None:
    if run.set_aside_at is None or run.set_aside_by_id is None:
        return None
    names = map_account_names(session, {run.set_aside_by_id})
    return SetAsideView(
        by=_name(run.set_aside_by_id, names),
        at=run.set_aside_at,
        reason=run.set_aside_reason or "",
    )


def _view_site(site: SiteCard, names: _Names) -> SiteView:
    return SiteView(
        id=site.job_site.id,
        site_id=site.job_site.site_id,
        designator=site.designator,
        part_number=site.job_site.site.placement.part_number,
        recipe=name_recipe(site.job_site.revision),
        steps=[
            StepView(
                id=step.id,
                ordinal=step.ordinal,
                kind=step.kind,
                is_heated=step.kind in HEATED,
                is_written=site.is_written(step),
                entries=[
                    _view_entry(entry, names, is_valid=entry is site.find_valid_entry(step))
                    for entry in site.entries.get(step.id, ())
                ],
                runs=[RunLine(**_describe_run(run)) for run in site.list_runs_of(step)],
            )
            for step in site.steps
        ],
    )


def _view_entry(entry: StepEntry, names: _Names, *, is_valid: bool) -> EntryView:
    found = entry.values.get("inspection")
    return EntryView(
        id=entry.id,
        step_id=entry.step_id,
        kind=entry.kind,
        values=[ValueUsed.model_validate(value) for value in entry.values.get("used", [])],
        lots=[LotUsed.model_validate(lot) for lot in entry.lots],
        inspection=InspectionResult.model_validate(found) if found else None,
        remark=entry.remark,
        reason=entry.values.get("reason", ""),
        run_id=entry.values.get("run"),
        corrects_id=entry.corrects_id,
        is_valid=is_valid,
        by=_name(entry.by_id, names),
        at=entry.at,
    )
