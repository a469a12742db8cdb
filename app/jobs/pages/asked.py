"""The part and the scale of a chart that an address asks for, and what is shown beside it."""

from enum import StrEnum
from typing import Annotated, Final

from fastapi import Depends, Query
from pydantic import BeforeValidator, Field

from app.core.text import OptionalLine
from app.jobs.scales import Scale

# As long as any trace can be; the chart itself says where it ends.
_LONGEST_S: Final = 1e9


def _blank_is_none(value: object) -> object:
    """Take a field that a form sent empty for one that it did not send."""
    return None if value == "" else value


class Shown(StrEnum):
    """What a run's page shows on request."""

    UNCERTAINTY = "uncertainty"
    CROSSINGS = "crossings"


_Seconds = Annotated[float, Field(ge=0, le=_LONGEST_S, allow_inf_nan=False)]
_Moment = Annotated[_Seconds | None, BeforeValidator(_blank_is_none)]


class AskedPart:
    """`from` and `to` in s since the first sample, `unit`, C or F, and what to `show` more."""

    def __init__(
        self,
        unit: Annotated[Scale, Query(description="C or F.")] = Scale.CELSIUS,
        from_s: Annotated[_Moment, Query(alias="from")] = None,
        to_s: Annotated[_Moment, Query(alias="to")] = None,
        show: Annotated[
            list[Shown] | None,
            Query(max_length=len(Shown), description="What is shown more: uncertainty, crossings."),
        ] = None,
    ) -> None:
        self.scale = unit
        self.from_s = from_s
        self.to_s = to_s
        self.shown = frozenset(show or ())

    @property
    def with_expanded(self) -> bool:
        """Whether each value is shown with its uncertainty."""
        return Shown.UNCERTAINTY in self.shown


AskedView = Annotated[AskedPart, Depends(AskedPart)]
AskedWindow = Annotated[
    OptionalLine,
    Query(alias="window", description="The key of one more window to hold the run against."),
]
