"""What an address asks of a comparison, and the comparison it gets."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import Depends, Query
from pydantic import BeforeValidator, Field
from sqlalchemy.orm import Session

from app.accounts.queries import map_account_names
from app.core.clock import spell_moment
from app.core.settings import Settings
from app.core.text import RowId
from app.jobs.comparison import Alignment, Candidate, Comparison, compare_runs
from app.jobs.comparison_envelope import FEWEST_RUNS, MOST_RUNS, USUAL_RUNS
from app.jobs.comparison_picture import Layout, draw_comparison_svg, lay_out
from app.jobs.comparison_runs import (
    MOST_READINGS,
    ChannelNotThere,
    count_readings,
    load_candidates,
    load_earlier,
    map_serials,
)
from app.jobs.comparison_view import ComparedView, choose_moment, view_comparison
from app.jobs.pages.charts import DIGEST_SHOWN
from app.jobs.pages.compare_words import spell_envelope
from app.jobs.queries import get_run
from app.jobs.rules import spell_job
from app.jobs.scales import Scale
from app.jobs.tables import Run

FEWEST_COMPARED: Final = 2
MOST_COMPARED: Final = 12
_FURTHEST_S: Final = 1e9


def _blank_is_none(value: object) -> object:
    """Take a field that a form sent empty for one that it did not send."""
    return None if value == "" else value


# Before what is aligned a time is negative.
_Moment = Annotated[
    Annotated[float, Field(ge=-_FURTHEST_S, le=_FURTHEST_S, allow_inf_nan=False)] | None,
    BeforeValidator(_blank_is_none),
]


class AskedComparison:
    """Which runs, laid over each other how, by which channel, on which scale, and the part seen.

    `last` is how many accepted runs the envelope is of, `at` the moment that is read, in s.
    """

    def __init__(
        self,
        run: Annotated[list[RowId] | None, Query(max_length=MOST_COMPARED)] = None,
        align: Alignment = Alignment.START,
        channel: Annotated[str, Query(max_length=60)] = "",
        unit: Scale = Scale.CELSIUS,
        last: Annotated[int, Query(ge=FEWEST_RUNS, le=MOST_RUNS)] = USUAL_RUNS,
        from_s: Annotated[_Moment, Query(alias="from")] = None,
        to_s: Annotated[_Moment, Query(alias="to")] = None,
        at: Annotated[_Moment, Query()] = None,
    ) -> None:
        self.run_ids = tuple(dict.fromkeys(run or ()))
        self.alignment = align
        self.channel = channel
        self.scale = unit
        self.last = last
        self.from_s = from_s
        self.to_s = to_s
        self.at_s = at

    def spell(self, **other: str) -> str:
        """Return the query that asks for the same, or for something else; empty leaves it out."""
        said = {
            "align": str(self.alignment),
            "channel": self.channel,
            "unit": str(self.scale),
            "last": str(self.last) if self.last != USUAL_RUNS else "",
            "from": _spell_moment(self.from_s),
            "to": _spell_moment(self.to_s),
            "at": _spell_moment(self.at_s),
            **other,
        }
        return urlencode(
            [*(("run", str(one)) for one in self.run_ids), *((k, v) for k, v in said.items() if v)]
        )


Asked = Annotated[AskedComparison, Depends(AskedComparison)]


def _spell_moment(moment_s: float | None) -> str:
    return "" if moment_s is None else f"{moment_s:.10g}"


@dataclass(frozen=True, eq=False)
class SeenComparison:
    """A comparison with the part of it that is seen, and the pairs that say where it is from."""

    runs: tuple[Run, ...]
    comparison: Comparison
    view: ComparedView
    layout: Layout
    scale: Scale
    at_s: float
    about: tuple[tuple[str, str], ...]

    def draw(self) -> str:
        """Return the picture as SVG."""
        return draw_comparison_svg(
            self.comparison, self.view, self.layout, scale=self.scale, about=self.about
        )


def see_comparison(session: Session, asked: AskedComparison, settings: Settings) -> SeenComparison:
    """Compare what an address asks for. Refuses what cannot be compared, naming the field."""
    if len(asked.run_ids) < FEWEST_COMPARED:
        raise ChannelNotThere("Name 2 to 12 runs to compare.", field="run")
    runs = tuple(get_run(session, run_id) for run_id in asked.run_ids)
    candidates = load_candidates(session, runs, most=MOST_READINGS)
    channel = asked.channel or choose_channel(candidates[0])
    names = [one.name for one in candidates[0].recorded.channels]
    if channel not in names:
        raise ChannelNotThere(
            f"Run {runs[0].id} has no channel of this name; it has {', '.join(names)}.",
            field="channel",
        )
    earlier = load_earlier(
        session,
        runs[0],
        last=asked.last,
        loaded=candidates,
        most=MOST_READINGS - sum(count_readings(run) for run in runs),
    )
    comparison = compare_runs(
        candidates,
        channel=channel,
        alignment=asked.alignment,
        earlier=earlier.runs,
        wanted=asked.last,
        is_cut=earlier.is_cut,
    )
    view = view_comparison(comparison, from_s=asked.from_s, to_s=asked.to_s)
    at_s = choose_moment(comparison, view) if asked.at_s is None else asked.at_s
    return SeenComparison(
        runs,
        comparison,
        view,
        lay_out(comparison, view),
        asked.scale,
        at_s,
        _list_about(session, runs, comparison, view, asked.scale, settings),
    )


def choose_channel(candidate: Candidate) -> str:
    """Return the channel to compare by unless one is named: the first joint."""
    channels = candidate.recorded.channels
    return next((one.name for one in channels if one.role.is_joint), channels[0].name)


def _list_about(
    session: Session,
    runs: Sequence[Run],
    comparison: Comparison,
    view: ComparedView,
    scale: Scale,
    settings: Settings,
) -> tuple[tuple[str, str], ...]:
    names = map_account_names(session, {run.by_id for run in runs})
    serials = map_serials(session, runs)
    about = []
    for run, compared in zip(runs, comparison.runs, strict=True):
        words = spell_origin(
            run, serial=serials[run.id], operator=names.get(run.by_id, ""), settings=settings
        )
        words += f", channel {compared.channel or 'none'}"
        about.append((f"Run {run.id}:", words))
    # A start a hair before zero is zero.
    from_s, first_s = round(view.from_s, 1) + 0.0, round(view.first_s, 1) + 0.0
    seen = f"{from_s:.1f} s to {view.to_s:.1f} s"
    if not view.is_whole:
        seen += f" of {first_s:.1f} s to {view.last_s:.1f} s"
    envelope = spell_envelope(comparison, scale)
    return (
        *about,
        ("Shaded:", envelope),
        ("Seen", seen),
        ("Temperatures in", scale.words),
    )


def spell_origin(run: Run, *, serial: str, operator: str, settings: Settings) -> str:
    """Say where a run of get_run comes from: board, job, recipe digest, bench, operator, time."""
    revision = run.job_site.revision
    return (
        f"board {serial}, {run.job_site.site.placement.designator}, "
        f"{spell_job(run.job_site.job_id)}, {revision.recipe.code} revision {revision.number} "
        f"(digest {(revision.digest or '')[:DIGEST_SHOWN]}), bench {run.bench.code}, "
        f"operator {operator}, {spell_moment(run.started_at, settings.zone)}"
    )
