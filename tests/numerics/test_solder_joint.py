"""Collapsed balls: a table recomputed by root finding, limits, derivatives, and paste volumes."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from app.numerics.paste import (
    UnusablePaste,
    compute_deposit,
    compute_metal_share,
    compute_round_area_mm2,
)
from app.numerics.solder_joint import (
    Joint,
    Tolerances,
    UnusableJoint,
    compute_joint,
    compute_placement_heights,
    compute_stand_off,
    trace_outline,
)

# Ball, package pad, board pad, stand-off, largest diameter, share collapsed: no published table
# was found; recomputed by root finding, by the closed forms and by numerical volume.
TABLE = [
    (0.76, 0.60, 0.60, 0.532810744, 0.802425878, 0.298933),
    (0.60, 0.50, 0.50, 0.402331537, 0.641771506, 0.329447),
    (0.50, 0.40, 0.40, 0.346896987, 0.529469092, 0.306206),
    (0.45, 0.35, 0.35, 0.319096072, 0.473626755, 0.290898),
    (0.40, 0.30, 0.30, 0.291187122, 0.418078868, 0.272032),
    (0.30, 0.25, 0.25, 0.201165768, 0.320885753, 0.329447),
    (0.25, 0.20, 0.20, 0.173448494, 0.264734546, 0.306206),
    (0.60, 0.60, 0.60, 0.332144269, 0.685798670, 0.446426),
    (0.60, 0.90, 0.90, 0.173480663, 0.916567259, 0.710866),
    (0.60, 0.0001, 0.0001, 0.599999992, 0.600000000, 0.0),
    (0.60, 0.45, 0.50, 0.419279101, 0.634702391, 0.301201),
    (0.76, 0.70, 0.60, 0.496546415, 0.822096295, 0.346649),
]


def _equal(ball_mm: float, pad_mm: float, *, metal_mm3: float = 0.0) -> Joint:
    return compute_joint(ball_mm, package_pad_mm=pad_mm, board_pad_mm=pad_mm, metal_mm3=metal_mm3)


@pytest.mark.parametrize(("ball", "package", "board", "stand_off", "widest", "lost"), TABLE)
def test_the_table_of_collapsed_balls(
    ball: float, package: float, board: float, stand_off: float, widest: float, lost: float
) -> None:
    joint = compute_joint(ball, package_pad_mm=package, board_pad_mm=board)
    assert joint.stand_off_mm == pytest.approx(stand_off, abs=1e-9)
    assert joint.largest_diameter_mm == pytest.approx(widest, abs=1e-9)
    assert joint.collapse == pytest.approx(lost, abs=1e-6)


def test_paste_lifts_the_part() -> None:
    """Aperture of 0.5 mm in a foil of 0.1 mm, all of it printed, half of it metal."""
    deposit = compute_deposit(compute_round_area_mm2(0.5), 0.1, transfer_efficiency=1.0)
    assert deposit.metal_mm3 == pytest.approx(0.009817477, abs=1e-9)
    joint = _equal(0.6, 0.5, metal_mm3=deposit.metal_mm3)
    assert joint.stand_off_mm == pytest.approx(0.423480091, abs=1e-9)
    assert joint.largest_diameter_mm == pytest.approx(0.655236894, abs=1e-9)
    assert joint.volume_mm3 == pytest.approx(0.122914813, abs=1e-9)


sizes = st.floats(0.01, 5.0)


@example(ball=0.01171875, package=1.0, board=0.5, metal=0.0)
@given(ball=sizes, package=sizes, board=sizes, metal=st.floats(0.0, 10.0))
def test_the_outline_holds_the_volume_that_went_in(
    ball: float, package: float, board: float, metal: float
) -> None:
    joint = compute_joint(ball, package_pad_mm=package, board_pad_mm=board, metal_mm3=metal)
    h, a1, a2 = joint.stand_off_mm, package / 2.0, board / 2.0
    volume = math.pi * h / 6.0 * (3.0 * a1**2 + 3.0 * a2**2 + h**2)
    assert volume == pytest.approx(math.pi / 6.0 * ball**3 + metal, rel=1e-9)
    assert joint.volume_mm3 == pytest.approx(volume, rel=1e-9)
    outline = trace_outline(joint, count=5)
    assert outline[0][0] == pytest.approx(a2, rel=1e-6, abs=1e-6)
    assert outline[-1][0] == pytest.approx(a1, rel=1e-6, abs=1e-6)
    assert max(r for r, _ in outline) <= joint.largest_diameter_mm / 2.0 + 1e-9


@given(ball=sizes, pad=sizes, scale=st.floats(0.1, 10.0))
def test_a_larger_joint_of_the_same_shape_is_higher_by_its_scale(
    ball: float, pad: float, scale: float
) -> None:
    larger = _equal(ball * scale, pad * scale)
    assert larger.stand_off_mm == pytest.approx(_equal(ball, pad).stand_off_mm * scale, rel=1e-9)


@given(ball=sizes, package=sizes, board=sizes)
def test_a_joint_turned_over_is_the_same(ball: float, package: float, board: float) -> None:
    one = compute_joint(ball, package_pad_mm=package, board_pad_mm=board)
    other = compute_joint(ball, package_pad_mm=board, board_pad_mm=package)
    assert one.stand_off_mm == other.stand_off_mm
    assert one.largest_diameter_mm == pytest.approx(other.largest_diameter_mm, rel=1e-9)


def test_very_small_pads_leave_the_ball_and_very_large_ones_flatten_it() -> None:
    assert _equal(0.6, 1e-4).stand_off_mm == pytest.approx(0.6 - 8.333e-9, abs=1e-11)
    flat = _equal(0.6, 50.0)
    assert flat.stand_off_mm == pytest.approx(2.0 / 3.0 * 0.6**3 / 50.0**2, rel=1e-6)


def test_a_joint_whose_centre_lies_beneath_the_pad_is_widest_at_the_pad() -> None:
    joint = compute_joint(0.2, package_pad_mm=0.1, board_pad_mm=1.0)
    assert joint.centre_mm < 0.0
    assert joint.largest_diameter_mm == 1.0


def test_the_derivatives_are_those_recomputed() -> None:
    joint = _equal(0.6, 0.5)
    assert joint.by_ball == pytest.approx(1.254920921, abs=1e-9)
    assert joint.by_package_pad + joint.by_board_pad == pytest.approx(-0.701242032, abs=1e-9)


@given(
    ball=st.floats(0.2, 1.0),
    package=st.floats(0.2, 1.0),
    board=st.floats(0.2, 1.0),
    metal=st.floats(0.001, 0.1),
)
def test_the_derivatives_are_the_slopes(
    ball: float, package: float, board: float, metal: float
) -> None:
    step = 1e-5

    def stand_off(d_ball: float, d_package: float, d_board: float, d_metal: float) -> float:
        return compute_joint(
            ball + d_ball,
            package_pad_mm=package + d_package,
            board_pad_mm=board + d_board,
            metal_mm3=metal + d_metal,
        ).stand_off_mm

    joint = compute_joint(ball, package_pad_mm=package, board_pad_mm=board, metal_mm3=metal)
    derivatives = (joint.by_ball, joint.by_package_pad, joint.by_board_pad, joint.by_metal)
    for place, derivative in enumerate(derivatives):
        move = [0.0, 0.0, 0.0, 0.0]
        move[place] = step
        up, down = stand_off(*move), stand_off(*(-part for part in move))
        assert (up - down) / (2.0 * step) == pytest.approx(derivative, rel=1e-4, abs=1e-6)


def test_a_stand_off_has_its_tolerance_in_both_units() -> None:
    tolerances = Tolerances(ball_mm=0.03, package_pad_mm=0.02, board_pad_mm=0.02)
    height = compute_stand_off(_equal(0.6, 0.5), tolerances)
    parts = (1.254920921 * 0.03, 0.350621016 * 0.02, 0.350621016 * 0.02)
    assert height.mm == pytest.approx(0.402331537, abs=1e-9)
    assert height.worst_mm == pytest.approx(sum(parts), abs=1e-9)
    assert height.likely_mm == pytest.approx(math.hypot(*parts), abs=1e-9)
    assert height.thousandths == pytest.approx(15.83982, abs=1e-4)
    assert height.worst_thousandths == pytest.approx(height.worst_mm / 0.0254)
    assert height.likely_thousandths == pytest.approx(height.likely_mm / 0.0254)


def test_an_attached_ball_stands_higher_than_it_comes_to_rest() -> None:
    joint = _equal(0.6, 0.5)
    heights = compute_placement_heights(
        joint, Tolerances(ball_mm=0.03), paste_mm=0.1, paste_tolerance_mm=0.01
    )
    standing = heights.before.mm - 0.1
    # The attached ball keeps its volume: a sphere cut off by the package pad alone.
    assert standing**3 + 3.0 * 0.25**2 * standing == pytest.approx(0.6**3)
    assert joint.stand_off_mm < standing < 0.6
    assert heights.after == compute_stand_off(joint, Tolerances(ball_mm=0.03))
    assert heights.drop.mm == pytest.approx(heights.before.mm - heights.after.mm)
    # A larger ball raises both heights, so that the drop knows little of it.
    assert heights.drop.worst_mm < heights.before.worst_mm
    by_ball = 0.6**2 / (standing**2 + 0.25**2)
    assert heights.before.worst_mm == pytest.approx(by_ball * 0.03 + 0.01)


def test_without_tolerances_a_height_has_none() -> None:
    height = compute_stand_off(_equal(0.6, 0.5), Tolerances())
    assert (height.worst_mm, height.likely_mm) == (0.0, 0.0)


@pytest.mark.parametrize("bad", [0.0, -0.1, 101.0, math.nan, math.inf])
def test_sizes_outside_their_range_are_refused(bad: float) -> None:
    with pytest.raises(UnusableJoint, match="ball_mm"):
        _equal(bad, 0.5)
    with pytest.raises(UnusableJoint, match="package_pad_mm"):
        _equal(0.6, bad)


def test_impossible_metal_tolerances_and_outlines_are_refused() -> None:
    joint = _equal(0.6, 0.5)
    with pytest.raises(UnusableJoint, match="metal_mm3"):
        _equal(0.6, 0.5, metal_mm3=-0.1)
    with pytest.raises(UnusableJoint, match="Tolerance ball_mm"):
        compute_stand_off(joint, Tolerances(ball_mm=-0.1))
    with pytest.raises(UnusableJoint, match="paste_mm"):
        compute_placement_heights(joint, Tolerances(), paste_mm=math.nan)
    with pytest.raises(UnusableJoint, match="count"):
        trace_outline(joint, count=1)


def test_a_round_aperture_leaves_its_share_of_metal() -> None:
    """0.30 mm in a foil of 0.10 mm: 0.00707 mm³, × 0.80 × 0.50 = 0.0028 mm³ (by hand)."""
    deposit = compute_deposit(compute_round_area_mm2(0.30), 0.10)
    assert deposit.aperture_mm3 == pytest.approx(0.00707, abs=5e-6)
    assert deposit.paste_mm3 == pytest.approx(0.8 * deposit.aperture_mm3)
    assert deposit.metal_mm3 == pytest.approx(0.0028, abs=5e-5)


@pytest.mark.parametrize(("alloy_g_per_cm3", "share"), [(7.4, 0.55), (8.4, 0.52)])
def test_nine_tenths_by_weight_are_about_half_by_volume(
    alloy_g_per_cm3: float, share: float
) -> None:
    found = compute_metal_share(0.90, alloy_g_per_cm3=alloy_g_per_cm3)
    assert found == pytest.approx(share, abs=0.005)


@pytest.mark.parametrize("bad", [0.0, -1.0, 1e9, math.nan])
def test_impossible_deposits_are_refused(bad: float) -> None:
    with pytest.raises(UnusablePaste, match="open_area_mm2"):
        compute_deposit(bad, 0.1)
    with pytest.raises(UnusablePaste, match="foil_mm"):
        compute_deposit(0.1, bad)
    with pytest.raises(UnusablePaste, match="transfer_efficiency"):
        compute_deposit(0.1, 0.1, transfer_efficiency=bad)
    with pytest.raises(UnusablePaste, match="metal_share"):
        compute_deposit(0.1, 0.1, metal_share=bad)
    with pytest.raises(UnusablePaste, match="alloy_g_per_cm3"):
        compute_metal_share(0.9, alloy_g_per_cm3=bad)
    with pytest.raises(UnusablePaste, match="diameter_mm"):
        compute_round_area_mm2(bad)
