"""Whether paste leaves an aperture, and how much solder it brings."""

from collections.abc import Mapping
from decimal import ROUND_FLOOR, Decimal
from typing import Annotated, Final, Self

from pydantic import Field, model_validator

from app.numerics.paste import (
    METAL_SHARE_STATUS,
    TRANSFER_STATUS,
    USUAL_METAL_SHARE,
    USUAL_TRANSFER_EFFICIENCY,
    PasteDeposit,
    compute_deposit,
)
from app.recipes.body.lengths import parse_length, spell_decimal
from app.recipes.body.stencil import (
    LEAST_AREA_RATIO,
    LEAST_ASPECT_RATIO,
    RATIO_SOURCE,
    Aperture,
    ApertureRatios,
    ApertureShape,
    compute_ratios,
)
from app.recipes.sums.asked import (
    AskedValues,
    AsTyped,
    FoilText,
    MetalShare,
    SideText,
    TransferShare,
    get_mm,
    read_asked,
)
from app.recipes.sums.figures import EXACT, GEOMETRY, SEEN, Figure, Held, Sum, spell_digits
from app.recipes.sums.picture_stencil import draw_stencil

USUAL_TRANSFER_PCT: Final = USUAL_TRANSFER_EFFICIENCY * 100
USUAL_METAL_PCT: Final = USUAL_METAL_SHARE * 100
TRANSFER_SOURCE: Final = "printed volume over aperture volume, as the trade press defines it"
METAL_SOURCE: Final = "a paste maker's page: about 90 % by weight is about 50 % by volume"
AS_TYPED: Final = "the share is yours, as typed"
_SLOT_WIDTHS: Final = 5


class StencilAsked(AskedValues):
    """An aperture and its foil: sides 0.05 to 30 mm, foil 0.02 to 1 mm, shares in %."""

    shape: ApertureShape
    length: SideText
    width: SideText | None = None
    foil_thickness: FoilText
    count: Annotated[int, Field(ge=1, le=5000), AsTyped] = 1
    transfer_pct: TransferShare = USUAL_TRANSFER_PCT
    metal_pct: MetalShare = USUAL_METAL_PCT

    @model_validator(mode="after")
    def _check_aperture(self) -> Self:
        make_aperture(self.shape, self.length, self.width)
        return self


def make_aperture(shape: ApertureShape, length: str, width: str | None) -> Aperture:
    """Return one aperture from typed lengths; ValidationError at `width` where it is not due."""
    return Aperture(
        shape=shape,
        length=parse_length(length),
        width=None if width is None else parse_length(width),
        count=1,
    )


def work_out_stencil(texts: Mapping[str, str]) -> Sum:
    """Work the sum out from the texts of an address. Raises SumUnreadable."""
    return compute_stencil(read_asked(StencilAsked, texts))


def compute_stencil(asked: StencilAsked) -> Sum:
    """Return ratios held against their limits, and volumes of aperture, paste and solder."""
    aperture = make_aperture(asked.shape, asked.length, asked.width)
    foil = parse_length(asked.foil_thickness)
    ratios = compute_ratios(aperture, foil)
    deposit = compute_deposit(
        float(ratios.open_area_mm2),
        get_mm(asked.foil_thickness),
        transfer_efficiency=asked.transfer_pct / 100,
        metal_share=asked.metal_pct / 100,
    )
    holds = ratios.area_ratio_holds and ratios.aspect_ratio_holds
    return Sum(
        figures=(*_list_ratios(ratios, asked.shape), *_list_volumes(asked, deposit)),
        says="Both ratios reach their limits."
        if holds
        else "Paste may stay in the foil: a ratio is below its limit.",
        holds=holds,
        remarks=tuple(_remark(aperture, ratios, asked)),
        picture=draw_stencil(aperture, foil),
    )


