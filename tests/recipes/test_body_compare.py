"""A body in words, and two bodies side by side."""

import copy
from collections.abc import Iterator
from typing import Any

import pytest

from app.recipes.body.compare import Change, compare_bodies
from app.recipes.body.describe import describe_body, spell_number
from app.recipes.body.forms import parse_body
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import default_body

Json = dict[str, Any]
BODY = default_body(assembly_part_number="LIMNET-07", designators=["U3"])


def dump() -> Json:
    made: Json = BODY.model_dump(mode="json")
    made["applies_to"]["revisions"] = ["A"]
    made["cautions"] = ["Mind the crystal."]
    made["deposit"]["depth"]["value"] = "0.5"
    return made


def find(body: RecipeBody, path: str) -> str:
    return next(row.value for part in describe_body(body) for row in part.rows if row.path == path)


def list_leaves(value: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    if isinstance(value, dict):
        for name, below in value.items():
            yield from list_leaves(below, (*path, name))
    elif isinstance(value, list):
        for place, below in enumerate(value):
            yield from list_leaves(below, (*path, place))
    else:
        yield path


def change(body: Json, path: tuple[str | int, ...]) -> Json:
    changed = copy.deepcopy(body)
    here: Any = changed
    for step in path[:-1]:
        here = here[step]
    old = here[path[-1]]
    here[path[-1]] = ANOTHER.get(path[-1], _make_another(old))
    return changed


def _make_another(old: object) -> object:
    if isinstance(old, bool):
        return not old
    if isinstance(old, float):
        return old + 0.5
    if isinstance(old, str):
        return old + "1"
    return 100.0


ANOTHER: dict[object, str] = {"unit": "thou"}
# What cannot change alone in a valid body; limits and roles have tests of their own.
TIED = {"format", "role", "kind", "name", "height", "designator", "xray"}


@pytest.mark.parametrize(
    "path",
    [
        path
        for path in list_leaves(dump())
        if path[-1] not in TIED and "limits" not in path and "roles" not in path
    ],
    ids=lambda path: ".".join(map(str, path)),
)
def test_any_changed_value_is_shown_as_changed(path: tuple[str | int, ...]) -> None:
    changed = parse_body(change(dump(), path))
    changes = compare_bodies(parse_body(dump()), changed)
    assert changes
    assert any(".".join(map(str, path)).startswith(one.path) for one in changes)


def test_a_body_does_not_differ_from_itself() -> None:
    assert compare_bodies(BODY, parse_body(BODY.model_dump(mode="json"))) == ()


def test_a_change_is_told_in_words_with_units() -> None:
    changed = change(BODY.model_dump(mode="json"), ("zones", 3, "time_s"))
    assert compare_bodies(BODY, parse_body(changed)) == (
        Change("zones.3.time_s", "Zone 4: reflow: Time", "60 s", "60.5 s"),
    )


def test_a_length_typed_otherwise_is_a_change_though_it_is_the_same_length() -> None:
    changed = BODY.model_dump(mode="json")
    changed["head_heights"]["placement"] = {"value": "20", "unit": "thou"}
    (only,) = compare_bodies(BODY, parse_body(changed))
    assert (only.old, only.new) == ("0.020 in (0.508 mm)", "20 thou (0.508 mm)")


def test_a_changed_limit_is_shown_beside_the_old_one() -> None:
    changed = BODY.model_dump(mode="json")
    changed["window"]["limits"][0]["upper"] = 240
    (only,) = compare_bodies(BODY, parse_body(changed))
    assert (only.path, only.old, only.new) == (
        "window.limits.0",
        "230 to 245 °C",
        "230 to 240 °C",
    )


def test_a_thermocouple_put_in_front_marks_itself_alone() -> None:
    changed = BODY.model_dump(mode="json")
    changed["thermocouples"].insert(
        0, {"channel": "T9", "role": "air", "name": "", "designator": "", "required": False}
    )
    (only,) = compare_bodies(BODY, parse_body(changed))
    assert (only.label, only.old, only.new) == ("Thermocouples: T9", None, "air (optional)")


def test_a_removed_caution_is_shown() -> None:
    with_caution = BODY.model_dump(mode="json") | {"cautions": ["Mind the crystal."]}
    (only,) = compare_bodies(parse_body(with_caution), BODY)
    assert (only.path, only.old, only.new) == ("cautions.0", "Mind the crystal.", None)


def test_another_order_is_a_change() -> None:
    changed = BODY.model_dump(mode="json")
    changed["thermocouples"].reverse()
    (only,) = compare_bodies(BODY, parse_body(changed))
    assert (only.old, only.new) == ("T1, T2, T3, T4", "T4, T3, T2, T1")


def test_bodies_that_read_the_same_and_are_not_are_told_apart() -> None:
    changed = BODY.model_dump(mode="json")
    changed["site_dressing"]["remarks"] = "–"
    assert compare_bodies(BODY, parse_body(changed))


def test_the_description_spells_units_and_says_off() -> None:
    assert find(BODY, "zones.4.top_c") == "off"
    assert find(BODY, "zones.0.top_c") == "160 °C"
    assert find(BODY, "placement.force_n") == "1.5 N"
    assert find(BODY, "applies_to.revisions") == "every revision"
    assert find(BODY, "window.limits.3") == "at most 3 K/s"


def test_labels_are_unique_within_their_section() -> None:
    for section in describe_body(BODY):
        labels = [row.label for row in section.rows]
        assert len(set(labels)) == len(labels)


@pytest.mark.parametrize(
    ("value", "spelt"),
    [
        (90.0, "90"),
        (2.5, "2.5"),
        (-0.0, "0"),
        (0.1 + 0.2, "0.30000000000000004"),
        (1e-7, "0.0000001"),
    ],
)
def test_numbers_are_spelt_short_and_exact(value: float, spelt: str) -> None:
    assert spell_number(value) == spelt
