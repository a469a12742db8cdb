"""A recipe's body: every range, and how its parts must agree."""

import copy
import json
from typing import Any

import pytest

from app.recipes.body.forms import BodyUnreadable, parse_body, parse_stored_body
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import default_body
from app.recipes.body.window import METRICS, Metric

Json = dict[str, Any]


def dip() -> Json:
    body = default_body(assembly_part_number="LIMNET-07", designators=["U3"])
    made: Json = body.model_dump(mode="json")
    return made


def paste() -> Json:
    body = dip()
    body["deposit"] = {
        "kind": "paste",
        "alloy": "Sn63Pb37",
        "foil_thickness": {"value": "0.10", "unit": "mm"},
        "apertures": [
            {
                "shape": "rect",
                "length": {"value": "0.30", "unit": "mm"},
                "width": {"value": "0.25", "unit": "mm"},
                "count": 48,
            }
        ],
    }
    return body


def put(body: Json, path: str, value: object) -> Json:
    changed = copy.deepcopy(body)
    *way, last = path.split(".")
    here: Any = changed
    for step in way:
        here = here[int(step)] if isinstance(here, list) else here[step]
    here[int(last) if isinstance(here, list) else last] = value
    return changed


def faults(body: object) -> dict[str, str]:
    with pytest.raises(BodyUnreadable) as refused:
        parse_body(body)
    return {fault.field: fault.sentence for fault in refused.value.faults}


def mm(value: str) -> Json:
    return {"value": value, "unit": "mm"}


def test_the_starting_body_is_whole_and_survives_json() -> None:
    body = default_body(assembly_part_number="LIMNET-07", designators=["U3", "U4"])
    assert body.applies_to.designators == ("U3", "U4")
    assert parse_stored_body(body.model_dump_json()) == body


@pytest.mark.parametrize(
    ("path", "value", "limit"),
    [
        ("tooling.opening_length_mm", 0.9, "at least 1"),
        ("tooling.opening_length_mm", 151, "at most 150"),
        ("tooling.opening_width_mm", 0.9, "at least 1"),
        ("tooling.opening_width_mm", 151, "at most 150"),
        ("zones.0.time_s", 0.5, "at least 1"),
        ("zones.3.time_s", 1801, "at most 1800"),
        ("zones.1.top_c", -1, "at least 0"),
        ("zones.1.top_c", 999, "at most 450"),
        ("zones.2.bottom_c", -1, "at least 0"),
        ("zones.2.bottom_c", 451, "at most 450"),
        ("zones.4.top_c", 451, "at most 450"),
        ("zones.4.airflow_l_per_min", -1, "at least 0"),
        ("zones.4.airflow_l_per_min", 201, "at most 200"),
        ("head_heights.removal", mm("-0.1"), "at least 0 mm"),
        ("head_heights.placement", mm("100.1"), "at most 100 mm"),
        ("head_heights.reflow", {"value": "4", "unit": "in"}, "at most 100 mm, not 4 in (101.6 mm"),
        ("lift_rule.above_c", 451, "at most 450"),
        ("lift_rule.for_s", -1, "at least 0"),
        ("lift_rule.for_s", 601, "at most 600"),
        ("site_dressing.tip_temperature_c", 451, "at most 450"),
        ("deposit.depth", mm("0.009"), "at least 0.01 mm"),
        ("deposit.depth", {"value": "79", "unit": "thou"}, "at most 2 mm, not 79 thou (2.0066 mm"),
        ("deposit.dwell_s", 61, "at most 60"),
        ("placement.offset_x", mm("-5.001"), "at least -5 mm"),
        ("placement.offset_y", mm("5.001"), "at most 5 mm"),
        ("placement.rotation_deg", 361, "at most 360"),
        ("placement.rotation_deg", -361, "at least -360"),
        ("placement.force_n", 51, "at most 50"),
        ("placement.force_n", -1, "at least 0"),
        ("window.solidus_c", 49, "at least 50"),
        ("window.liquidus_c", 451, "at most 450"),
        ("window.ramp_window_s", 0.4, "at least 0.5"),
        ("window.ramp_window_s", 61, "at most 60"),
        ("window.soak_min_c", -1, "at least 0"),
        ("window.soak_max_c", 451, "at most 450"),
        ("window.classification_c", 149, "at least 150"),
        ("window.classification_c", 301, "at most 300"),
        ("window.limits.0.lower", 24, "at least 25 °C, not 24"),
        ("window.limits.0.upper", 451, "at most 450 °C, not 451"),
        ("window.limits.3.upper", 61, "at most 60 K/s"),
        ("inspection.void_limit_pct", 101, "at most 100"),
        ("inspection.void_limit_pct", -1, "at least 0"),
    ],
)
def test_a_value_out_of_range_is_refused_with_its_path_and_limit(
    path: str, value: object, limit: str
) -> None:
    found = faults(put(dip(), path, value))
    assert list(found) == [path]
    assert limit in found[path]


