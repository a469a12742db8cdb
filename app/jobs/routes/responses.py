"""The JSON route of a step's answer: time constant and dead time of a channel."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query
from pydantic import BaseModel, ConfigDict, Field

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.request import PathId, RequestSession
from app.jobs.comparison_runs import find_left_out
from app.jobs.queries import get_run
from app.jobs.run_samples import load_run_samples
from app.jobs.step_response import (
    LEAST_SQUARES,
    TWO_POINTS,
    Method,
    StepResponse,
    choose_response_channel,
    find_response,
)
from app.numerics.identification import StepAnswer, TwoPointAnswer
from app.numerics.reduction import reduce_min_max

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Moment = Annotated[
    float | None,
    Query(ge=0, le=1e9, allow_inf_nan=False, description="In s since the first sample."),
]

_MOST_RESIDUALS = 2_000


class MethodView(BaseModel):
    """What one method gives; the numbers are null where the step does not hold."""

    model_config = ConfigDict(extra="forbid")

    name: str
    formula: str
    source: str
    time_constant_s: Annotated[float | None, Field(examples=[75.04])]
    dead_time_s: Annotated[float | None, Field(examples=[4.10])]
    expanded_time_constant_s: Annotated[
        float | None, Field(description="k = 2, of the fit alone.", examples=[0.3])
    ]
    expanded_dead_time_s: Annotated[
        float | None, Field(description="k = 2, of the fit alone.", examples=[0.2])
    ]
    baseline_c: float | None
    final_c: float | None


class StepView(BaseModel):
    """A stretch of a channel as the answer to a step; `reasons` say why it is none."""

    model_config = ConfigDict(extra="forbid")

    run_id: int
    channel: str
    from_s: float
    to_s: float
    is_found: Annotated[bool, Field(description="No stretch was given: it is the steepest.")]
    holds: bool
    reasons: list[str]
    left_out: str
    least_squares: MethodView
    two_points: MethodView
    is_dead_time_at_limit: bool
    reading_count: int
    taken_every: int
    rms_k: float | None
    noise_k: float | None
    residual_time_s: list[float]
    residual_k: list[float]


@router.get("/runs/{run_id}/step")
def work_out_step(
    run_id: PathId,
    session: RequestSession,
    _: Reader,
    channel: Annotated[str, Query(max_length=60, description="The first joint unless given.")] = "",
    from_s: Annotated[Moment, Query(alias="from")] = None,
    to_s: Annotated[Moment, Query(alias="to")] = None,
) -> StepView:
    """Work out time constant and dead time of a channel; the steepest stretch unless given."""
    run = get_run(session, run_id)
    recorded = load_run_samples(session, run)
    name = channel or choose_response_channel(recorded)
    response = find_response(
        recorded, channel=name, from_s=from_s, to_s=to_s, left_out=find_left_out(run, name)
    )
    return _view(run.id, response)


def _view(run_id: int, response: StepResponse) -> StepView:
    judgement = response.judgement
    fit = judgement.fit if judgement is not None and judgement.holds else None
    two = judgement.two_points if judgement is not None and judgement.holds else None
    is_whole = judgement is not None and isinstance(fit, StepAnswer)
    residual_time: list[float] = []
    residual: list[float] = []
    if judgement is not None and is_whole:
        kept = reduce_min_max(judgement.time_s, judgement.residual_k, _MOST_RESIDUALS)
        residual_time = judgement.time_s[kept].tolist()
        residual = judgement.residual_k[kept].tolist()
    return StepView(
        run_id=run_id,
        channel=response.channel.name,
        from_s=response.from_s,
        to_s=response.to_s,
        is_found=response.is_found,
        holds=is_whole,
        reasons=list(response.reasons),
        left_out=response.left_out,
        least_squares=_view_method(LEAST_SQUARES, fit if isinstance(fit, StepAnswer) else None),
        two_points=_view_method(TWO_POINTS, two if isinstance(two, TwoPointAnswer) else None),
        is_dead_time_at_limit=isinstance(fit, StepAnswer) and fit.is_dead_time_at_limit,
        reading_count=0 if judgement is None else int(judgement.time_s.size),
        taken_every=1 if judgement is None else judgement.taken_every,
        rms_k=fit.rms_k if isinstance(fit, StepAnswer) else None,
        noise_k=judgement.noise_k if judgement is not None and is_whole else None,
        residual_time_s=residual_time,
        residual_k=residual,
    )


def _view_method(method: Method, answer: StepAnswer | TwoPointAnswer | None) -> MethodView:
    fit = answer if isinstance(answer, StepAnswer) else None
    return MethodView(
        name=method.name,
        formula=method.formula,
        source=method.source,
        time_constant_s=None if answer is None else answer.time_constant_s,
        dead_time_s=None if answer is None else answer.dead_time_s,
        expanded_time_constant_s=None if fit is None else fit.expanded_time_constant_s,
        expanded_dead_time_s=None if fit is None else fit.expanded_dead_time_s,
        baseline_c=None if answer is None else answer.baseline_c,
        final_c=None if answer is None else answer.final_c,
    )
