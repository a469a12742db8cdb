"""A comparison in the words of a page, every temperature on the scale asked for."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from app.core.clock import spell_minute
from app.core.settings import Settings
from app.jobs.comparison import ComparedRun, Comparison
from app.jobs.comparison_envelope import FEWEST_RUNS, MARGIN_K, SHORTEST_S, HeldChannel
from app.jobs.comparison_view import read_run_at
from app.jobs.figures import describe_outcome, spell_outcome
from app.jobs.pages.words import StateWords, word_run
from app.jobs.rules import spell_job
from app.jobs.scale_words import spell_on_scale
from app.jobs.scales import Scale
from app.jobs.tables import Run
from app.numerics.envelope import Departures
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
    held: tuple[tuple[StateWords, str], ...]
    step_href: str


@dataclass(frozen=True)
class ComparedRow:
    """A figure of every run; each cell is value and difference to the first."""

    name: str
    cells: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ReadingRow:
    """What a run reads at the chosen moment, and how much more than the first run."""

    name: str
    at: str
    difference: str


@dataclass(frozen=True)
class ReadingWords:
    """All lines at one moment, and the envelope there."""

    moment_s: str
    unit: str
    rows: tuple[ReadingRow, ...]
    envelope: str


def make_head(
    run: Run, one: ComparedRun, comparison: Comparison, scale: Scale, settings: Settings
) -> RunHead:
    """Return a run at the head of its column."""
    revision = run.job_site.revision
    placed = one.placed
    note = spell_on_scale(placed.note, scale)
    words = f"not drawn: {note}"
    if placed.trace is not None:
        words = f"channel {one.channel}, moved by {scale.spell(placed.shift_s, 's', signed=True)}"
        if placed.rms_k is not None:
            words += f", then {scale.spell(placed.rms_k, 'K')} apart (root mean square)"
        words += f"; {note}" if note else ""
    return RunHead(
        id=run.id,
        text=f"Run {run.id} · {spell_job(run.job_site.job_id)} · "
        f"{run.job_site.site.placement.designator}",
        at=spell_minute(run.started_at, settings.zone),
        recipe=f"{revision.recipe.code} revision {revision.number}",
        state=word_run(run.state, run.verdict),
        placed=words,
        held=((StateWords("plain", "one of the runs that the envelope is of"), ""),)
        if run.id in comparison.envelope.of
        else word_held(one.held, scale),
        step_href=f"/runs/{run.id}/step"
        + ("" if scale is Scale.CELSIUS else f"?{urlencode({'unit': str(scale)})}"),
    )


def word_held(held: Sequence[HeldChannel], scale: Scale) -> tuple[tuple[StateWords, str], ...]:
    """Say which channels leave the envelope, where and by how much, and which stay within it."""
    said = [
        (
            StateWords("caution", "leaves the envelope"),
            f"{one.name} {_spell_departures(one.departures, scale)}",
        )
        for one in held
        if isinstance(one.departures, Departures) and one.departures.found
    ]
    within = [
        (one.name, one.departures)
        for one in held
        if isinstance(one.departures, Departures) and not one.departures.found
    ]
    if within:
        begin = min(departures.from_s for _, departures in within)
        end = max(departures.to_s for _, departures in within)
        names = ", ".join(name for name, _ in within)
        said.append(
            (StateWords("go", "within the envelope"), f"{names}, {begin:.0f} s to {end:.0f} s")
        )
    said += [
        (
            StateWords("caution", "cannot say"),
            f"{one.name}: {spell_on_scale(one.departures.reason, scale)}",
        )
        for one in held
        if isinstance(one.departures, CannotSay)
    ]
    return tuple(said)


def _spell_departures(departures: Departures, scale: Scale) -> str:
    furthest = departures.furthest
    if furthest is None:
        return ""
    more = len(departures.found) - 1
    times = f", and {more} other time{'s' if more > 1 else ''}" if more else ""
    return (
        f"is {furthest.side} it by up to {scale.spell(furthest.furthest_k, 'K')} at "
        f"{furthest.furthest_at_s:.1f} s ({furthest.from_s:.1f} s to {furthest.to_s:.1f} s){times}"
    )


def spell_envelope(comparison: Comparison, scale: Scale) -> str:
    """Say what the envelope is of and what leaving it means, or what is missing for one."""
    envelope, there = comparison.envelope, comparison.envelopes.there
    left_out = "".join(
        f"; run {run_id} is not in it: {spell_on_scale(why, scale)}"
        for run_id, why in envelope.left_out
    )
    whose = "of the first run's recipe revision, line and bench, in jobs closed as accepted"
    if isinstance(envelope.band, CannotSay):
        usable = len(envelope.of)
        if usable >= FEWEST_RUNS:
            return f"no envelope: {spell_on_scale(envelope.band.reason, scale)}{left_out}"
        count = (
            f"{there} {'is' if there == 1 else 'are'} there"
            if usable == there
            else f"of the {there} there {usable} can be used"
        )
        return (
            f"no envelope: it takes {FEWEST_RUNS} other runs or more {whose}; {count}, "
            f"{FEWEST_RUNS - usable} more {'is' if FEWEST_RUNS - usable == 1 else 'are'} "
            f"missing{left_out}"
        )
    fewer = f"; {comparison.envelopes.fewer}" if comparison.envelopes.fewer else ""
    return (
        f"lowest and highest of the last {len(envelope.of)} other accepted runs of the first "
        f"run's recipe revision, line and bench ({_list_words(envelope.of)}){fewer}{left_out}; to "
        f"leave it is to be more than {scale.spell(MARGIN_K, 'K')} outside for {SHORTEST_S:g} s"
    )


def _list_words(run_ids: Iterable[int]) -> str:
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
    return tuple(
        ComparedRow(
            spell_on_scale(figure.name, scale),
            tuple(
                (
                    spell_value(outcome, scale),
                    spell_difference(outcome, figure.outcomes[0], difference, scale)
                    if place
                    else "",
                )
                for place, (outcome, difference) in enumerate(
                    zip(figure.outcomes, (None, *figure.differences), strict=True)
                )
            ),
        )
        for figure in comparison.figures
    )


def spell_value(outcome: Outcome | None, scale: Scale) -> str:
    """Spell a figure, with the reason where there is none; `–` for a channel left out."""
    if outcome is None:
        return "–"
    said = spell_outcome(describe_outcome(outcome), scale=scale)
    if isinstance(outcome, NotReached | CannotSay):
        return f"{said}: {spell_on_scale(outcome.reason, scale)}"
    return said


def spell_difference(
    own: Outcome | None, first: Outcome | None, difference: Outcome | None, scale: Scale
) -> str:
    """Spell how much more a figure is than the first run's, or why there is no difference."""
    if isinstance(difference, Measured) and isinstance(own, Measured):
        said = scale.spell(difference.value, str(difference.unit), signed=True)
        if isinstance(first, Measured):
            said = scale.spell_apart(own.value, first.value, str(own.unit))
        return f"{said}, cut off" if difference.is_censored else said
    # Where the run has no value itself, its own cell says so already.
    if isinstance(own, Measured):
        return f"no difference: in the first run {_spell_absence(first)}"
    return ""


def _spell_absence(outcome: Outcome | None) -> str:
    if outcome is None:
        return "the channel was left out"
    return "not reached" if isinstance(outcome, NotReached) else "cannot say"


def make_readings(comparison: Comparison, moment_s: float, scale: Scale) -> ReadingWords:
    """Return what all lines read at an aligned moment, and the envelope there."""
    values = [read_run_at(run, moment_s) for run in comparison.runs]
    rows = []
    for run, at in zip(comparison.runs, values, strict=True):
        difference = ""
        if at is not None and values[0] is not None and run is not comparison.runs[0]:
            difference = scale.spell_apart(at, values[0], "°C")
        rows.append(
            ReadingRow(
                f"run {run.candidate.run_id}",
                "no reading" if at is None else scale.spell(at, "°C"),
                difference,
            )
        )
    span = comparison.envelope.read_at(moment_s)
    envelope = ""
    if span is not None:
        low, high = (scale.spell(one, "°C") for one in span)
        envelope = f"{low} to {high}"
    elif not isinstance(comparison.envelope.band, CannotSay):
        envelope = "does not reach here"
    return ReadingWords(f"{moment_s:.1f}", scale.words, tuple(rows), envelope)
