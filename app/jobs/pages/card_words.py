"""The work card in words: its sites, lines, entries, runs and holds as a page shows them."""

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from app.approval.queries import get_digest
from app.core.clock import spell_minute, spell_moment
from app.jobs.instructions import Instruction, write_instruction
from app.jobs.outcomes import find_inspection, is_skipped, list_troubles
from app.jobs.pages.forms import EntryForm, list_changed, spell_inspection, spell_lots
from app.jobs.pages.words import SIGNALS, STEP_WORDS, StateWords, spell_use, word_run
from app.jobs.queries import SiteCard, WorkCard
from app.jobs.rules import HEATED, EntryKind, RunState, StepKind
from app.jobs.schemas import InspectionResult, LotUsed, ValueUsed
from app.jobs.tables import JobHold, JobStep, Run, StepEntry
from app.recipes.queries import get_body

Names = Mapping[int, str]
_SHORT_DIGEST = 12


@dataclass(frozen=True)
class FindingWords:
    """One finding of a clearance."""

    state: StateWords
    sentence: str
    source: str
    way_out: str


@dataclass(frozen=True)
class RunWords:
    """A run of a line."""

    id: int
    href: str
    state: StateWords
    use: str
    bench: str
    at: str
    set_aside: str


@dataclass(frozen=True)
class RunChoice:
    """A complete run that can be the one a line is signed with."""

    value: str
    label: str
    state: StateWords
    is_chosen: bool


@dataclass(frozen=True)
class EntryWords:
    """What was written on a line; `corrects` is the number of the old entry, or empty.

    `run` is the number of the run that counts, or empty.
    """

    id: int
    state: StateWords
    is_valid: bool
    corrects: str
    run: str
    at: str
    by: str
    reason: str
    remark: str
    inspection: tuple[tuple[str, str], ...]
    lots: tuple[LotUsed, ...]
    values: tuple[ValueUsed, ...]
    changed: tuple[ValueUsed, ...]


@dataclass(frozen=True)
class LineWords:
    """One line of the work card."""

    href: str
    title: str
    state: StateWords
    entries: tuple[EntryWords, ...]
    runs: tuple[RunWords, ...]
    do_href: str


@dataclass(frozen=True)
class SiteWords:
    """One site of a job with its recipe and its lines."""

    designator: str
    part_number: str
    recipe: str
    recipe_href: str
    digest: str
    lines: tuple[LineWords, ...]


@dataclass(frozen=True)
class HoldWords:
    """A stop on a job."""

    reason: str
    placed: str
    lifted: str
    lift_reason: str


@dataclass(frozen=True)
class BenchChoice:
    """A bench to choose, and whether it is the one proposed."""

    value: str
    label: str
    is_chosen: bool


@dataclass(frozen=True)
class StepPanel:
    """The line that is next: the recipe's words for it and the forms to write it.

    `recording_href` leads on with a file that is not read yet; `has_run` says that a run is there
    that counts, so that a heated line can be signed; `choices` are those runs where there are
    several. `troubles` speak against signing with the chosen one; `is_part_off` says that a
    further run may have nothing left to heat.
    """

    href: str
    title: str
    designator: str
    recipe: str
    instruction: Instruction
    form: EntryForm
    asks_inspection: bool
    is_heated: bool
    has_run: bool
    runs: tuple[RunWords, ...]
    choices: tuple[RunChoice, ...]
    troubles: tuple[str, ...]
    is_part_off: bool
    recording_href: str
    benches: tuple[BenchChoice, ...]


def word_findings(found: list[dict[str, str]]) -> tuple[FindingWords, ...]:
    """Return kept findings as a page shows them."""
    return tuple(
        FindingWords(SIGNALS[one["signal"]], one["sentence"], one["source"], one["way_out"])
        for one in found
    )


def word_run_line(run: Run, zone: ZoneInfo) -> RunWords:
    """Return a run as a line."""
    is_recording = run.state is RunState.RECORDING
    return RunWords(
        id=run.id,
        href=f"/runs/{run.id}/reading" if is_recording else f"/runs/{run.id}",
        state=word_run(run.state, run.verdict, is_set_aside=run.is_set_aside),
        use="" if run.is_set_aside else spell_use(run.verdict, run.window_use_pct),
        bench=run.bench.code,
        at=spell_minute(run.started_at, zone),
        set_aside=run.set_aside_reason or "",
    )


def list_choices(
    site: SiteCard, step: JobStep, zone: ZoneInfo, *, said: str = ""
) -> tuple[RunChoice, ...]:
    """Return the runs of a line that count, newest first, where there are several to choose from.

    Chosen is the one that was `said`, else the one that counts now.
    """
    counting = site.list_counting_runs(step)
    if len(counting) < 2:  # noqa: PLR2004 - fewer leave no choice
        return ()
    now = site.find_run_of(step) or counting[-1]
    chosen = said if said in {str(run.id) for run in counting} else str(now.id)
    return tuple(
        RunChoice(
            value=str(run.id),
            label=f"run {run.id} · {spell_minute(run.started_at, zone)}",
            state=word_run(run.state, run.verdict),
            is_chosen=str(run.id) == chosen,
        )
        for run in reversed(counting)
    )