@pytest.mark.parametrize(
    ("path", "value", "limit"),
    [
        ("deposit.foil_thickness", mm("0.019"), "at least 0.02 mm"),
        ("deposit.foil_thickness", mm("1.1"), "at most 1 mm"),
        ("deposit.apertures.0.length", mm("0.04"), "at least 0.05 mm"),
        ("deposit.apertures.0.width", mm("31"), "at most 30 mm"),
        ("deposit.apertures.0.count", 0, "at least 1"),
        ("deposit.apertures.0.count", 5001, "at most 5000"),
        ("deposit.apertures.0.width", None, "must be given for rect"),
        ("deposit.apertures", [], "at least 1 entries"),
    ],
)
def test_a_paste_deposit_is_held_to_its_ranges(path: str, value: object, limit: str) -> None:
    found = faults(put(paste(), path, value))
    assert list(found) == [path]
    assert limit in found[path]


def test_a_round_hole_has_no_width() -> None:
    found = faults(put(paste(), "deposit.apertures.0.shape", "round"))
    assert list(found) == ["deposit.apertures.0.width"]


@pytest.mark.parametrize(
    "given", [True, "90", None, [], {}, float("nan"), float("inf"), float("-inf"), 10**400]
)
def test_what_is_no_number_is_none(given: object) -> None:
    assert list(faults(put(dip(), "zones.0.time_s", given))) == ["zones.0.time_s"]


@pytest.mark.parametrize("given", [1, 0, "yes", None, []])
def test_what_is_no_yes_or_no_is_none(given: object) -> None:
    assert "must be yes or no" in faults(put(dip(), "zones.0.nitrogen", given))["zones.0.nitrogen"]


@pytest.mark.parametrize("given", [None, 7, "recipe", [], {}, {"format": 2}, {"\ud800": 1}])
def test_what_is_no_body_at_all_is_refused(given: object) -> None:
    assert faults(given)


def test_deep_json_is_refused_at_the_first_step() -> None:
    deep: object = 1
    for _ in range(500):
        deep = [deep]
    assert list(faults(put(dip(), "tooling", deep))) == ["tooling"]


def test_a_long_value_is_not_echoed_whole() -> None:
    found = faults(put(dip(), "zones.0.time_s", "9" * 100_000))
    assert len(found["zones.0.time_s"]) < 120


def test_an_unknown_field_is_refused() -> None:
    assert faults(put(dip(), "tooling.colour", "red")) == {
        "tooling.colour": "is not a field of this"
    }


def test_a_text_of_blanks_is_no_nozzle() -> None:
    assert list(faults(put(dip(), "tooling.nozzle", "   "))) == ["tooling.nozzle"]


def test_every_wrong_field_is_named_at_once() -> None:
    body = put(put(dip(), "zones.0.time_s", 0), "deposit.dwell_s", 99)
    assert list(faults(body)) == ["zones.0.time_s", "deposit.dwell_s"]


def test_the_zones_are_the_five_in_their_order() -> None:
    body = dip()
    body["zones"][0], body["zones"][1] = body["zones"][1], body["zones"][0]
    assert "in this order" in faults(body)["zones"]
    assert "in this order" in faults(put(dip(), "zones", dip()["zones"][:4]))["zones"]


def test_heaters_may_be_off_only_in_cooling() -> None:
    assert parse_body(put(dip(), "zones.4.bottom_c", None)).zones[4].bottom_c is None
    assert "only in cooling" in faults(put(dip(), "zones.0.bottom_c", None))["zones.0.bottom_c"]


def test_a_recipe_names_a_site_or_a_part() -> None:
    body = put(dip(), "applies_to.designators", [])
    assert "at least one designator" in faults(body)["applies_to"]
    assert parse_body(put(body, "applies_to.part_numbers", ["BG-285"]))


def test_revisions_are_all_or_at_least_one() -> None:
    assert list(faults(put(dip(), "applies_to.revisions", []))) == ["applies_to.revisions"]


def test_a_designator_is_named_once() -> None:
    found = faults(put(dip(), "applies_to.designators", ["U3", "u3"]))
    assert found["applies_to.designators"] == "names u3 twice"


def test_a_plan_has_a_joint_and_no_channel_twice() -> None:
    plan = [{"channel": "T3", "role": "body", "required": True}]
    assert "at least one joint" in faults(put(dip(), "thermocouples", plan))["thermocouples"]
    twice = put(dip(), "thermocouples.1.channel", "t1")
    assert faults(twice)["thermocouples"] == "names channel t1 twice"


def test_a_plan_has_at_most_sixteen_channels() -> None:
    plan = [{"channel": f"T{n}", "role": "joint_centre", "required": False} for n in range(1, 18)]
    assert "at most 16" in faults(put(dip(), "thermocouples", plan))["thermocouples"]


