"""The height that a ball leaves when it melts between two pads, and where the part is set down."""

from collections.abc import Mapping
from typing import Annotated, Final, Self

from pydantic import Field, model_validator

from app.numerics.paste import compute_deposit
from app.numerics.solder_joint import (
    Height,
    Joint,
    PlacementHeights,
    Tolerances,
    compute_joint,
    compute_placement_heights,
)
from app.recipes.body.fields import refuse_at
from app.recipes.body.lengths import parse_length
from app.recipes.body.stencil import ApertureShape, compute_ratios
from app.recipes.sums.asked import (
    AskedValues,
    AsTyped,
    BallText,
    FoilText,
    MetalShare,
    SideText,
    ToleranceText,
    TransferShare,
    get_mm,
    read_asked,
)
from app.recipes.sums.figures import (
    EXACT,
    GEOMETRY,
    OWN_MODEL,
    Figure,
    Sum,
    make_recipe_value,
    spell_digits,
    spell_length,
    spell_tolerance,
)
from app.recipes.sums.picture_joint import draw_joint
from app.recipes.sums.stencil import (
    METAL_SOURCE,
    USUAL_METAL_PCT,
    USUAL_TRANSFER_PCT,
    make_aperture,
)

MODEL_SOURCE: Final = (
    "sphere cut off by both pads, Goldmann, IBM J. Res. Develop. 13(3), 1969 (from memory), and "
    "Heinrich et al., ASME J. Electron. Packag. 118, 1996 (abstract seen)"
)
_MODEL: Final = (
    (
        "The model knows no weight and no balance of surface tension: under the part's weight the "
        "real collapse is larger, and the stand-off less."
    ),
    (
        "Solder wets all of each pad and nothing else. A ball that does not melt, such as one of "
        "high-lead solder, does not collapse and this sum is not for it."
    ),
    (
        "Tolerances are carried through by the first derivatives; root sum square takes them not "
        "to depend on each other."
    ),
)
_PASTE_MODEL: Final = (
    "The ball stands on paste as high as the foil, pressed in by nothing: pressing the part in "
    "lowers the height at which it is set down."
)


_NEEDED_FOR_PASTE: Final = ("shape", "length", "foil_thickness")
_OF_PASTE: Final = (*_NEEDED_FOR_PASTE, "width")


class JointAsked(AskedValues):
    """Ball and pads 0.02 to 5 mm, tolerances 0 to 1 mm to either side, and perhaps paste."""

    ball: BallText
    package_pad: BallText
    board_pad: BallText
    ball_tolerance: ToleranceText = "0 mm"
    package_pad_tolerance: ToleranceText = "0 mm"
    board_pad_tolerance: ToleranceText = "0 mm"
    shape: ApertureShape | None = None
    length: SideText | None = None
    width: SideText | None = None
    foil_thickness: FoilText | None = None
    transfer_pct: TransferShare = USUAL_TRANSFER_PCT
    metal_pct: MetalShare = USUAL_METAL_PCT
    foil_tolerance: ToleranceText = "0 mm"
    metal_tolerance_pct: Annotated[float, Field(ge=0, le=100), AsTyped] = 0.0

    @model_validator(mode="after")
    def _check_paste(self) -> Self:
        given = {name: getattr(self, name) for name in _OF_PASTE}
        missing = [name for name in _NEEDED_FOR_PASTE if given[name] is None]
        if missing and any(one is not None for one in given.values()):
            refuse_at(missing[0], sentence="is missing: paste needs shape, length and foil")
        if self.shape is not None and self.length is not None:
            make_aperture(self.shape, self.length, self.width)
        return self


def work_out_joint(texts: Mapping[str, str]) -> Sum:
    """Work the sum out from the texts of an address. Raises SumUnreadable."""
    return compute_joint_sum(read_asked(JointAsked, texts))


def compute_joint_sum(asked: JointAsked) -> Sum:
    """Return stand-off, widest diameter, collapse and the heights before and after melting."""
    metal_mm3 = _compute_metal_mm3(asked)
    paste_mm = _get_paste_mm(asked)
    joint = _compute_joint(asked, metal_mm3)
    has_paste = metal_mm3 > 0.0
    heights = compute_heights_of(asked)
    paste = (_PASTE_MODEL,) if has_paste else ()
    paste_figure = (_make_metal_figure(asked, metal_mm3),) if has_paste else ()
    return Sum(
        figures=(*paste_figure, *_list_figures(joint, heights, has_paste=has_paste)),
        says=f"The part is set down at {spell_length(heights.before.mm)} between the pads and "
        f"comes to {spell_length(heights.after.mm)} when the balls have melted.",
        holds=True,
        remarks=(*_MODEL, *paste),
        picture=draw_joint(joint, heights, paste_mm=paste_mm, paste_wide_mm=_find_paste_mm(asked)),
        recipe_values=(
            make_recipe_value(
                "Placement, height: between the pads when set down", heights.before.mm
            ),
            make_recipe_value("Stand-off after melting", heights.after.mm),
        ),
    )


