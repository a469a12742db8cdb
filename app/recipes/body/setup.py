"""Where a recipe applies, what is mounted for it, and where the thermocouples sit."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from app.core.text import Code, Note, OptionalLine
from app.recipes.body.fields import (
    AsNumber,
    Codes,
    Flag,
    Part,
    SomeCodes,
    refuse_at,
)
from app.traces.rules import ChannelName, ChannelRole


class AppliesTo(Part):
    """The assembly, and the sites or parts on it, that the recipe was worked out for.

    `revisions` None means every revision. Where both designators and part numbers are given, a
    site must match both.
    """

    assembly_part_number: Code
    revisions: SomeCodes | None = None
    designators: Codes = ()
    part_numbers: Codes = ()
    package_family: OptionalLine = ""

    @model_validator(mode="after")
    def _check_names_a_site(self) -> Self:
        if not self.designators and not self.part_numbers:
            raise ValueError("must name at least one designator or one part number")
        return self


class Tooling(Part):
    """What is mounted on the bench: openings in mm, 1 to 150."""

    nozzle: Code
    opening_length_mm: Annotated[float, Field(ge=1, le=150), AsNumber]
    opening_width_mm: Annotated[float, Field(ge=1, le=150), AsNumber]
    vacuum_cup: Code
    board_support: Note = ""


class Thermocouple(Part):
    """One channel of the plan; `required` means no verdict can be given without it.

    `channel` is the name the trace gives it, `name` what a person sees the sensor glued to.
    """

    channel: ChannelName
    role: ChannelRole
    name: OptionalLine = ""
    designator: Annotated[OptionalLine, Field(max_length=64)] = ""
    required: Flag

    @model_validator(mode="after")
    def _check_role(self) -> Self:
        if self.role is ChannelRole.UNUSED:
            refuse_at("role", sentence="cannot be unused: leave the channel out of the plan")
        if self.role is ChannelRole.ADJACENT and not self.designator:
            refuse_at("designator", sentence="must name the adjacent part")
        if self.role is not ChannelRole.ADJACENT and self.designator:
            refuse_at("designator", sentence="may be given for an adjacent part alone")
        return self


def check_plan(plan: tuple[Thermocouple, ...]) -> tuple[Thermocouple, ...]:
    """Refuse a plan without a joint, or with one channel in it twice."""
    if not any(one.role.is_joint for one in plan):
        raise ValueError("must have at least one joint_centre or joint_corner channel")
    seen: set[str] = set()
    for one in plan:
        if one.channel.casefold() in seen:
            raise ValueError(f"names channel {one.channel} twice")
        seen.add(one.channel.casefold())
    return plan
