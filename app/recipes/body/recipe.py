"""The whole body of a recipe revision: everything an operator needs, in one frozen value."""

from collections.abc import Iterable
from typing import Annotated, Final, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from app.recipes.body.fields import Cautions, Part, refuse_at
from app.recipes.body.heating import ZONE_ORDER, HeadHeights, LiftRule, Zone, check_zone_order
from app.recipes.body.setup import (
    AppliesTo,
    Thermocouple,
    Tooling,
    check_plan,
)
from app.recipes.body.site import Cleaning, Deposit, Inspection, Placement, SiteDressing
from app.recipes.body.window import METRICS, Window
from app.traces.rules import MAX_CHANNELS, ChannelRole

LEAST_TO_COMPARE: Final = 2


class RecipeBody(Part):
    """A recipe revision's text; `format` names the form it is stored in.

    The parts agree with each other: a rule or a limit about a role needs a thermocouple of it.
    """

    format: Literal[1]
    applies_to: AppliesTo
    tooling: Tooling
    thermocouples: Annotated[
        tuple[Thermocouple, ...],
        Field(max_length=MAX_CHANNELS, json_schema_extra={"minItems": 1}),
        AfterValidator(check_plan),
    ]
    zones: Annotated[
        tuple[Zone, ...],
        Field(max_length=len(ZONE_ORDER), json_schema_extra={"minItems": len(ZONE_ORDER)}),
        AfterValidator(check_zone_order),
    ]
    head_heights: HeadHeights
    lift_rule: LiftRule
    site_dressing: SiteDressing
    deposit: Deposit
    placement: Placement
    window: Window
    cleaning: Cleaning
    inspection: Inspection
    cautions: Cautions = ()

    @model_validator(mode="after")
    def _check_parts_agree(self) -> Self:
        roles = {one.role for one in self.thermocouples}
        channels = {one.channel.casefold() for one in self.thermocouples}
        _check_measured(self.lift_rule.roles, roles, at=("lift_rule", "roles"))
        for channel in self.lift_rule.channels:
            if channel.casefold() not in channels:
                sentence = f"names {channel}, which is no channel of the thermocouples"
                refuse_at("lift_rule", "channels", sentence=sentence)
        for place, limit in enumerate(self.window.limits):
            _check_measured(limit.roles, roles, at=("window", "limits", place, "roles"))
            if METRICS[limit.metric].is_of_site and self._count_joints() < LEAST_TO_COMPARE:
                sentence = f"{limit.metric} needs at least two joint thermocouples"
                refuse_at("window", "limits", place, "metric", sentence=sentence)
        return self

    def _count_joints(self) -> int:
        return sum(one.role.is_joint for one in self.thermocouples)


def _check_measured(
    named: Iterable[ChannelRole], planned: set[ChannelRole], *, at: tuple[str | int, ...]
) -> None:
    for role in named:
        if role not in planned:
            refuse_at(*at, sentence=f"names “{role.words}”, which no thermocouple measures")
