"""What the bench is set to: five zones, three head heights, and when the part may be lifted."""

from enum import StrEnum
from typing import Annotated, Final, Self

from pydantic import Field, model_validator

from app.recipes.body.fields import (
    AsNumber,
    Codes,
    Flag,
    ListOfWords,
    Part,
    Temperature,
    refuse_at,
)
from app.recipes.body.lengths import TypedLength, within_mm
from app.traces.rules import ChannelRole


class ZoneName(StrEnum):
    """The zones in their order: four heated ones and cooling (common practice, no source)."""

    PREHEAT = "preheat"
    SOAK = "soak"
    RAMP = "ramp"
    REFLOW = "reflow"
    COOLING = "cooling"


ZONE_ORDER: Final = tuple(ZoneName)


class Zone(Part):
    """One zone's settings: 1 to 1800 s, 0 to 450 °C, 0 to 200 l/min; None is a heater off.

    The ranges are what hot-gas benches can be set to (common practice, no source).
    """

    name: ZoneName
    time_s: Annotated[float, Field(ge=1, le=1800), AsNumber]
    top_c: Temperature | None = None
    bottom_c: Temperature | None = None
    airflow_l_per_min: Annotated[float, Field(ge=0, le=200), AsNumber]
    nitrogen: Flag

    @model_validator(mode="after")
    def _check_heaters(self) -> Self:
        if self.name is not ZoneName.COOLING:
            for field, temperature_c in (("top_c", self.top_c), ("bottom_c", self.bottom_c)):
                if temperature_c is None:
                    refuse_at(field, sentence="must be given: only in cooling may a heater be off")
        return self


def check_zone_order(zones: tuple[Zone, ...]) -> tuple[Zone, ...]:
    """Refuse anything but the five zones in their order."""
    if tuple(zone.name for zone in zones) != ZONE_ORDER:
        raise ValueError(f"must be {', '.join(ZONE_ORDER)}, each once and in this order")
    return zones


HeadHeight = Annotated[TypedLength, within_mm("0", "100")]


class HeadHeights(Part):
    """How far the nozzle stands above the board, 0 to 100 mm."""

    removal: HeadHeight
    placement: HeadHeight
    reflow: HeadHeight


class LiftRule(Part):
    """The part may be lifted once every named channel was above `above_c` for `for_s` at a stretch.

    Channels are named by role, by channel, or both; 0 to 450 °C and 0 to 600 s.
    """

    roles: Annotated[tuple[ChannelRole, ...], Field(max_length=6), ListOfWords] = ()
    channels: Codes = ()
    above_c: Temperature
    for_s: Annotated[float, Field(ge=0, le=600), AsNumber]

    @model_validator(mode="after")
    def _check_names_a_channel(self) -> Self:
        if not self.roles and not self.channels:
            raise ValueError("must name at least one role or one channel")
        return self
