"""A run's trace held against the windows that stand for its part, whatever its recipe says."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.boards.tables import Placement
from app.jobs.figures import analyse_trace, find_kept_chain
from app.jobs.queries import SiteCard
from app.jobs.rules import StepKind
from app.jobs.run_figures import RunFigures, drop_lower_limits
from app.jobs.tables import JobStep, Run
from app.materials.rules import MoistureLevel
from app.materials.tables import Part
from app.numerics.errors import NumericsError
from app.plant.measuring import spell_chain
from app.recipes.body.setup import Thermocouple
from app.recipes.body.window import METRICS, Limit, Window
from app.recipes.queries import get_body
from app.recipes.verdict import (
    DecisionRule,
    VerdictLine,
    VerdictState,
    judge,
)
from app.recipes.verdict_order import get_rank_of
from app.traces.queries import RecordedTrace
from app.traces.rules import ChannelRole
from app.windows.body import NEEDED, WindowLine
from app.windows.describe import list_dependent
from app.windows.holding import HeldWindow
from app.windows.standing import hold_window, list_standing_windows

NOT_MEASURED: Final = "nobody measured it"


@dataclass(frozen=True)
class HeldLine:
    """A row of a window held against one channel; `channel` of the line is empty for the site.

    Not `is_measured`: the trace has no channel of its roles, so that nothing can be said.
    """

    row: WindowLine
    line: VerdictLine
    is_measured: bool = True

    @property
    def order(self) -> tuple[float, ...]:
        """The worst first, then as the lines of a recipe's verdict."""
        return get_rank_of(self.line)


@dataclass(frozen=True)
class HeldVerdict:
    """What a window says of a run, line by line, the deciding one first."""

    held: HeldWindow
    lines: tuple[HeldLine, ...]

    @property
    def measured(self) -> tuple[HeldLine, ...]:
        """The lines that something was measured for."""
        return tuple(one for one in self.lines if one.is_measured)

    @property
    def state(self) -> VerdictState:
        """The worst of what was measured; cannot say where nothing was."""
        return get_worst(one.line.state for one in self.measured)


@dataclass(frozen=True)
class RunStanding:
    """A run against all that stands for its part, and against one more window where asked for.

    `not_known` says what could not be found; `chain` and `rule` what every line rests on.
    """

    windows: tuple[HeldVerdict, ...]
    asked: HeldVerdict | None
    not_known: tuple[str, ...]
    chain: str
    rule: DecisionRule
    part: Part | None

    @property
    def state(self) -> VerdictState:
        """The worst of what was measured against what stands; cannot say where nothing was."""
        return get_worst(one.line.state for each in self.windows for one in each.measured)

    @property
    def is_measured(self) -> bool:
        """Whether anything that stands could be held against a channel."""
        return any(one.measured for one in self.windows)

    @property
    def deciding(self) -> tuple[HeldWindow, HeldLine] | None:
        """The worst line of what stands, with its window; None where nothing was measured."""
        found = [(one.held, line) for one in self.windows for line in one.measured]
        return min(found, key=lambda pair: pair[1].order, default=None)


def get_worst(states: Iterable[VerdictState]) -> VerdictState:
    """Return the worst state; cannot say where there is none."""
    return max(states, key=lambda one: one.severity, default=VerdictState.CANNOT_SAY)


def hold_run(
    session: Session,
    run: Run,
    recorded: RecordedTrace,
    *,
    site: SiteCard,
    step: JobStep,
    key: str | None = None,
) -> RunStanding:
    """Hold a run with a trace against all that stands for its site's part; nothing is kept.

    `key` names one more window, built in or published. Measured and decided as the kept figures
    are: with their chain, by guarded acceptance; a removal against the upper limits alone. Raises
    windows.unknown, windows.not_in_force and windows.part_not_known for the key.
    """
    body = get_body(site.job_site.revision)
    placement = site.job_site.site.placement
    standing = list_standing_windows(
        session,
        placement.part,
        alloy=body.window.alloy,
        neighbour_levels=list_neighbour_levels(session, placement.assembly_id, recorded),
    )
    windows = list(standing.windows)
    if key is not None:
        windows.append(hold_window(session, key, placement.part))
    if step.kind is StepKind.REMOVE:
        windows = [replace(one, window=drop_lower_limits(one.window)) for one in windows]
    desk = _Desk(run, recorded)
    try:
        verdicts = desk.judge_all(windows)
    except NumericsError as error:
        return RunStanding(
            (), None, (f"The trace cannot be measured: {error}",), "",
            DecisionRule.GUARDED, placement.part,
        )  # fmt: skip
    return RunStanding(
        windows=verdicts[: len(standing.windows)],
        asked=None if key is None else verdicts[-1],
        not_known=standing.not_known,
        chain=desk.spell_chain(),
        rule=DecisionRule.GUARDED,
        part=placement.part,
    )


