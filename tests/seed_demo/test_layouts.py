"""Parts stand beside each other, and the files say what stands there."""

import csv
import io
import re
from itertools import combinations

import pytest

from seed_demo.layout_files import DIALECTS, spell_designators, write_bill, write_placement
from seed_demo.layouts import is_overlapping, lay_out, list_array_sites
from seed_demo.plant import ASSEMBLIES, get_assembly

NUMBERS = [assembly.part_number for assembly in ASSEMBLIES]


def read_rows(text: str, delimiter: str) -> list[dict[str, str]]:
    lines = [line for line in text.lstrip("\ufeff").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(io.StringIO("\n".join(lines)), delimiter=delimiter))


def expand(designators: str) -> list[str]:
    names: list[str] = []
    for group in designators.split(", "):
        first, _, last = group.partition("-")
        letter = re.sub(r"\d", "", first)
        low = int(first.removeprefix(letter))
        high = int(last.removeprefix(letter)) if last else low
        names += [f"{letter}{number}" for number in range(low, high + 1)]
    return names


@pytest.mark.parametrize("number", NUMBERS)
def test_no_two_parts_of_a_side_overlap(number: str) -> None:
    close = [
        (one.designator, other.designator)
        for one, other in combinations(lay_out(number), 2)
        if is_overlapping(one, other, gap_mm=0.3)
    ]
    assert close == []


def test_two_parts_on_one_spot_do_overlap_and_on_two_sides_do_not() -> None:
    parts = {part.designator: part for part in lay_out("OSSAREL-310")}
    assert is_overlapping(parts["U1"], parts["U1"])
    # U3 and U4 stand back to back.
    assert (parts["U3"].x_mm, parts["U3"].y_mm) == (parts["U4"].x_mm, parts["U4"].y_mm)
    assert not is_overlapping(parts["U3"], parts["U4"])


@pytest.mark.parametrize("number", NUMBERS)
def test_each_board_carries_a_plausible_number_of_parts_on_both_sides(number: str) -> None:
    parts = lay_out(number)
    assert 60 <= len(parts) <= 140
    assert {part.side for part in parts} == {"top", "bottom"}
    assert len({part.designator for part in parts}) == len(parts)
    assert 2 <= len({site.part_number for site in list_array_sites(number)}) <= 4
    assert {"J1", "Y1"} <= {part.designator for part in parts}


@pytest.mark.parametrize("number", NUMBERS)
def test_every_part_lies_on_the_board(number: str) -> None:
    assembly = get_assembly(number)
    for part in lay_out(number):
        left, lower, right, upper = part.box_mm
        assert left >= 0, part
        assert lower >= 0, part
        assert right <= assembly.length_mm, part
        assert upper <= assembly.width_mm, part


@pytest.mark.parametrize("number", NUMBERS)
def test_the_files_are_the_same_every_time(number: str) -> None:
    assert write_placement(number) == write_placement(number)
    assert write_bill(number) == write_bill(number)


@pytest.mark.parametrize("number", NUMBERS)
def test_the_placement_file_gives_every_centre_back(number: str) -> None:
    dialect = DIALECTS[number]
    name, x, y, _, side, *_ = dialect.placement_headings
    rows = {row[name]: row for row in read_rows(write_placement(number), dialect.delimiter)}
    mm_per_unit = 0.0254 if dialect.unit == "mil" else 1.0
    assert len(rows) == len(lay_out(number))
    for part in lay_out(number):
        row = rows[part.designator]
        mirror = -1 if dialect.mirrors_bottom_x and part.side == "bottom" else 1
        x_mm = float(row[x].replace(dialect.decimal_mark, ".")) * mm_per_unit * mirror
        y_mm = float(row[y].replace(dialect.decimal_mark, ".")) * mm_per_unit
        assert x_mm == pytest.approx(part.x_mm, abs=0.001)
        assert y_mm == pytest.approx(part.y_mm, abs=0.001)
        assert dialect.sides.index(row[side]) == ("top", "bottom").index(part.side)


@pytest.mark.parametrize("number", NUMBERS)
def test_the_bill_names_exactly_what_is_placed(number: str) -> None:
    dialect = DIALECTS[number]
    names, part_number, _, _, quantity = dialect.bill_headings
    billed = {}
    for row in read_rows(write_bill(number), dialect.delimiter):
        expanded = expand(row[names])
        assert len(expanded) == int(row[quantity])
        billed.update(dict.fromkeys(expanded, row[part_number]))
    assert billed == {part.designator: part.part_number for part in lay_out(number)}


def test_the_three_dialects_differ_in_delimiter_unit_or_words() -> None:
    assert {dialect.delimiter for dialect in DIALECTS.values()} == {",", ";", "\t"}
    assert {dialect.unit for dialect in DIALECTS.values()} == {"mm", "mil"}
    assert ("front", "back") in {dialect.sides for dialect in DIALECTS.values()}


def test_designators_are_grouped_into_ranges_from_three_on() -> None:
    assert spell_designators(["C7", "C1", "C2", "C3", "C10", "C11"]) == "C1-C3, C7, C10, C11"
