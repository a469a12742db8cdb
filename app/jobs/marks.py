"""Where something is amiss in a recording: stretches without readings, and what looks faulty."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from app.jobs.chart import Mark
from app.jobs.drawing import compute_longest_step_s
from app.jobs.run_figures import FAULT_ROLES
from app.numerics.faults import FaultRole, find_faults
from app.traces.queries import RecordedTrace

MOST_MARKS: Final = 60


def list_marks(
    recorded: RecordedTrace, figures: Mapping[str, Any] | None = None
) -> tuple[Mark, ...]:
    """Return what is amiss in order of time; of more than 60 the longest.

    The faults are those kept with the run's figures; where these name none of their own, as before
    definitions 2, they are looked for now.
    """
    time_s = recorded.time_s
    temperatures = {one.name: one.temperature_c() for one in recorded.channels}
    kept = (figures or {}).get("findings")
    marks = _find_marks(recorded) if kept is None else _recall_marks(kept)
    for name, values in temperatures.items():
        marks += [
            Mark(name, "no reading", from_s, to_s)
            for from_s, to_s in list_gaps(time_s, np.isnan(values))
            if not any(
                mark.channel in {name, ""} and mark.from_s < to_s and mark.to_s > from_s
                for mark in marks
            )
        ]
    longest = sorted(marks, key=lambda mark: mark.from_s - mark.to_s)[:MOST_MARKS]
    return tuple(sorted(longest, key=lambda mark: (mark.from_s, mark.channel, mark.words)))


def _recall_marks(kept: Sequence[Mapping[str, Any]]) -> list[Mark]:
    return [
        Mark(
            one["channel"] or "",
            one["kind"] + (f" with {one['partner']}" if one["partner"] else ""),
            one["at_s"],
            one["until_s"],
        )
        for one in kept
    ]


def _find_marks(recorded: RecordedTrace) -> list[Mark]:
    faults = find_faults(
        recorded.time_s,
        {one.name: one.temperature_c() for one in recorded.channels},
        roles={one.name: FAULT_ROLES.get(one.role, FaultRole.UNKNOWN) for one in recorded.channels},
    )
    return [
        Mark(
            fault.channel or "",
            str(fault.kind) + (f" with {fault.partner}" if fault.partner else ""),
            fault.evidence.at_s,
            fault.evidence.until_s,
        )
        for fault in faults
    ]


def list_gaps(time_s: NDArray[np.float64], missing: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Return the stretches in s for which a channel has no reading, its ends included."""
    there = time_s[~missing]
    if not there.size:
        return [(float(time_s[0]), float(time_s[-1]))]
    edges = np.concatenate(([time_s[0]], there, [time_s[-1]]))
    steps = np.diff(edges)
    is_gap = steps > compute_longest_step_s(there)
    return list(zip(edges[:-1][is_gap].tolist(), edges[1:][is_gap].tolist(), strict=True))