def compute_heights_of(asked: JointAsked) -> PlacementHeights:
    """Return the heights before and after melting, with their tolerances."""
    metal_mm3 = _compute_metal_mm3(asked)
    tolerances = Tolerances(
        ball_mm=get_mm(asked.ball_tolerance),
        package_pad_mm=get_mm(asked.package_pad_tolerance),
        board_pad_mm=get_mm(asked.board_pad_tolerance),
        metal_mm3=metal_mm3 * asked.metal_tolerance_pct / 100,
    )
    return compute_placement_heights(
        _compute_joint(asked, metal_mm3),
        tolerances,
        paste_mm=_get_paste_mm(asked),
        paste_tolerance_mm=get_mm(asked.foil_tolerance) if metal_mm3 > 0.0 else 0.0,
    )


def _compute_joint(asked: JointAsked, metal_mm3: float) -> Joint:
    return compute_joint(
        get_mm(asked.ball),
        package_pad_mm=get_mm(asked.package_pad),
        board_pad_mm=get_mm(asked.board_pad),
        metal_mm3=metal_mm3,
    )


def _get_paste_mm(asked: JointAsked) -> float:
    return 0.0 if asked.foil_thickness is None else get_mm(asked.foil_thickness)


def _compute_metal_mm3(asked: JointAsked) -> float:
    if asked.shape is None or asked.length is None or asked.foil_thickness is None:
        return 0.0
    aperture = make_aperture(asked.shape, asked.length, asked.width)
    opening = compute_ratios(aperture, parse_length(asked.foil_thickness)).open_area_mm2
    deposit = compute_deposit(
        float(opening),
        get_mm(asked.foil_thickness),
        transfer_efficiency=asked.transfer_pct / 100,
        metal_share=asked.metal_pct / 100,
    )
    return deposit.metal_mm3


def _find_paste_mm(asked: JointAsked) -> float:
    return 0.0 if asked.length is None else get_mm(asked.length)


def _make_metal_figure(asked: JointAsked, metal_mm3: float) -> Figure:
    return Figure(
        "paste_metal",
        "Solder from paste",
        metal_mm3,
        "mm³",
        f"{spell_digits(metal_mm3)} mm³",
        f"open area × foil × {asked.transfer_pct:g} % transfer × {asked.metal_pct:g} % metal",
        METAL_SOURCE,
        "the shares stand in the form; confirm them on your own prints",
    )


def _list_figures(
    joint: Joint, heights: PlacementHeights, *, has_paste: bool
) -> tuple[Figure, ...]:
    cube = "d³ + 6·V / π" if has_paste else "d³"
    on_paste = " + foil thickness" if has_paste else ""
    widest = joint.largest_diameter_mm
    return (
        _height_figure(
            "placement_height",
            "Height when set down",
            heights.before,
            f"h³ + 3·a₁²·h = d³, a₁ half the package pad; h{on_paste}",
        ),
        _height_figure(
            "stand_off",
            "Stand-off after melting",
            heights.after,
            f"H³ + 3·(a₁² + a₂²)·H = {cube}, a₁ and a₂ half the pads, d the ball",
        ),
        _height_figure("drop", "Drop on melting", heights.drop, "height when set down − stand-off"),
        Figure(
            "largest_diameter",
            "Widest diameter",
            widest,
            "mm",
            spell_length(widest),
            "2·√(a₂² + z²), z the sphere's centre above the board pad; a pad, where it is wider",
            MODEL_SOURCE,
            OWN_MODEL,
        ),
        Figure(
            "collapse",
            "Collapse",
            joint.collapse * 100,
            "%",
            f"{joint.collapse * 100:.1f} %",
            "(1 − H / d) × 100 %",
            MODEL_SOURCE,
            OWN_MODEL,
        ),
        Figure(
            "volume",
            "Volume of the joint",
            joint.volume_mm3,
            "mm³",
            f"{spell_digits(joint.volume_mm3)} mm³",
            "π·d³ / 6" + (" + solder from paste" if has_paste else ""),
            GEOMETRY,
            EXACT,
        ),
    )


def _height_figure(name: str, label: str, height: Height, formula: str) -> Figure:
    return Figure(
        name,
        label,
        height.mm,
        "mm",
        spell_length(height.mm),
        formula,
        MODEL_SOURCE,
        OWN_MODEL,
        worst=height.worst_mm,
        likely=height.likely_mm,
        tolerance=spell_tolerance(height),
    )