def list_neighbour_levels(
    session: Session, assembly_id: int, recorded: RecordedTrace
) -> tuple[MoistureLevel | None, ...]:
    """Return the moisture level of each neighbour that a channel names, None where not known."""
    names = {one.designator or "" for one in recorded.channels if one.role is ChannelRole.ADJACENT}
    if not names:
        return ()
    rows = session.execute(
        select(Placement.designator, Part.moisture_level)
        .join(Part, Part.id == Placement.part_id)
        .where(Placement.assembly_id == assembly_id, Placement.designator.in_(sorted(names)))
    ).all()
    levels = {one.designator: one.moisture_level for one in rows}
    return tuple(levels.get(name) for name in sorted(names))


class _Desk:
    """One trace, measured once for all windows that ask for the same temperatures."""

    def __init__(self, run: Run, recorded: RecordedTrace) -> None:
        self._recorded = recorded
        self._chain = find_kept_chain(run.figures)
        self._findings = run.trace.reading["findings"] if run.trace else []
        self._plan = tuple(_plan(recorded))
        self._words = ""

    def judge_all(self, windows: Sequence[HeldWindow]) -> tuple[HeldVerdict, ...]:
        """Hold the trace against every window. Raises NumericsError."""
        verdicts: dict[int, HeldVerdict] = {}
        for temperatures, places in group_windows(windows):
            figures: RunFigures | None = None
            for place in places:
                held = windows[place]
                window = held.window.model_copy(update=temperatures)
                figures = figures or self._measure(window)
                verdicts[place] = HeldVerdict(held, self._judge(held, window, figures))
        return tuple(verdicts[place] for place in range(len(windows)))

    def spell_chain(self) -> str:
        """Return the words of the chain that everything was measured with."""
        return self._words

    def _measure(self, window: Window) -> RunFigures:
        figures = analyse_trace(
            self._recorded,
            window=window,
            plan=self._plan,
            lift_rule=None,
            findings=self._findings,
            chain=self._chain,
        )
        told = " (no chain is described for this bench)" if figures.is_assumed else ""
        self._words = f"{spell_chain(figures.chain)}{told}"
        return figures

    def _judge(self, held: HeldWindow, window: Window, figures: RunFigures) -> tuple[HeldLine, ...]:
        lines = []
        for limit in window.limits:
            row = next(
                one
                for one in held.text.rows
                if one.metric is limit.metric and one.roles == limit.roles
            )
            verdict = judge(
                window.model_copy(update={"limits": (limit,)}),
                plan=self._plan,
                channels=figures.channels,
                site=figures.analysis.site,
                faults=figures.faults,
            )
            lines += [HeldLine(row, one) for one in verdict.lines]
            lines += self._list_not_measured(row, limit)
        return tuple(sorted(lines, key=lambda one: (not one.is_measured, one.order)))

    def _list_not_measured(self, row: WindowLine, limit: Limit) -> Iterator[HeldLine]:
        """Yield one line for the roles of a limit that the trace has no channel of."""
        there = {one.role for one in self._recorded.channels}
        silent = tuple(role for role in limit.roles if role not in there)
        if silent and not METRICS[limit.metric].is_of_site:
            line = VerdictLine(
                metric=limit.metric,
                channel="",
                value=None,
                unit=limit.unit,
                lower=limit.lower,
                upper=limit.upper,
                state=VerdictState.CANNOT_SAY,
                window_use_pct=None,
                reason=NOT_MEASURED,
            )
            yield HeldLine(row.model_copy(update={"roles": silent}), line, is_measured=False)


def group_windows(
    windows: Sequence[HeldWindow],
) -> list[tuple[dict[str, Any], list[int]]]:
    """Return the fewest groups of windows that one measurement serves, by their places.

    Each with the temperatures (°C) and the time for slopes (s) that its windows are measured at.
    """
    groups: list[tuple[dict[str, Any], list[int]]] = []
    for place, held in enumerate(windows):
        asked = _list_asked(held)
        for temperatures, places in groups:
            if all(temperatures.get(name, value) == value for name, value in asked.items()):
                temperatures.update(asked)
                places.append(place)
                break
        else:
            groups.append((asked, [place]))
    return groups


def _list_asked(held: HeldWindow) -> dict[str, Any]:
    """Return what the metrics of a window's rows cannot be measured without."""
    text, window = held.text, held.window
    asked = {name: getattr(window, name) for name in NEEDED if list_dependent(text, name)}
    if any(row.metric.value.startswith("max_ramp") for row in text.rows):
        asked["ramp_window_s"] = window.ramp_window_s
    return asked


def _plan(recorded: RecordedTrace) -> Iterator[Thermocouple]:
    """Yield every channel of the trace, so that one that is left out for its fault is said."""
    for one in recorded.channels:
        if one.role is not ChannelRole.UNUSED:
            yield Thermocouple(
                channel=one.name,
                role=one.role,
                designator=(one.designator or "any") if one.role is ChannelRole.ADJACENT else "",
                required=True,
            )
