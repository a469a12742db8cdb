"""Which line of a verdict comes first: what a person has to look at before all else."""

from typing import Final

from app.recipes.body.window import Metric
from app.recipes.verdict_line import VerdictLine, VerdictState, compute_use_pct
from app.traces.rules import ChannelRole

# Heat beyond its highest peak harms what stays on the board; joints last, they are made anew. Our
# own order, no source.
_PROTECTED: Final = (
    ChannelRole.BODY,
    ChannelRole.ADJACENT,
    ChannelRole.BOARD,
    ChannelRole.JOINT_CENTRE,
    ChannelRole.JOINT_CORNER,
)
_FIRST_JOINT: Final = _PROTECTED.index(ChannelRole.JOINT_CENTRE)


def get_rank(
    *,
    state: VerdictState,
    metric: Metric,
    role: ChannelRole | None,
    value: float | None,
    lower: float | None,
    upper: float | None,
    is_censored: bool = False,
) -> tuple[float, ...]:
    """Return what lines are sorted by, the first one lowest.

    The worst state first. Among the lines outside, values beyond a limit before what was never
    reached; among them a highest peak that was passed, of the body, then of an adjacent part, the
    board, a joint; then, as inside and too close, what uses most of its limit. Lines that cannot
    say keep their order.
    """
    if state is VerdictState.CANNOT_SAY:
        return (-state.severity,)
    if value is None:
        return -state.severity, 1, 0, 0
    use = compute_use_pct(metric, value, lower=lower, upper=upper)
    if state is not VerdictState.OUTSIDE:
        return -state.severity, int(is_censored), 0, -use
    is_passed = metric is Metric.PEAK_C and upper is not None and value > upper
    place = len(_PROTECTED)
    if is_passed and role in _PROTECTED:
        place = min(_PROTECTED.index(role), _FIRST_JOINT)
    return -state.severity, 0, place, -use


def get_rank_of(line: VerdictLine) -> tuple[float, ...]:
    """Return what a line is sorted by."""
    return get_rank(
        state=line.state,
        metric=line.metric,
        role=line.role,
        value=line.value,
        lower=line.lower,
        upper=line.upper,
        is_censored=line.is_censored,
    )
