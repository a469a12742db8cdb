"""The placement picture: to scale, marked, seen from the right side, and safe to embed."""

import re
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.boards.figures import draw_placement_svg
from app.boards.rules import Side

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Part:
    """A part as the picture needs it."""

    designator: str
    x_mm: float
    y_mm: float
    package: str = ""
    rotation_deg: float = 0.0
    side: str = "top"


U1 = Part("U1", 10, 5, package="BGA-64_8x6mm", rotation_deg=30)
C1 = Part("C1", 30, 15, package="C_0402")
C2 = Part("C2", 12, 3, side="bottom", rotation_deg=30)
PARTS = (U1, C1, C2)
SIZES = {"U1": (8.0, 6.0), "C2": (1.0, 0.5)}


def _draw(parts: tuple[Part, ...] = PARTS, side: Side = Side.TOP, **more: object) -> ET.Element:
    outline = more.get("outline_mm")
    marked = more.get("marked", ())
    assert outline is None or isinstance(outline, tuple)
    assert isinstance(marked, (tuple, set))
    text = draw_placement_svg(parts, side=side, outline_mm=outline, marked=marked, sizes=SIZES)
    return ET.fromstring(text)  # noqa: S314 - our own text


def _with_class(picture: ET.Element, name: str) -> list[ET.Element]:
    return [one for one in picture.iter() if name in one.get("class", "").split()]


def _title(element: ET.Element) -> str:
    return element.findtext(f"{SVG}title") or ""


def test_parts_of_known_size_are_to_scale_and_turned() -> None:
    body = next(part for part in _with_class(_draw(), "pl-part") if _title(part).startswith("U1"))
    assert (body.get("width"), body.get("height")) == ("8", "6")
    # centre (10, 5), y down in the picture
    assert (body.get("x"), body.get("y")) == ("6", "-8")
    assert body.get("transform") == "rotate(-30 10 -5)"


def test_parts_of_unknown_size_are_crosses() -> None:
    cross = _with_class(_draw(), "pl-unsized")
    assert [_title(part) for part in cross] == ["C1 C_0402"]
    assert cross[0].tag == f"{SVG}path"


def test_each_side_shows_its_own_parts_and_the_bottom_is_seen_from_below() -> None:
    picture = _draw(side=Side.BOTTOM)
    parts = _with_class(picture, "pl-part")
    assert [_title(part) for part in parts] == ["C2"]
    assert parts[0].get("x") == "-12.5"
    assert parts[0].get("transform") == "rotate(30 -12 -3)"
    assert "as seen from below" in _title(picture)


def test_the_marked_site_has_a_shape_and_a_name_and_no_other_part_has() -> None:
    picture = _draw(marked={"U1", "C2"})
    assert [_title(site) for site in _with_class(picture, "pl-site")] == ["U1, marked"]
    assert [label.text for label in _with_class(picture, "pl-label-site")] == ["U1"]
    assert _title(picture) == ("Top side, 2 parts. Marked: U1. Not placed on this side: C2.")


def test_a_marked_part_without_a_size_is_ringed_and_named() -> None:
    picture = _draw(marked={"C1"})
    site = _with_class(picture, "pl-site")[0]
    assert "a" in (site.get("d") or "")
    assert [label.text for label in _with_class(picture, "pl-label-site")] == ["C1"]


def test_array_packages_are_named_however_small_and_others_where_there_is_room() -> None:
    far = Part("R1", 400, 300)
    tiny = Part("C2", 1, 1)
    picture = _draw((U1, C1, far, tiny))
    assert [label.text for label in _with_class(picture, "pl-label")] == ["U1"]


def test_the_outline_is_drawn_from_the_origin_where_the_parts_lie_in_it() -> None:
    board = _with_class(_draw(outline_mm=(40.0, 20.0)), "pl-board")[0]
    assert [board.get(name) for name in ("x", "y", "width", "height")] == ["0", "-20", "40", "20"]
    assert board.get("class") == "pl-board"


def test_an_outline_is_mirrored_with_the_bottom_side() -> None:
    board = _with_class(_draw(side=Side.BOTTOM, outline_mm=(40.0, 20.0)), "pl-board")[0]
    assert board.get("x") == "-40"


def test_an_outline_that_does_not_hold_the_parts_is_centred_and_said_to_be_assumed() -> None:
    parts = (Part("A1", 100, 100), Part("A2", 120, 110))
    board = _with_class(_draw(parts, outline_mm=(40.0, 20.0)), "pl-board")[0]
    assert [board.get(name) for name in ("x", "y", "width", "height")] == ["90", "-115", "40", "20"]
    assert "pl-assumed" in (board.get("class") or "")


def test_without_an_outline_the_extent_is_drawn_as_assumed() -> None:
    board = _with_class(_draw((Part("A1", 0, 0), Part("A2", 20, 10))), "pl-board")[0]
    assert [board.get(name) for name in ("x", "y", "width", "height")] == ["-1", "-11", "22", "12"]
    assert "pl-assumed" in (board.get("class") or "")


def test_a_side_without_parts_is_a_picture_that_says_so() -> None:
    picture = _draw(())
    assert _title(picture) == "Top side, no parts."
    assert _with_class(picture, "pl-part") == []


def test_the_picture_is_accessible_and_needs_no_inline_style_or_script() -> None:
    text = draw_placement_svg(PARTS, side=Side.TOP, marked={"U1"}, sizes=SIZES)
    assert 'role="img"' in text
    assert text.index("<title>") < text.index("<rect")
    assert not re.search(r"style|script|\son\w+=", text)


def test_the_same_parts_give_the_same_text_whatever_the_order_of_the_marked() -> None:
    one = draw_placement_svg(PARTS, side=Side.TOP, marked=["U1", "C1"])
    assert one == draw_placement_svg(PARTS, side=Side.TOP, marked=["C1", "U1"])


def test_beyond_5000_parts_marked_and_array_packages_stay_and_the_title_tells() -> None:
    many = tuple(Part(f"R{n}", n % 100, n // 100) for n in range(5_100))
    picture = _draw((*many, U1), marked={"R5099"})
    titles = {_title(part).split()[0] for part in _with_class(picture, "pl-part")}
    assert len(titles) == 5_000
    assert {"R5099", "U1"} <= titles
    assert "5,101 parts. 5,000 of them are drawn." in _title(picture)


@pytest.mark.parametrize("name", ["<script>\"&'", "U\x001", "\ud800", "]]>"])
def test_text_from_outside_stays_text(name: str) -> None:
    picture = _draw((Part(name, 1, 1, package=name),), marked={name})
    assert "script" not in {element.tag for element in picture.iter()}
    assert len(_with_class(picture, "pl-label-site")) == 1


NUMBERS = st.floats(-5_000, 5_000)


@given(
    st.lists(st.builds(Part, st.text(max_size=8), NUMBERS, NUMBERS, st.text(max_size=8), NUMBERS)),
    st.one_of(st.none(), st.tuples(st.floats(1, 1_000), st.floats(1, 1_000))),
)
def test_any_parts_give_a_picture_that_parses(
    parts: list[Part], outline_mm: tuple[float, float] | None
) -> None:
    picture = _draw(tuple(parts), outline_mm=outline_mm)
    assert len(_with_class(picture, "pl-part")) == len(parts)
    assert all(float(value) == float(value) for value in (picture.get("viewBox") or "").split())