def _list_ratios(ratios: ApertureRatios, shape: ApertureShape) -> tuple[Figure, ...]:
    is_rect = shape is ApertureShape.RECT
    is_round = shape is ApertureShape.ROUND
    opening = "L × W" if is_rect else "π · D² / 4" if is_round else "D²"
    wall = "2 · (L + W) · T" if is_rect else "π · D · T" if is_round else "4 · D · T"
    area_ratio = "L · W / (2 · (L + W) · T)" if is_rect else "D / (4 · T)"
    return (
        Figure(
            "open_area",
            "Open area",
            float(ratios.open_area_mm2),
            "mm²",
            f"{spell_digits(float(ratios.open_area_mm2))} mm²",
            opening,
            GEOMETRY,
            EXACT,
        ),
        Figure(
            "wall_area",
            "Wall area",
            float(ratios.wall_area_mm2),
            "mm²",
            f"{spell_digits(float(ratios.wall_area_mm2))} mm²",
            wall,
            GEOMETRY,
            EXACT,
        ),
        Figure(
            "area_ratio",
            "Area ratio",
            float(ratios.area_ratio),
            "",
            _cut(ratios.area_ratio),
            f"open area / wall area = {area_ratio}",
            RATIO_SOURCE,
            SEEN,
            held=Held(f"at least {LEAST_AREA_RATIO}", ratios.area_ratio_holds),
        ),
        Figure(
            "aspect_ratio",
            "Aspect ratio",
            float(ratios.aspect_ratio),
            "",
            _cut(ratios.aspect_ratio),
            "shorter side / T" if is_rect else "D / T",
            RATIO_SOURCE,
            SEEN,
            held=Held(f"at least {LEAST_ASPECT_RATIO}", ratios.aspect_ratio_holds),
        ),
    )


def _list_volumes(asked: StencilAsked, deposit: PasteDeposit) -> tuple[Figure, ...]:
    def volume(name: str, label: str, value: float, *told: str) -> Figure:
        formula, source, status = told
        spelled = f"{spell_digits(value)} mm³"
        return Figure(name, label, value, "mm³", spelled, formula, source, status)

    transfer, metal = f"{asked.transfer_pct:g} %", f"{asked.metal_pct:g} %"
    is_usual_transfer = asked.transfer_pct == USUAL_TRANSFER_PCT
    is_usual_metal = asked.metal_pct == USUAL_METAL_PCT
    transfer_status = TRANSFER_STATUS if is_usual_transfer else AS_TYPED
    metal_status = METAL_SHARE_STATUS if is_usual_metal else AS_TYPED
    paste = (f"aperture volume × {transfer} transfer", TRANSFER_SOURCE, transfer_status)
    solder = (f"paste volume × {metal} metal by volume", METAL_SOURCE, metal_status)
    figures = (
        volume(
            "aperture_volume",
            "Aperture volume",
            deposit.aperture_mm3,
            "open area × T",
            GEOMETRY,
            EXACT,
        ),
        volume("paste_volume", "Paste printed", deposit.paste_mm3, *paste),
        volume("solder_volume", "Solder of one aperture", deposit.metal_mm3, *solder),
    )
    if asked.count == 1:
        return figures
    every = (f"solder of one × {asked.count}", solder[1], solder[2])
    total = deposit.metal_mm3 * asked.count
    return (*figures, volume("solder_of_all", f"Solder of all {asked.count}", total, *every))


def _remark(aperture: Aperture, ratios: ApertureRatios, asked: StencilAsked) -> list[str]:
    remarks = [
        (
            f"A transfer of about {USUAL_TRANSFER_PCT:g} % is practice at an area ratio of "
            f"{LEAST_AREA_RATIO}, from memory: confirm it on your own prints. It varies with "
            "paste, foil and wall finish."
        ),
    ]
    if not ratios.area_ratio_holds and asked.transfer_pct >= USUAL_TRANSFER_PCT:
        remarks.append(
            f"Below {LEAST_AREA_RATIO} less than {USUAL_TRANSFER_PCT:g} % must be expected: the "
            "volumes of paste and solder are too large."
        )
    if aperture.width is not None:
        short, long = sorted((aperture.length.mm, aperture.width.mm))
        if long > _SLOT_WIDTHS * short:
            remarks.append(
                "For slots longer than five widths the aspect ratio is the deciding one "
                "(from memory; confirm against your copy)."
            )
    return remarks


def _cut(ratio: Decimal) -> str:
    """Spell a ratio cut to two decimals, so that none is shown to reach what it does not."""
    return spell_decimal(ratio.quantize(Decimal("0.01"), ROUND_FLOOR))
