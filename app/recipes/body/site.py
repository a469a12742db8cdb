"""What is done at the site by hand: dressing, deposit, placement, cleaning, inspection."""

from typing import Annotated, Any, Literal, Self

from pydantic import (
    Discriminator,
    Field,
    ValidationError,
    ValidatorFunctionWrapHandler,
    WrapValidator,
    model_validator,
)
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError

from app.core.text import Line, Note, OptionalLine
from app.recipes.body.fields import (
    REFUSED,
    AsNumber,
    Flag,
    Part,
    Temperature,
    at_least,
    refuse_at,
)
from app.recipes.body.lengths import TypedLength, within_mm
from app.recipes.body.stencil import Aperture


class SiteDressing(Part):
    """How old solder is taken off: the tip's temperature is 0 to 450 °C."""

    tip: Line
    tip_temperature_c: Temperature
    wick: OptionalLine = ""
    solvent: OptionalLine = ""
    remarks: Note = ""


class FluxDip(Part):
    """The part is dipped: film depth 0.01 to 2 mm, dwell 0 to 60 s."""

    kind: Literal["flux_dip"]
    flux: Line
    depth: Annotated[TypedLength, within_mm("0.01", "2")]
    dwell_s: Annotated[float, Field(ge=0, le=60), AsNumber]


FoilThickness = Annotated[TypedLength, within_mm("0.02", "1")]


class PasteDeposit(Part):
    """Paste is printed through a foil of 0.02 to 1 mm."""

    kind: Literal["paste"]
    alloy: Line
    foil_thickness: FoilThickness
    apertures: Annotated[
        tuple[Aperture, ...], Field(max_length=50, json_schema_extra={"minItems": 1}), at_least(1)
    ]


class NoDeposit(Part):
    """Nothing is put down."""

    kind: Literal["none"]


def _drop_kind_from_paths(given: Any, handler: ValidatorFunctionWrapHandler) -> Any:
    """Keep the union's tag out of the paths: `deposit.flux`, not `deposit.flux_dip.flux`."""
    try:
        return handler(given)
    except ValidationError as error:
        found = error.errors(include_url=False)
        if any(one["type"].startswith("union_tag") for one in found):
            refuse_at("kind", sentence="must be flux_dip, paste or none")
        raise ValidationError.from_exception_data(
            error.title, [_cut_path(one) for one in found]
        ) from None


def _cut_path(found: ErrorDetails) -> InitErrorDetails:
    kind: str | PydanticCustomError = found["type"]
    context = found.get("ctx", {})
    if kind == REFUSED:
        kind = PydanticCustomError(REFUSED, "{sentence}", context)
    return InitErrorDetails(type=kind, loc=found["loc"][1:], input=found["input"], ctx=context)


Deposit = Annotated[
    Annotated[FluxDip | PasteDeposit | NoDeposit, Discriminator("kind")],
    WrapValidator(_drop_kind_from_paths),
]

Offset = Annotated[TypedLength, within_mm("-5", "5")]


def _is_not_given(value: object) -> bool:
    """Leave a field that came later out of a text that does not use it: its digest stays."""
    return value is None


class Placement(Part):
    """How the part is set down: by force (0 to 50 N) or to a height (-1 to 10 mm), one of the two.

    Offsets are -5 to 5 mm from the centre that the optics find; rotation is -360° to 360°. The
    height's tolerance, 0 to 1 mm to either side, may be given with it.
    """

    offset_x: Offset
    offset_y: Offset
    rotation_deg: Annotated[float, Field(ge=-360, le=360), AsNumber]
    force_n: Annotated[float, Field(ge=0, le=50), AsNumber] | None = None
    height: Annotated[TypedLength, within_mm("-1", "10")] | None = None
    height_tolerance: Annotated[
        Annotated[TypedLength, within_mm("0", "1")] | None, Field(exclude_if=_is_not_given)
    ] = None

    @model_validator(mode="after")
    def _check_one_way(self) -> Self:
        if self.height is None and self.height_tolerance is not None:
            refuse_at("height_tolerance", sentence="may be given only with a height")
        if (self.force_n is None) == (self.height is None):
            refuse_at("force_n", sentence="must be given or height, one of the two and not both")
        return self


class Cleaning(Part):
    """How residues are taken off; `method` may be `none`."""

    method: Line
    agent: OptionalLine = ""
    remarks: Note = ""


class Inspection(Part):
    """The inspection asked for; the void limit is the share of a joint's X-ray area, 0 to 100 %."""

    visual: Flag
    xray: Flag
    void_limit_pct: Annotated[float, Field(ge=0, le=100), AsNumber] | None = None
    electrical: Flag
    remarks: Note = ""

    @model_validator(mode="after")
    def _check_limit_has_picture(self) -> Self:
        if self.void_limit_pct is not None and not self.xray:
            refuse_at("void_limit_pct", sentence="may be given only where X-ray is asked for")
        return self
