"""The order of a file's times: over midnight, through changes of the clock, and never back."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.core.refusals import Unacceptable
from app.traces.files.decoding import FIELD
from app.traces.files.grid import Grid, Places
from app.traces.files.guess import TimePlan
from app.traces.files.markers import FindingKind
from app.traces.files.reading import Finding, Question, Taken
from app.traces.files.summer_time import list_clock_changes
from app.traces.rules import DecimalMark, ReadingChoices

_DAY_S: Final = 86_400
_HOUR_S: Final = 3_600
# A step over midnight is believed up to ten usual steps, or a minute where those are short.
_USUAL_STEPS: Final = 10
_SHORT_GAP_S: Final = 60
_LONGEST_QUOTE: Final = 40


class TimeNotIncreasing(Unacceptable):
    """The time goes back or stands still."""

    code = "traces.time_not_increasing"


@dataclass
class TimeOrder:
    """The cells of the time column, and what was found and supposed about their order."""

    grid: Grid
    plan: TimePlan
    mark: DecimalMark
    choices: ReadingChoices
    names: frozenset[tuple[str, ...]]
    findings: list[Finding]
    assumptions: list[str]
    questions: list[Question]
    taken: list[Taken]

    @property
    def where(self) -> str:
        """The time column by its number from 1 and its header."""
        header = f" “{self.plan.header}”" if self.plan.header else ""
        return f"column {self.plan.column + 1}{header}"

    def line(self, row: int) -> int:
        """Return the file's row, from 1, of a row of the grid."""
        return int(self.grid.lines[row])

    def written(self, row: int) -> str:
        """Return the row's time as written, with its date where that has a column of its own."""
        text = self.grid.text(row, self.plan.column)
        if self.plan.date_column is not None:
            text = f"{self.grid.text(row, self.plan.date_column)} {text}"
        return text[:_LONGEST_QUOTE]

    def bridge_midnight(
        self, rows: Places, ticks: NDArray[np.int64], decimals: int
    ) -> NDArray[np.int64]:
        """Return the ticks counting on over midnight where the step over it is a usual one."""
        day = _DAY_S * 10**decimals
        steps = np.diff(ticks)
        drops = np.flatnonzero(steps < 0)
        forward = steps[steps > 0]
        if not drops.size or not forward.size or ticks.max() >= day:
            return ticks
        longest = max(_USUAL_STEPS * int(np.median(forward)), _SHORT_GAP_S * 10**decimals)
        bridged = ticks.copy()
        for drop in drops:
            gap = int(steps[drop]) + day
            if gap > longest or -int(steps[drop]) <= day // 2:
                break
            bridged[drop + 1 :] += day
            before, after = self.line(int(rows[drop])), self.line(int(rows[drop + 1]))
            sentence = (
                f"The clock passes midnight between rows {before} and {after} "
                f"({self.written(int(rows[drop]))} → {self.written(int(rows[drop + 1]))}); "
                "the time was counted on."
            )
            self.assumptions.append(sentence)
            self.findings.append(
                Finding(self.plan.column, FindingKind.MIDNIGHT, before, after, 1, sentence)
            )
        return bridged

    def set_clock_right(
        self, rows: Places, ticks: NDArray[np.int64], decimals: int
    ) -> NDArray[np.int64]:
        """Return the ticks without changes of the clock to summer time or back, where shown.

        An hour more that nothing shows to be a change is taken for a pause and listed; an hour
        less then goes back in time.
        """
        right = ticks.copy()
        for change in list_clock_changes(ticks, decimals=decimals):
            place = change.place
            before, after = self.line(int(rows[place])), self.line(int(rows[place + 1]))
            said = f"{self.written(int(rows[place]))} → {self.written(int(rows[place + 1]))}"
            kind = FindingKind.SUMMER_TIME
            if change.is_shown:
                right[place + 1 :] -= change.hours * _HOUR_S * 10**decimals
                direction = "forward" if change.hours > 0 else "back"
                sentence = (
                    f"The clock was put {direction} by an hour between rows {before} and {after} "
                    f"({said}), as the samples' spacing shows; the time was counted on."
                )
                self.assumptions.append(sentence)
            elif change.hours > 0:
                kind = FindingKind.CLOCK_STEP
                sentence = (
                    f"Between rows {before} and {after} the clock goes on by an hour more than "
                    f"usual ({said}); it was taken for a pause."
                )
            else:
                continue
            self.findings.append(Finding(self.plan.column, kind, before, after, 1, sentence))
        return right

    def check_order(self, rows: Places, ticks: NDArray[np.int64]) -> None:
        """Refuse times that go back or stand still. Raises TimeNotIncreasing."""
        stops = np.flatnonzero(np.diff(ticks) <= 0)
        if not stops.size:
            return
        place = int(stops[0])
        before, after = int(rows[place]), int(rows[place + 1])
        if ticks[place] == ticks[place + 1]:
            said = f"has the time of row {self.line(before)} again ({self.written(after)})"
        else:
            said = (
                f"goes back in time, from {self.written(before)} in row {self.line(before)} to "
                f"{self.written(after)}; the logger may have been restarted there"
            )
        raise TimeNotIncreasing(
            f"Row {self.line(after)}, {self.where}, {said}. Times must grow from row to row.",
            field=FIELD,
        )
