"""Aperture ratios against published and derived examples, and the table of alloys."""

from decimal import Decimal

import pytest

from app.recipes.body.alloys import ALLOYS, Status, find_alloy
from app.recipes.body.describe import spell_ratios
from app.recipes.body.lengths import parse_length
from app.recipes.body.stencil import Aperture, ApertureShape, compute_ratios


def rect(length: str, width: str) -> Aperture:
    return Aperture(
        shape=ApertureShape.RECT, length=parse_length(length), width=parse_length(width), count=1
    )


def of_one_size(shape: ApertureShape, size: str) -> Aperture:
    return Aperture(shape=shape, length=parse_length(size), count=1)


def test_the_published_example_comes_out() -> None:
    # calculator.academy, stencil area ratio calculator, restating IPC-7525B: 0.30 × 0.25 mm in a
    # foil of 0.10 mm: open 0.075 mm², wall 0.110 mm², area ratio 0.68, aspect ratio 2.5.
    ratios = compute_ratios(rect("0.30 mm", "0.25 mm"), parse_length("0.10 mm"))
    assert ratios.open_area_mm2 == Decimal("0.075")
    assert ratios.wall_area_mm2 == Decimal("0.110")
    assert round(ratios.area_ratio, 2) == Decimal("0.68")
    assert ratios.aspect_ratio == Decimal("2.5")
    assert ratios.area_ratio_holds
    assert ratios.aspect_ratio_holds


@pytest.mark.parametrize(
    ("foil", "area_ratio", "holds"),
    [("0.125 mm", "0.60", False), ("0.10 mm", "0.75", True)],  # derived by arithmetic: D / (4·T)
)
def test_a_round_hole_fails_in_a_thick_foil(foil: str, area_ratio: str, *, holds: bool) -> None:
    ratios = compute_ratios(of_one_size(ApertureShape.ROUND, "0.30 mm"), parse_length(foil))
    assert ratios.area_ratio == Decimal(area_ratio)
    assert ratios.area_ratio_holds is holds


def test_round_and_square_of_one_size_have_one_ratio() -> None:
    foil = parse_length("0.12 mm")
    circle = compute_ratios(of_one_size(ApertureShape.ROUND, "0.4 mm"), foil)
    square = compute_ratios(of_one_size(ApertureShape.SQUARE, "0.4 mm"), foil)
    assert circle.area_ratio == square.area_ratio
    assert abs(circle.open_area_mm2 / circle.wall_area_mm2 - circle.area_ratio) < Decimal("1e-20")


def test_the_limits_themselves_are_reached() -> None:
    at_area = compute_ratios(of_one_size(ApertureShape.SQUARE, "0.264 mm"), parse_length("0.1 mm"))
    assert at_area.area_ratio == Decimal("0.66")
    assert at_area.area_ratio_holds
    at_aspect = compute_ratios(rect("1 mm", "0.15 mm"), parse_length("0.1 mm"))
    assert at_aspect.aspect_ratio == Decimal("1.5")
    assert at_aspect.aspect_ratio_holds
    assert not compute_ratios(rect("1 mm", "0.149 mm"), parse_length("0.1 mm")).aspect_ratio_holds


def test_the_shorter_side_decides_the_aspect() -> None:
    foil = parse_length("5 thou")
    lying, standing = rect("40 thou", "10 thou"), rect("10 thou", "40 thou")
    assert compute_ratios(lying, foil) == compute_ratios(standing, foil)
    assert compute_ratios(lying, foil).aspect_ratio == 2


def test_no_ratio_is_shown_to_reach_what_it_does_not() -> None:
    shown = spell_ratios(of_one_size(ApertureShape.SQUARE, "0.2639 mm"), parse_length("0.1 mm"))
    assert shown.startswith("area ratio 0.65 is below 0.66; aspect ratio 2.63 reaches 1.5")
    assert "IPC-7525B" in shown


def test_a_foil_of_nothing_has_no_ratio() -> None:
    with pytest.raises(ValueError, match="more than 0 mm"):
        compute_ratios(rect("1 mm", "1 mm"), parse_length("0 mm"))


def test_alloys_are_named_once_and_melt_in_order() -> None:
    assert len({alloy.name for alloy in ALLOYS}) == len(ALLOYS)
    assert all(alloy.solidus_c <= alloy.liquidus_c for alloy in ALLOYS)


def test_an_alloy_in_doubt_says_so() -> None:
    doubted = {alloy.name for alloy in ALLOYS if alloy.status is not Status.SEEN}
    assert "Sn-Cu0.7-Ni0.05(-Ge)" in doubted
    for alloy in ALLOYS:
        assert ("confirm against your copy" in alloy.caution) is (alloy.name in doubted)


def test_an_alloy_is_found_by_its_name() -> None:
    found = find_alloy("Sn96.5Ag3.0Cu0.5 (SAC305)")
    assert found is not None
    # indium.com and alasir.com print 217/220
    assert (found.solidus_c, found.liquidus_c) == (217, 220)
    assert find_alloy("Unobtainium") is None
