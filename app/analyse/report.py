"""An analysis for people: tables of figures and limits, and one line where there are many files."""

from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from app.analyse.analysis import (
    Analysis,
    Failure,
    MoreFigures,
    spell_sentence,
)
from app.analyse.standard import Standard
from app.core.numbers import spell_number
from app.jobs.figures import (
    CHANNEL_FIGURES,
    DEFINITIONS,
    describe_channel,
    describe_line,
    describe_outcome,
    describe_site,
    spell_outcome,
)
from app.jobs.scales import Scale
from app.jobs.verdict_words import find_expanded, spell_limits, spell_metric
from app.numerics.values import Outcome
from app.plant.measuring import ChannelCorrection, spell_chain
from app.recipes.verdict import Verdict, VerdictLine, VerdictState
from app.recipes.verdict_order import get_rank_of

_WORDS = {
    VerdictState.INSIDE: "inside",
    VerdictState.OUTSIDE: "OUTSIDE",
    VerdictState.TOO_CLOSE: "too close",
    VerdictState.CANNOT_SAY: "cannot say",
}
_UNREADABLE = "UNREADABLE"
_LONGEST_WORD = max(map(len, (*_WORDS.values(), _UNREADABLE)))


_SITE_FIGURES = (
    ("Spread between joints", "spread"),
    ("Spread at the coldest joint's peak", "spread_at_coldest_peak"),
    ("All joints above liquidus from", "all_above_liquidus"),
    ("Lift rule met", "lift"),
)


def spell_line(result: Analysis | Failure, standard: Standard) -> str:
    """Return the file's state, name and sentence in one line."""
    sentence = (
        result.sentence
        if isinstance(result, Failure)
        else spell_sentence(result.figures.verdict, standard.title)
    )
    one_line = " ".join(sentence.split())
    word = _UNREADABLE if isinstance(result, Failure) else _WORDS[result.figures.verdict.state]
    return f"{word:<{_LONGEST_WORD}}  {result.path}  {one_line}"


def lay_out(analysis: Analysis, standard: Standard) -> Iterator[RenderableType]:
    """Yield what is shown of one file: figures, limits, notes, sources and the verdict's sentence.

    Texts from the file are shown as they are and never read as markup.
    """
    yield Text(
        f"{analysis.path}: {analysis.sample_count:,} samples of {analysis.channel_count} "
        f"channel{'' if analysis.channel_count == 1 else 's'} over {analysis.duration_s:g} s"
    )
    if analysis.figures.channels:
        yield _lay_out_figures(analysis, standard)
        site = describe_site(analysis.figures.analysis.site)
        for label, name in _SITE_FIGURES:
            if site[name] is not None:
                yield Text(f"{label}: {spell_at(site[name])}")
    yield _lay_out_limits(analysis.figures.verdict)
    yield Text(f"Decided by {analysis.figures.verdict.rule}; definitions {DEFINITIONS}.")
    chain, is_assumed = analysis.figures.chain, analysis.figures.is_assumed
    note = f" – {chain.note}" if chain.note and not is_assumed else ""
    yield Text(f"Measuring chain: {spell_chain(chain)}{note}.")
    for one in chain.corrections:
        yield Text(f"· {one.channel}: {_spell_covered(one)}.")
    for note in (*analysis.notes, *analysis.figures.verdict.left_out):
        yield Text(f"· {note}")
    yield Text("Sources")
    for source in standard.sources:
        yield Text(f"· {source}")
    yield Text(spell_sentence(analysis.figures.verdict, standard.title), style="bold")


def _spell_covered(correction: ChannelCorrection) -> str:
    if correction.covers is None:
        return "corrected; the tolerances of wire and logger both stay in its uncertainty"
    return f"corrected; calibrated is {correction.covers.words}, whose own tolerance is left out"


def _lay_out_figures(analysis: Analysis, standard: Standard) -> Table:
    readings = analysis.figures.channels
    told = [describe_channel(one.metrics, one.uncertainty) for one in readings]
    more = [analysis.more[reading.name] for reading in readings]
    table = _make_table("Figure", *(f"{one.name} ({one.role.words})" for one in readings))
    over = f"{spell_number(standard.window.ramp_window_s)} s"
    for name, label in CHANNEL_FIGURES.items():
        if any(one[name] is not None for one in told):
            is_slope = name in {"maximum_ramp", "maximum_fall"}
            table.add_row(
                Text(f"{label} over {over}" if is_slope else label),
                *(Text(spell_at(one[name])) for one in told),
            )
    for row in _list_more(more, analysis.times_above_c):
        table.add_row(*map(Text, row))
    return table


def _list_more(more: Sequence[MoreFigures], asked_c: Sequence[float]) -> Iterator[list[str]]:
    if not more:
        return
    for place, above_c in enumerate(asked_c):
        yield [
            f"Time above {spell_number(above_c)} °C",
            *(spell_at(one.times_above[place]) for one in more),
        ]
    for place, (over_s, _, _) in enumerate(more[0].ramps):
        over = f"over {spell_number(over_s)} s"
        yield [f"Maximum ramp {over}", *(_spell(one.ramps[place][1]) for one in more)]
        yield [f"Maximum fall {over}", *(_spell(one.ramps[place][2]) for one in more)]


def spell_at(said: dict[str, object] | None) -> str:
    """Spell a described outcome with all its digits, its U and its moment.

    `238.4 °C ± 3.1 K at 252.5 s`; the reason where there is no value.
    """
    if said is None:
        return spell_outcome(said)
    expanded = said.get("expanded")
    spelled = spell_outcome({name: one for name, one in said.items() if name != "expanded"})
    if isinstance(expanded, float) and isinstance(said["unit"], str):
        spelled += f" ± {Scale.CELSIUS.spell_difference(expanded, said['unit'], expanded)}"
    reason = said.get("not_reached") or said.get("cannot_say")
    if reason:
        return f"{spelled}: {reason}"
    at_s = said.get("at_s")
    # A moment is its own.
    if said["unit"] == "s" and at_s == said["value"]:
        return spelled
    return spelled if not isinstance(at_s, float) else f"{spelled} at {at_s:.1f} s"


def _spell(outcome: Outcome) -> str:
    return spell_at(describe_outcome(outcome))


def _lay_out_limits(verdict: Verdict) -> Table:
    table = _make_table("Limit", "Channel", "Value", "± U", "Allowed", "State", "Use")
    for line in _sort_deciding_first(verdict):
        use = "–" if line.window_use_pct is None else f"{line.window_use_pct:.0f} %"
        said = describe_line(line)
        expanded = find_expanded(said)
        table.add_row(
            *map(
                Text,
                (
                    spell_metric(said),
                    line.channel or "site",
                    "–" if line.value is None else Scale.CELSIUS.spell(line.value, line.unit),
                    "–"
                    if expanded is None
                    else Scale.CELSIUS.spell_difference(expanded, line.unit, expanded),
                    spell_limits(said),
                    str(line.state),
                    use,
                ),
            )
        )
    return table


def _sort_deciding_first(verdict: Verdict) -> list[VerdictLine]:
    # Sorting keeps the order of equals, as the choice of the deciding line does.
    return sorted(verdict.lines, key=get_rank_of)


def _make_table(*headings: str) -> Table:
    table = Table(show_edge=False, pad_edge=False)
    for heading in headings:
        table.add_column(Text(heading), overflow="fold")
    return table
