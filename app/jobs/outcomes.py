"""Says what stands against an outcome, from what was written on the card."""

from collections.abc import Iterable

from app.jobs import rules
from app.jobs.queries import SiteCard, WorkCard
from app.jobs.rules import EntryKind, StepKind
from app.jobs.schemas import InspectionResult
from app.jobs.tables import JobStep, Run
from app.recipes.queries import get_body
from app.recipes.verdict import VerdictState


def check_acceptable(card: WorkCard, remark: str) -> None:
    """Refuse to accept what was recorded otherwise.

    LinesOpen while a line is open; OutcomeContradicted for a failed inspection, and for anything
    in doubt that the remark says nothing about.
    """
    waiting = card.next_step
    if waiting is not None:
        site, step = waiting
        raise rules.LinesOpen(
            f"“{step.kind}” of {site.designator} is still open: sign it, or skip it with a reason."
        )
    for site in card.sites:
        if any(found.has_failed for found in _list_inspections(site)):
            raise rules.OutcomeContradicted(
                f"The inspection of {site.designator} failed; reject the job, or correct the "
                "entry if it is wrong.",
                field="outcome",
            )
    doubts = list_doubts(card)
    if doubts and not remark:
        raise rules.OutcomeContradicted(
            f"{doubts[0]} Say in the remark why the job is accepted all the same.", field="remark"
        )


def list_doubts(card: WorkCard) -> tuple[str, ...]:
    """Return what an acceptance has to say something about, one sentence each."""
    return tuple(doubt for site in card.sites for doubt in _list_doubts_of(site))


def list_troubles(run: Run) -> tuple[str, ...]:
    """Return what speaks against signing a complete run as it is, one sentence each."""
    troubles = []
    if run.verdict == VerdictState.OUTSIDE:
        troubles.append("The run is outside its window.")
    if run.verdict == VerdictState.CANNOT_SAY:
        troubles.append("The figures cannot say whether the run is inside its window.")
    if _was_lifted_early(run):
        troubles.append("The part was lifted before its lift rule was met.")
    return tuple(troubles)


def find_inspection(site: SiteCard, step: JobStep) -> InspectionResult | None:
    """Return what the valid entry of a line says was found, or None."""
    entry = site.find_valid_entry(step)
    said = entry.values.get("inspection") if entry else None
    return InspectionResult.model_validate(said) if said else None


def is_skipped(site: SiteCard, step: JobStep) -> bool:
    """Say whether a line was left out and nothing was written on it since."""
    entry = site.find_valid_entry(step)
    return entry is not None and (
        entry.kind is EntryKind.SKIPPED or bool(entry.values.get("skipped"))
    )


def _list_inspections(site: SiteCard) -> Iterable[InspectionResult]:
    found = (find_inspection(site, step) for step in site.steps)
    return (one for one in found if one is not None)


def _list_doubts_of(site: SiteCard) -> Iterable[str]:
    asked = get_body(site.job_site.revision).inspection
    for step in site.steps:
        run = site.find_run_of(step)
        is_lost = run is None and _was_set_aside(site, step)
        if is_lost:
            yield (
                f"“{step.kind}” of {site.designator} was signed with a run that is set aside since."
            )
        if step.kind is StepKind.REMOVE and _was_lifted_early(run):
            yield f"{site.designator} was lifted before its lift rule was met."
        if step.kind is StepKind.REFLOW and not is_lost:
            yield from _list_doubts_of_reflow(site, run)
        if step.kind is not StepKind.INSPECT:
            continue
        if is_skipped(site, step):
            yield f"The inspection of {site.designator} was skipped."
        found = find_inspection(site, step)
        voids = found.largest_void_pct if found else None
        if voids is not None and asked.void_limit_pct is not None and voids > asked.void_limit_pct:
            yield (
                f"{site.designator} has a void of {voids:g} % of a joint's area; its recipe allows "
                f"{asked.void_limit_pct:g} %."
            )


def _list_doubts_of_reflow(site: SiteCard, run: Run | None) -> Iterable[str]:
    verdict = None if run is None else run.verdict
    if verdict == VerdictState.TOO_CLOSE:
        yield (
            f"The last reflow of {site.designator} is too close to call: its uncertainty reaches "
            "beyond a limit of its window."
        )
    elif verdict != VerdictState.INSIDE:
        yield f"The last reflow of {site.designator} is not inside its window."


def _was_lifted_early(run: Run | None) -> bool:
    lifted = ((run and run.figures) or {}).get("site", {}).get("lifted")
    return bool(lifted and lifted["was_early"])


def _was_set_aside(site: SiteCard, step: JobStep) -> bool:
    is_signed = site.is_written(step) and not is_skipped(site, step)
    return is_signed and any(run.is_set_aside for run in site.list_runs_of(step))
