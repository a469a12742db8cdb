"""A corrected placement file against the one before it."""

from dataclasses import replace
from decimal import Decimal

from app.boards.files import PlacementLine, compare_layouts
from app.boards.rules import Side

C1 = PlacementLine(
    line_number=2,
    designator="C1",
    value="1uF",
    package="C_0402",
    x_mm=Decimal("10.0"),
    y_mm=Decimal("5.0"),
    rotation_deg=Decimal(0),
    side=Side.TOP,
)
U1 = replace(C1, designator="U1", line_number=3)


def test_the_same_lines_differ_in_nothing() -> None:
    difference = compare_layouts([C1, U1], [U1, C1])
    assert difference.is_empty
    assert difference.unchanged_count == 2


def test_added_and_removed_parts_are_named() -> None:
    difference = compare_layouts([C1], [U1])
    assert difference.sentences == ("U1 was added.", "C1 was removed.")
    assert difference.unchanged_count == 0


def test_a_move_is_told_from_where_to_where() -> None:
    difference = compare_layouts([C1], [replace(C1, x_mm=Decimal("10.001"))])
    assert difference.sentences == ("C1 moved from (10, 5) to (10.001, 5) mm.",)


def test_noise_below_a_thousandth_is_no_move() -> None:
    noisy = replace(C1, x_mm=Decimal("10.000999"), y_mm=Decimal("4.999999"))
    assert compare_layouts([C1], [noisy]).is_empty


def test_a_turn_goes_the_short_way_round() -> None:
    assert compare_layouts([C1], [replace(C1, rotation_deg=Decimal("359.995"))]).is_empty
    turned = compare_layouts([C1], [replace(C1, rotation_deg=Decimal(270))])
    assert turned.sentences == ("C1 turned from 0° to 270°.",)


def test_side_value_and_package_are_compared() -> None:
    other = replace(C1, side=Side.BOTTOM, value="2uF", package="C_0603")
    difference = compare_layouts([C1], [other])
    assert difference.sentences == (
        "C1 changed from the top to the bottom side.",
        "C1: the value changed from “1uF” to “2uF”.",
        "C1: the package changed from “C_0402” to “C_0603”.",
    )
    assert difference.unchanged_count == 0
