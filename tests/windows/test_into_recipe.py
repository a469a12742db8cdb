"""A window put into a recipe's body: limits, temperatures, and where they are from."""

from typing import Any

import pytest

from app.recipes.body.recipe import RecipeBody
from app.windows.body import WindowText
from app.windows.built_in import Package, get_built_in
from app.windows.into_recipe import Limits, Stamp, Temperatures, put_into_body
from app.windows.rules import DoesNotFit
from tests.recipes.conftest import BODY
from tests.windows.conftest import TEXT, narrower

STAMP = Stamp("OWN-SAC", 2, "Joints, our boards", "ab" * 32)


def put(
    text: WindowText = TEXT,
    body: RecipeBody = BODY,
    *,
    stamp: Stamp = STAMP,
    limits: Limits = "add",
    temperatures: Temperatures = "window",
) -> RecipeBody:
    return put_into_body(body, text, stamp, limits=limits, temperatures=temperatures)


def map_limits(body: RecipeBody) -> dict[str, tuple[float | None, float | None]]:
    return {
        f"{one.metric} {role}": (one.lower, one.upper)
        for one in body.window.limits
        for role in one.roles or ("site",)
    }


def change(**values: Any) -> RecipeBody:
    raw = BODY.model_dump(mode="json")
    raw["window"] |= values
    return RecipeBody.model_validate(raw)


def test_its_limits_stand_in_place_of_the_same_ones_and_the_others_stay() -> None:
    before, after = map_limits(BODY), map_limits(put())
    changed = {name for name in after if after[name] != before.get(name)}
    assert changed == {
        "peak_c joint_centre", "peak_c joint_corner",
        "time_above_liquidus_s joint_centre", "time_above_liquidus_s joint_corner",
    }  # fmt: skip
    assert after["peak_c joint_centre"] == (232.0, 243.0)
    assert before.keys() <= after.keys()


def test_a_limit_of_more_channels_keeps_those_that_the_window_does_not_name() -> None:
    body = change(limits=[{"metric": "peak_c", "roles": ["joint_centre", "body"], "upper": 260}])
    found = map_limits(put(body=body))
    assert found["peak_c body"] == (None, 260.0)
    assert found["peak_c joint_centre"] == (232.0, 243.0)


def test_replacing_leaves_the_windows_limits_alone() -> None:
    after = put(limits="replace")
    assert [one.metric for one in after.window.limits] == [row.metric for row in TEXT.rows]


def test_the_caution_says_key_version_digest_and_what_is_in_doubt() -> None:
    told = put().cautions[-1]
    assert told.startswith("Limits from window OWN-SAC, version 2 (digest " + "ab" * 32)
    assert "From memory; confirm against your copy." in told
    assert put().cautions[:-1] == BODY.cautions


def test_a_later_version_of_the_same_window_takes_the_place_of_its_caution() -> None:
    other = Stamp("OTHER", 1, "Other", "cd" * 32)
    twice = put(narrower(), put(TEXT, put(stamp=other)), stamp=Stamp("OWN-SAC", 3, "J", "ef" * 32))
    told = [one for one in twice.cautions if one.startswith("Limits from window")]
    assert [one.split(" (")[0] for one in told] == [
        "Limits from window OTHER, version 1",
        "Limits from window OWN-SAC, version 3",
    ]
    assert len([one for one in put(body=twice, limits="replace").cautions if "OTHER" in one]) == 0


def test_temperatures_are_the_windows_or_stay_and_then_the_difference_is_told() -> None:
    body = change(liquidus_c=221)
    assert put(body=body).window.liquidus_c == 220
    kept = put(body=body, temperatures="draft")
    assert kept.window.liquidus_c == 221
    told = "Time above liquidus: stated for a liquidus of 220 °C, measured here at 221 °C."
    assert told in kept.cautions[-1]
    assert told not in put(body=body).cautions[-1]


def test_a_bodys_classification_temperature_comes_along_always() -> None:
    found = get_built_in("classification-pb-free", Package(3.0, 400.0))
    stamp = Stamp(found.key, found.version, found.name, found.digest)
    after = put(found.text, change(classification_c=260), stamp=stamp, temperatures="draft")
    assert after.window.classification_c == 245
    assert after.window.liquidus_c == BODY.window.liquidus_c
    assert map_limits(after)["peak_c body"] == (None, 245.0)
    assert "stated for a liquidus of 217 °C" in after.cautions[-1]


def test_a_row_that_nothing_measures_is_refused_at_its_field() -> None:
    raw = TEXT.model_dump(mode="json")
    raw["rows"][1]["roles"] = ["air"]
    with pytest.raises(DoesNotFit) as caught:
        put(WindowText.model_validate(raw))
    assert [one.field for one in caught.value.faults] == ["rows.1.roles"]
    assert "no thermocouple of the draft measures" in caught.value.faults[0].sentence


def test_spread_asks_for_two_joints() -> None:
    raw = BODY.model_dump(mode="json")
    raw["thermocouples"] = [one for one in raw["thermocouples"] if one["role"] != "joint_corner"]
    raw["lift_rule"]["roles"] = ["joint_centre"]
    raw["window"]["limits"] = [{"metric": "peak_c", "roles": ["joint_centre"], "upper": 245}]
    joints = [one for one in raw["thermocouples"] if one["role"] == "joint_centre"]
    assert len(joints) == 1
    text = WindowText.model_validate(
        {
            **TEXT.model_dump(mode="json"),
            "rows": [{"metric": "spread_k", "upper": 6, "status": "plants_own"}],
        }
    )
    with pytest.raises(DoesNotFit) as caught:
        put(text, RecipeBody.model_validate(raw))
    assert caught.value.faults[0].field == "rows.0.metric"


def test_a_window_of_another_alloy_moves_the_whole_melting_range() -> None:
    found = get_built_in("joints-sn63pb37")
    after = put(found.text, limits="replace")
    assert (after.window.alloy, after.window.solidus_c, after.window.liquidus_c) == (
        "Sn63Pb37", 183, 183,
    )  # fmt: skip


def test_too_many_cautions_are_refused_and_not_cut() -> None:
    raw = BODY.model_dump(mode="json")
    raw["cautions"] = [f"Caution {n}" for n in range(20)]
    with pytest.raises(DoesNotFit) as caught:
        put(body=RecipeBody.model_validate(raw))
    assert caught.value.faults[0].field == "cautions"
