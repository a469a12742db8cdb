"""What the story's people say, in the words in which the house takes it."""

from collections.abc import Mapping, Sequence
from typing import Final

from app.jobs.schemas import CheckResult, InspectionResult, LotUsed, StepDone, ValueUsed
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.setup import Thermocouple
from app.traces.rules import Channel, ChannelMap, ChannelRole, ReadingChoices, TemperatureUnit
from seed_demo.logger_files import DIALECTS
from seed_demo.plant import SUPPLIES
from seed_demo.story_shapes import PlannedInspection, PlannedStep, Values

# Name in the story → label and unit on the work card.
_LABELS: Final = {
    "nozzle": ("Nozzle", ""),
    "vacuum_cup": ("Vacuum cup", ""),
    "head_height": ("Head height", ""),
    "tip": ("Tip", ""),
    "tip_temperature_c": ("Tip temperature", "°C"),
    "depth": ("Depth", ""),
    "dwell_s": ("Dwell", "s"),
    "foil_thickness": ("Foil thickness", ""),
    "force_n": ("Force", "N"),
    "method": ("Method", ""),
}
_KIND_OF_LOT: Final = {supply.code[:4]: supply.kind for supply in SUPPLIES}


def say_step(
    step: PlannedStep, body: RecipeBody, *, values: Values, lots: Sequence[str]
) -> StepDone:
    """Return what is signed on a line, with the values and lots given."""
    return StepDone(
        values=say_values(values),
        lots=say_lots(lots),
        inspection=None if step.inspection is None else say_inspection(step.inspection, body),
        remark=step.remark,
    )


def say_values(values: Values) -> list[ValueUsed]:
    """Return values with the work card's labels and units; KeyError for an unknown name."""
    return [_say_value(name, value) for name, value in values.items()]


def say_lots(codes: Sequence[str]) -> list[LotUsed]:
    """Return lots with what they are lots of; a code begins with its item's first letters."""
    return [LotUsed(what=_KIND_OF_LOT.get(code[:4], "part"), lot=code) for code in codes]


def say_inspection(planned: PlannedInspection, body: RecipeBody) -> InspectionResult:
    """Return the findings; the X-ray fails where voids are above the recipe's limit."""
    limit_pct = body.inspection.void_limit_pct
    xray: CheckResult = "not done"
    if planned.void_pct is not None:
        xray = _spell_check(limit_pct is None or planned.void_pct <= limit_pct)
    return InspectionResult(
        visual=_spell_check(planned.visual_passed),
        xray=xray,
        largest_void_pct=planned.void_pct,
        electrical=_spell_check(planned.electrical_passed),
    )


def say_channels(dialect: str, plan: Sequence[Thermocouple]) -> ChannelMap:
    """Return which column of a logger's file is which channel of a recipe's plan."""
    by_role: Mapping[str, Thermocouple] = {str(one.role): one for one in plan}
    habits = DIALECTS[dialect]
    return ChannelMap(
        channels=tuple(
            _say_channel(place, heading, by_role.get(role))
            for place, (heading, role) in enumerate(zip(habits.headings, habits.roles, strict=True))
            if role != "time"
        )
    )


def say_reading(dialect: str) -> ReadingChoices:
    """Return what a person must say of a logger's file: the unit, where the file says none."""
    habits = DIALECTS[dialect]
    says_unit = bool(habits.units) or habits.is_commented or "°C" in "".join(habits.headings)
    return ReadingChoices(temperature_unit=None if says_unit else TemperatureUnit.CELSIUS)


def _say_channel(column: int, heading: str, planned: Thermocouple | None) -> Channel:
    if planned is None:
        return Channel(column=column, name=heading, role=ChannelRole.UNUSED)
    return Channel(
        column=column,
        name=planned.channel,
        role=planned.role,
        designator=planned.designator or None,
    )


def _say_value(name: str, value: str | float) -> ValueUsed:
    label, unit = _LABELS[name]
    spelt = f"{value:g}" if isinstance(value, int | float) else value
    return ValueUsed(label=label, value=f"{spelt} {unit}".strip())


def _spell_check(is_good: bool) -> CheckResult:  # noqa: FBT001 (a finding, not a switch)
    return "pass" if is_good else "fail"
