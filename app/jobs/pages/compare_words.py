"""A comparison in the words of a page."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.core.clock import spell_minute
from app.core.settings import Settings
from app.jobs.comparison import MARGIN_K, SHORTEST_S, ComparedRun, Comparison
from app.jobs.figures import describe_outcome, spell_outcome
from app.jobs.pages.words import StateWords, word_run
from app.jobs.rules import spell_job
from app.jobs.scales import Scale
from app.jobs.tables import Run
from app.numerics.envelope import Departure
from app.numerics.values import CannotSay, Measured, NotReached, Outcome


@dataclass(frozen=True)
class RunHead:
    """A run at the head of its column, and how it lies in the picture."""

    id: int
    text: str
    at: str
    recipe: str
    state: StateWords
    placed: str
    sentence: str
    is_outside: bool


@dataclass(frozen=True)
class ComparedRow:
    """A figure of every run; each cell is value and difference to the first."""

    name: str
    cells: tuple[tuple[str, str], ...]


def make_head(run: Run, one: ComparedRun, scale: Scale, settings: Settings) -> RunHead:
    """Return a run at the head of its column."""
    revision = run.job_site.revision
    placed = one.note
    if one.line is not None:
        placed = f"channel {one.channel}, moved by {scale.spell(one.shift_s, 's', signed=True)}"
        if one.rms_k is not None:
            placed += f", then {scale.spell(one.rms_k, 'K')} apart (root mean square)"
        placed += f"; {one.note}" if one.note else ""
    return RunHead(
        id=run.id,
        text=f"Run {run.id} · {spell_job(run.job_site.job_id)} · "
        f"{run.job_site.site.placement.designator}",
        at=spell_minute(run.started_at, settings.zone),
        recipe=f"{revision.recipe.code} revision {revision.number}",
        state=word_run(run.state, run.verdict),
        placed=placed,
        sentence=_spell_departures(one, scale),
        is_outside=bool(one.departures and one.departures.found),
    )


def _spell_departures(one: ComparedRun, scale: Scale) -> str:
    """Say whether and where a run leaves the envelope; nothing where there is none."""
    if one.departures is None:
        return ""
    furthest = one.departures.furthest
    if furthest is None:
        return (
            "stays within the envelope from "
            f"{one.departures.from_s:.0f} s to {one.departures.to_s:.0f} s"
        )
    more = len(one.departures.found) - 1
    times = f", and {more} other time{'s' if more > 1 else ''}" if more else ""
    return f"leaves the envelope {_spell_departure(furthest, scale)}{times}"


def _spell_departure(departure: Departure, scale: Scale) -> str:
    return (
        f"{departure.side} it by up to {scale.spell(departure.furthest_k, 'K')} at "
        f"{departure.furthest_at_s:.1f} s ({departure.from_s:.1f} s to {departure.to_s:.1f} s)"
    )


def spell_envelope(comparison: Comparison, scale: Scale) -> str:
    """Say what the envelope is of and what leaving it means, or why there is none."""
    if isinstance(comparison.envelope, CannotSay):
        return (
            "no envelope: that takes two earlier runs or more of the first run's recipe revision, "
            "line and bench, in jobs closed as accepted"
        )
    return (
        f"lowest and highest of the last {comparison.envelope.run_count} other accepted runs of "
        f"the first run's recipe revision on its bench ({_list_words(comparison.envelope_of)}); "
        f"to leave it is to be more than {scale.spell(MARGIN_K, 'K')} outside for {SHORTEST_S:g} s"
    )


def _list_words(run_ids: Sequence[int]) -> str:
    return ", ".join(f"run {run_id}" for run_id in run_ids)


def list_cautions(runs: Sequence[Run]) -> tuple[str, ...]:
    """Say which runs followed another recipe revision than the first."""
    first = runs[0].recipe_revision_id
    return tuple(
        f"Run {run.id} followed another recipe revision than run {runs[0].id}; its figures are "
        "computed by its own revision's liquidus, soak and window for slopes."
        for run in runs[1:]
        if run.recipe_revision_id != first
    )


def make_rows(comparison: Comparison, scale: Scale) -> tuple[ComparedRow, ...]:
    """Return every figure of every run with its difference to the first."""
    rows = []
    for figure in comparison.figures:
        differences = (None, *figure.differences)
        rows.append(
            ComparedRow(
                figure.name,
                tuple(
                    (_spell(outcome, scale), _spell_difference(difference, scale))
                    for outcome, difference in zip(figure.outcomes, differences, strict=True)
                ),
            )
        )
    return tuple(rows)


def _spell(outcome: Outcome | None, scale: Scale) -> str:
    if outcome is None:
        return "–"
    said = spell_outcome(describe_outcome(outcome), scale=scale)
    return f"{said}: {outcome.reason}" if isinstance(outcome, NotReached | CannotSay) else said


def _spell_difference(difference: Outcome | None, scale: Scale) -> str:
    if not isinstance(difference, Measured):
        return ""
    said = scale.spell(difference.value, str(difference.unit), signed=True)
    return f"{said}, cut off" if difference.is_censored else said
