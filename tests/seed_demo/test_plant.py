"""The invented plant holds together."""

from collections import Counter

import pytest

from seed_demo.plant import (
    ARRAY_PARTS,
    ASSEMBLIES,
    BENCHES,
    PARTS,
    PEOPLE,
    SUPPLIES,
    Part,
    list_people,
)


def test_every_name_and_number_is_used_once() -> None:
    names = [
        *(person.username for person in PEOPLE),
        *(person.name for person in PEOPLE),
        *(bench.code for bench in BENCHES),
        *(assembly.part_number for assembly in ASSEMBLIES),
        *(part.part_number for part in PARTS),
        *(supply.code for supply in SUPPLIES),
    ]
    assert [name for name, count in Counter(names).items() if count > 1] == []


def test_the_people_hold_the_roles_the_plant_needs() -> None:
    assert len(list_people("operator")) >= 4
    assert len(list_people("engineer")) == 3
    assert len(list_people("auditor")) == 1
    assert len(list_people("administrator")) == 1
    assert [person.username for person in PEOPLE if len(person.roles) == 2] == ["suna.orrelund"]


def test_there_are_parts_of_each_array_package() -> None:
    assert {part.package for part in ARRAY_PARTS} == {"BGA", "CSP", "QFN", "LGA"}
    assert all(part.is_array for part in ARRAY_PARTS)


@pytest.mark.parametrize("part", ARRAY_PARTS, ids=lambda part: part.part_number)
def test_classification_follows_thickness_and_volume(part: Part) -> None:
    # J-STD-020 lead-free classification table, from memory; no part here is over 2000 mm³.
    volume_mm3 = part.length_mm * part.width_mm * part.height_mm
    expected_c = 250 if part.height_mm >= 1.6 and volume_mm3 >= 350 else 260
    assert part.classification_c == expected_c
    assert part.max_body_c <= part.classification_c


def test_only_balls_have_a_ball_alloy() -> None:
    for part in ARRAY_PARTS:
        assert (part.ball_alloy is not None) == (part.package in {"BGA", "CSP"})
