"""Computes a kept run again from its samples, and tells where that differs from what is kept."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.refusals import Refusal
from app.jobs.figures import (
    DEFINITIONS,
    analyse_run,
    describe_figures,
    find_kept_chain,
    find_kept_lift_s,
)
from app.jobs.queries import get_run
from app.jobs.rules import RunState
from app.jobs.tables import JobStep, Run
from app.numerics.errors import NumericsError
from app.recipes.queries import get_body
from app.traces.queries import load_samples

MOST_DIFFERENCES: Final = 5
# Sums in another order may differ in their last digits from one machine to another.
_RELATIVE: Final = 1e-9
_ABSOLUTE: Final = 1e-9
# An uncertainty is kept with four digits, the last of which may fall the other way.
_OF_FOUR_DIGITS: Final = 2e-3
_ROUNDED: Final = frozenset({"expanded", "noise_k", "resolution_k", "parts", "figures"})


class Outcome(StrEnum):
    """What came of computing a run again."""

    SAME = "same"
    DIFFERS = "differs"
    OLDER = "older"
    UNREADABLE = "unreadable"


@dataclass(frozen=True)
class Recomputed:
    """A run that was computed again; `definitions` are those of its kept figures."""

    run_id: int
    outcome: Outcome
    definitions: int
    differences: tuple[str, ...] = ()


def list_kept_runs(session: Session) -> Sequence[int]:
    """Return the numbers of all runs with kept figures, in their order."""
    return session.scalars(
        select(Run.id).where(Run.state == RunState.COMPLETE).order_by(Run.id)
    ).all()


def recompute_run(session: Session, run_id: int) -> Recomputed:
    """Compute a run again by the definitions, the chain and the lift of its kept figures.

    Figures of other definitions than this program's are only named.
    """
    run = get_run(session, run_id)
    kept: Mapping[str, Any] = run.figures or {}
    definitions = int(kept.get("definitions", 0))
    if definitions != DEFINITIONS:
        return Recomputed(run_id, Outcome.OLDER, definitions)
    if run.trace is None:
        return Recomputed(run_id, Outcome.UNREADABLE, definitions, ("it has no trace",))
    try:
        figures = analyse_run(
            get_body(run.job_site.revision),
            load_samples(session, run.trace),
            findings=run.trace.reading["findings"],
            step=session.get_one(JobStep, run.step_id).kind,
            chain=find_kept_chain(kept),
            lifted_at_s=find_kept_lift_s(kept),
        )
    except (Refusal, NumericsError) as refusal:
        return Recomputed(run_id, Outcome.UNREADABLE, definitions, (str(refusal),))
    now = describe_figures(figures)
    found = list(list_differences(kept, now))
    for name, value, again in (
        ("verdict", run.verdict, now["verdict"]["state"]),
        ("window use", run.window_use_pct, now["verdict"]["window_use_pct"]),
    ):
        if not _is_same(value, again, _RELATIVE):
            found.append(f"the run's {name} is kept as {value}, now {again}")
    shown = tuple(found[:MOST_DIFFERENCES])
    if len(found) > MOST_DIFFERENCES:
        shown += (f"{len(found) - MOST_DIFFERENCES} more",)
    outcome = Outcome.DIFFERS if found else Outcome.SAME
    return Recomputed(run_id, outcome, definitions, shown)


def list_differences(kept: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    """Yield where kept figures differ from those of now, but for the last digits of numbers."""
    yield from _compare(kept, now, "")


def _compare(kept: object, now: object, path: str, relative: float = _RELATIVE) -> Iterator[str]:
    """Yield where two JSON values differ, but for the last digits of numbers."""
    if isinstance(kept, Mapping) and isinstance(now, Mapping):
        for name in sorted({*kept, *now}):
            inner = _OF_FOUR_DIGITS if name in _ROUNDED else relative
            yield from _compare(
                kept.get(name), now.get(name), f"{path}.{name}" if path else name, inner
            )
    elif isinstance(kept, list) and isinstance(now, list) and len(kept) == len(now):
        for place, (one, other) in enumerate(zip(kept, now, strict=True)):
            yield from _compare(one, other, f"{path}.{_name(one, place)}", relative)
    elif not _is_same(kept, now, relative):
        yield f"{path} is kept as {_shorten(kept)}, now {_shorten(now)}"


def _is_same(kept: object, now: object, relative: float) -> bool:
    if isinstance(kept, bool) or isinstance(now, bool):
        return kept is now
    if isinstance(kept, int | float) and isinstance(now, int | float):
        return math.isclose(kept, now, rel_tol=relative, abs_tol=_ABSOLUTE)
    return kept == now


def _name(one: object, place: int) -> str:
    name = one.get("name") if isinstance(one, Mapping) else None
    return str(name) if name else str(place)


def _shorten(value: object) -> str:
    text = str(value)
    most = 60
    return text if len(text) <= most else f"{text[: most - 1]}…"
