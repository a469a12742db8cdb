"""JSON routes of the engineer's sums: the same functions as the screens; nothing is stored."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query
from pydantic import BaseModel, ConfigDict, Field

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.recipes.sums.figures import Figure, Sum
from app.recipes.sums.joint import JointAsked, compute_joint_sum
from app.recipes.sums.lumped import LumpedAsked, compute_lumped_sum
from app.recipes.sums.stencil import StencilAsked, compute_stencil

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]


class FigureView(BaseModel):
    """One result; `value` is null where there is none, and `spelled` says why."""

    model_config = ConfigDict(extra="forbid")

    label: Annotated[str, Field(examples=["Stand-off after melting"])]
    value: Annotated[float | None, Field(examples=[0.402328])]
    unit: Annotated[str, Field(examples=["mm"])]
    thousandths: Annotated[
        float | None, Field(description="A length in thousandths of an inch.", examples=[15.84])
    ]
    spelled: Annotated[str, Field(examples=["0.4023 mm = 15.84 thou"])]
    formula: str
    source: str
    status: str
    limit: Annotated[str, Field(description="What it was held against.", examples=["at least 1.5"])]
    holds: Annotated[bool | None, Field(description="Null where there is no limit.")]
    worst: Annotated[float | None, Field(description="Tolerance ±, worst case, in `unit`.")]
    likely: Annotated[float | None, Field(description="Tolerance ±, root sum square, in `unit`.")]


class SumView(BaseModel):
    """A whole sum: figures by name, whether it holds and what it leaves out."""

    model_config = ConfigDict(extra="forbid")

    figures: dict[str, FigureView]
    says: str
    holds: bool
    remarks: list[str]


@router.get("/sums/stencil")
def work_out_stencil(asked: Annotated[StencilAsked, Query()], _: Reader) -> SumView:
    """Work out area ratio, aspect ratio and the volumes of an aperture."""
    return _view(compute_stencil(asked))


@router.get("/sums/joint")
def work_out_joint(asked: Annotated[JointAsked, Query()], _: Reader) -> SumView:
    """Work out stand-off, widest diameter and placement height of a collapsed ball."""
    return _view(compute_joint_sum(asked))


@router.get("/sums/lumped")
def work_out_lumped(asked: Annotated[LumpedAsked, Query()], _: Reader) -> SumView:
    """Work out time constant, Biot number and time to a temperature of a body in gas."""
    return _view(compute_lumped_sum(asked))


def _view(found: Sum) -> SumView:
    return SumView(
        figures={one.name: _view_figure(one) for one in found.figures},
        says=found.says,
        holds=found.holds,
        remarks=list(found.remarks),
    )


def _view_figure(one: Figure) -> FigureView:
    return FigureView(
        label=one.label,
        value=one.value,
        unit=one.unit,
        thousandths=one.thousandths,
        spelled=one.spelled,
        formula=one.formula,
        source=one.source,
        status=one.status,
        limit=one.held.words if one.held is not None else "",
        holds=one.held.holds if one.held is not None else None,
        worst=one.worst,
        likely=one.likely,
    )