def test_an_adjacent_channel_names_its_part_and_no_other_does() -> None:
    adjacent = {"channel": "T5", "role": "adjacent", "required": False}
    body = dip()
    body["thermocouples"].append(adjacent)
    assert list(faults(body)) == ["thermocouples.4.designator"]
    assert parse_body(put(body, "thermocouples.4.designator", "C19"))
    assert list(faults(put(dip(), "thermocouples.0.designator", "C19"))) == [
        "thermocouples.0.designator"
    ]


def test_a_planned_channel_is_used() -> None:
    found = faults(put(dip(), "thermocouples.3.role", "unused"))
    assert list(found) == ["thermocouples.3.role"]


def test_the_lift_rule_waits_for_channels_that_exist() -> None:
    rule = {"channels": ["T9"], "above_c": 225, "for_s": 5}
    found = faults(put(dip(), "lift_rule", rule))
    assert "T9" in found["lift_rule.channels"]
    nobody = {"above_c": 225, "for_s": 5}
    assert "at least one" in faults(put(dip(), "lift_rule", nobody))["lift_rule"]


def test_a_limit_is_about_a_role_that_is_measured() -> None:
    found = faults(put(dip(), "window.limits.1.roles", ["air"]))
    assert "no thermocouple measures" in found["window.limits.1.roles"]


def test_a_limit_lies_below_its_upper_one() -> None:
    found = faults(put(dip(), "window.limits.0.lower", 245))
    assert found == {"window.limits.0.lower": "must be less than upper, 245"}


def test_a_limit_limits_something() -> None:
    limit = {"metric": "peak_c", "roles": ["body"]}
    assert list(faults(put(dip(), "window.limits.1", limit))) == ["window.limits.1.upper"]


def test_one_metric_of_one_role_is_limited_once() -> None:
    limit = {"metric": "peak_c", "roles": ["joint_corner"], "upper": 240}
    assert "limited twice" in faults(put(dip(), "window.limits.1", limit))["window.limits.1"]


def test_spread_is_of_the_site_and_needs_two_joints() -> None:
    assert list(faults(put(dip(), "window.limits.8.roles", ["body"]))) == ["window.limits.8.roles"]
    body = put(dip(), "thermocouples.1.role", "board")
    for limit in body["window"]["limits"]:
        limit["roles"] = [role for role in limit["roles"] if role != "joint_corner"]
    body["lift_rule"]["roles"] = ["joint_centre"]
    assert "two joint" in faults(body)["window.limits.8.metric"]


def test_other_metrics_need_a_role() -> None:
    assert list(faults(put(dip(), "window.limits.1.roles", []))) == ["window.limits.1.roles"]


def test_solidus_soak_and_classification_are_checked_together() -> None:
    assert list(faults(put(dip(), "window.solidus_c", 221))) == ["window.solidus_c"]
    assert list(faults(put(dip(), "window.soak_min_c", 200))) == ["window.soak_min_c"]
    assert list(faults(put(dip(), "window.classification_c", None))) == ["window.classification_c"]


def test_a_part_is_set_down_by_force_or_to_a_height() -> None:
    height = put(dip(), "placement.height", {"value": "2", "unit": "thou"})
    assert list(faults(height)) == ["placement.force_n"]
    assert parse_body(put(height, "placement.force_n", None)).placement.height is not None
    assert list(faults(put(dip(), "placement.force_n", None))) == ["placement.force_n"]


def test_a_void_limit_needs_a_picture() -> None:
    found = faults(put(dip(), "inspection.xray", value=False))
    assert list(found) == ["inspection.void_limit_pct"]


def test_a_deposit_of_an_unknown_kind_is_told_the_three() -> None:
    found = faults(put(dip(), "deposit", {"kind": "glue"}))
    assert found == {"deposit.kind": "must be flux_dip, paste or none"}
    assert parse_body(put(dip(), "deposit", {"kind": "none"})).deposit.kind == "none"


def test_cautions_say_something() -> None:
    assert list(faults(put(dip(), "cautions", ["  "]))) == ["cautions.0"]
    assert "at most 20" in faults(put(dip(), "cautions", ["Hot"] * 21))["cautions"]


def test_every_metric_has_its_facts() -> None:
    assert set(METRICS) == set(Metric)


def test_every_metric_can_be_limited_by_the_roles_it_is_of() -> None:
    limits = [
        {
            "metric": str(metric),
            "roles": [] if facts.is_of_site else ["joint_centre"],
            "upper": facts.most,
        }
        for metric, facts in METRICS.items()
    ]
    body = parse_body(put(dip(), "window.limits", limits))
    assert [limit.metric for limit in body.window.limits] == list(Metric)
    found = faults(
        put(
            dip(),
            "window.limits",
            [{"metric": "spread_at_coldest_peak_k", "roles": ["joint_centre"], "upper": 7}],
        )
    )
    assert "must be empty" in found["window.limits.0.roles"]


def test_the_schema_states_the_ranges() -> None:
    schema = json.dumps(RecipeBody.model_json_schema())
    assert '"maximum": 1800' in schema
    assert '"minItems": 5' in schema
    assert '"discriminator"' in schema