def word_entry(
    site: SiteCard, step: JobStep, entry: StepEntry, names: Names, zone: ZoneInfo
) -> EntryWords:
    """Return an entry as a page shows it."""
    used = tuple(ValueUsed.model_validate(value) for value in entry.values.get("used", []))
    found = entry.values.get("inspection")
    word = {
        EntryKind.DONE: StateWords("go", "done"),
        EntryKind.SKIPPED: StateWords("caution", "skipped"),
        EntryKind.CORRECTION: StateWords("go", "done, corrected"),
    }[entry.kind]
    if entry.values.get("skipped"):
        word = StateWords("caution", "skipped, corrected")
    return EntryWords(
        id=entry.id,
        state=word,
        is_valid=entry is site.find_valid_entry(step),
        corrects=str(entry.corrects_id or ""),
        run=str(entry.values.get("run", "")),
        at=spell_moment(entry.at, zone),
        by=names.get(entry.by_id, ""),
        reason=entry.values.get("reason", ""),
        remark=entry.remark,
        inspection=spell_inspection(InspectionResult.model_validate(found)) if found else (),
        lots=spell_lots(entry),
        values=used,
        changed=list_changed(site, step, used),
    )


def word_sites(card: WorkCard, names: Names, zone: ZoneInfo) -> tuple[SiteWords, ...]:
    """Return the sites of a job with all that is written on their lines."""
    return tuple(_word_site(card, site, names, zone) for site in card.sites)


def word_hold(hold: JobHold, names: Names, zone: ZoneInfo) -> HoldWords:
    """Return a hold as a line."""
    lifted = ""
    if hold.lifted_at is not None:
        by = names.get(hold.lifted_by_id or 0, "")
        lifted = f"{spell_moment(hold.lifted_at, zone)} · {by}"
    placed = f"{spell_moment(hold.placed_at, zone)} · {names.get(hold.placed_by_id, '')}"
    return HoldWords(hold.reason, placed, lifted, hold.lift_reason or "")


def make_panel(
    card: WorkCard,
    site: SiteCard,
    step: JobStep,
    *,
    form: EntryForm,
    benches: tuple[BenchChoice, ...],
    zone: ZoneInfo,
    said_run: str = "",
) -> StepPanel:
    """Return the line that is next, ready to be written; `said_run` is the run a form named."""
    runs = site.list_runs_of(step)
    run = site.find_run_of(step)
    recording = next((one for one in runs if one.state is RunState.RECORDING), None)
    return StepPanel(
        href=f"/jobs/{card.job.id}/steps/{step.id}",
        title=STEP_WORDS[step.kind],
        designator=site.designator,
        recipe=_name_recipe(site),
        instruction=write_instruction(get_body(site.job_site.revision), step.kind),
        form=form,
        asks_inspection=bool(form.checks),
        is_heated=step.kind in HEATED,
        has_run=run is not None,
        runs=tuple(word_run_line(one, zone) for one in runs),
        choices=list_choices(site, step, zone, said=said_run),
        troubles=list_troubles(run) if run else (),
        is_part_off=step.kind is StepKind.REMOVE,
        recording_href=f"/runs/{recording.id}/reading" if recording else "",
        benches=benches,
    )


def _word_site(card: WorkCard, site: SiteCard, names: Names, zone: ZoneInfo) -> SiteWords:
    revision = site.job_site.revision
    placement = site.job_site.site.placement
    first_open = next((step for step in site.steps if not site.is_written(step)), None)
    return SiteWords(
        designator=site.designator,
        part_number=placement.part_number or placement.value or placement.package,
        recipe=_name_recipe(site),
        recipe_href=f"/recipes/revisions/{revision.id}",
        digest=get_digest(revision)[:_SHORT_DIGEST],
        lines=tuple(
            LineWords(
                href=f"/jobs/{card.job.id}/steps/{step.id}",
                title=STEP_WORDS[step.kind],
                state=_word_line(site, step, is_next=step is first_open),
                entries=tuple(
                    word_entry(site, step, entry, names, zone)
                    for entry in site.entries.get(step.id, ())
                ),
                runs=tuple(word_run_line(run, zone) for run in site.list_runs_of(step)),
                do_href=f"/jobs/{card.job.id}?step={step.id}" if step is first_open else "",
            )
            for step in site.steps
        ),
    )


def _word_line(site: SiteCard, step: JobStep, *, is_next: bool) -> StateWords:
    if not site.is_written(step):
        return StateWords("plain", "next" if is_next else "open")
    if is_skipped(site, step):
        return StateWords("caution", "skipped")
    found = find_inspection(site, step)
    if found is not None and found.has_failed:
        return StateWords("stop", "failed")
    return StateWords("go", "done")


def _name_recipe(site: SiteCard) -> str:
    revision = site.job_site.revision
    return f"{revision.recipe.code} revision {revision.number}"
