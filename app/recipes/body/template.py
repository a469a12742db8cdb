"""The body that a new recipe starts from."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from app.core.canonical_json import JsonValue
from app.recipes.body.recipe import RecipeBody

# What nobody but the engineer can know; a revision that still says it cannot be proposed.
TO_BE_CHOSEN: Final = "to be chosen"


def default_body(*, assembly_part_number: str, designators: Sequence[str]) -> RecipeBody:
    """Return a lead-free starting body for an assembly's sites, to be corrected before use.

    Zones are common practice without a source. Limits: joint peak 230 °C to 245 °C and 60 s to
    90 s above liquidus are common practice, from memory; 3 K/s up, 6 K/s down, 60 s to 120 s of
    soak from 150 °C to 200 °C, 480 s from 25 °C and 30 s within 5 °C of Tc are J-STD-020 Table
    5-2 (rev D, E) as seen in public restatements; 7 K between joints is one maker's limit across
    one component (TN1076). Raises pydantic's ValidationError for an impossible part number or
    designator.
    """
    return RecipeBody.model_validate(
        {
            **_LEAD_FREE,
            "applies_to": {
                "assembly_part_number": assembly_part_number,
                "designators": list(designators),
            },
        }
    )


_JOINTS = ["joint_centre", "joint_corner"]

_LEAD_FREE: Mapping[str, JsonValue] = {
    "format": 1,
    "tooling": {
        "nozzle": TO_BE_CHOSEN,
        "opening_length_mm": 20,
        "opening_width_mm": 20,
        "vacuum_cup": TO_BE_CHOSEN,
    },
    "thermocouples": [
        {"channel": "T1", "role": "joint_centre", "name": "Centre joint", "required": True},
        {"channel": "T2", "role": "joint_corner", "name": "Corner joint", "required": True},
        {"channel": "T3", "role": "body", "name": "Package top", "required": True},
        {"channel": "T4", "role": "board", "name": "Board beside the site", "required": False},
    ],
    "zones": [
        {
            "name": "preheat",
            "time_s": 90,
            "top_c": 160,
            "bottom_c": 180,
            "airflow_l_per_min": 20,
            "nitrogen": False,
        },
        {
            "name": "soak",
            "time_s": 90,
            "top_c": 200,
            "bottom_c": 200,
            "airflow_l_per_min": 20,
            "nitrogen": False,
        },
        {
            "name": "ramp",
            "time_s": 40,
            "top_c": 250,
            "bottom_c": 220,
            "airflow_l_per_min": 25,
            "nitrogen": False,
        },
        {
            "name": "reflow",
            "time_s": 60,
            "top_c": 290,
            "bottom_c": 230,
            "airflow_l_per_min": 25,
            "nitrogen": False,
        },
        {
            "name": "cooling",
            "time_s": 90,
            "top_c": None,
            "bottom_c": None,
            "airflow_l_per_min": 30,
            "nitrogen": False,
        },
    ],
    "head_heights": {
        "removal": {"value": "0.040", "unit": "in"},
        "placement": {"value": "0.020", "unit": "in"},
        "reflow": {"value": "0.040", "unit": "in"},
    },
    "lift_rule": {"roles": _JOINTS, "above_c": 225, "for_s": 10},
    "site_dressing": {
        "tip": "blade tip",
        "tip_temperature_c": 330,
        "wick": "no-clean wick",
        "solvent": "isopropanol",
    },
    "deposit": {
        "kind": "flux_dip",
        "flux": TO_BE_CHOSEN,
        "depth": {"value": "0.15", "unit": "mm"},
        "dwell_s": 2,
    },
    "placement": {
        "offset_x": {"value": "0", "unit": "mm"},
        "offset_y": {"value": "0", "unit": "mm"},
        "rotation_deg": 0,
        "force_n": 1.5,
    },
    "window": {
        "alloy": "Sn96.5Ag3.0Cu0.5 (SAC305)",
        "solidus_c": 217,
        "liquidus_c": 220,
        "ramp_window_s": 5,
        "soak_min_c": 150,
        "soak_max_c": 200,
        "classification_c": 250,
        "limits": [
            {"metric": "peak_c", "roles": _JOINTS, "lower": 230, "upper": 245},
            {"metric": "peak_c", "roles": ["body"], "upper": 250},
            {"metric": "time_above_liquidus_s", "roles": _JOINTS, "lower": 60, "upper": 90},
            {"metric": "max_ramp_up_k_per_s", "roles": [*_JOINTS, "body"], "upper": 3},
            {"metric": "max_ramp_down_k_per_s", "roles": [*_JOINTS, "body"], "upper": 6},
            {"metric": "soak_time_s", "roles": _JOINTS, "lower": 60, "upper": 120},
            {"metric": "time_25_to_peak_s", "roles": ["body"], "upper": 480},
            {"metric": "time_within_5_of_classification_s", "roles": ["body"], "upper": 30},
            {"metric": "spread_k", "upper": 7},
        ],
    },
    "cleaning": {"method": "none", "remarks": "No-clean flux: wipe only what is visible."},
    "inspection": {"visual": True, "xray": True, "void_limit_pct": 25, "electrical": True},
    "cautions": [],
}


def choose(
    body: RecipeBody, *, nozzle: str, vacuum_cup: str, flux: str | None = None
) -> RecipeBody:
    """Return a template's body with the tools, and the flux of a dip, that it leaves open."""
    told = body.model_dump(mode="json")
    told["tooling"] |= {"nozzle": nozzle, "vacuum_cup": vacuum_cup}
    if flux is not None:
        told["deposit"] |= {"flux": flux}
    return RecipeBody.model_validate(told)


def list_unchosen(body: RecipeBody) -> tuple[str, ...]:
    """Return the paths of the values that still stand as the template left them open."""
    return tuple(_walk(body.model_dump(mode="json"), ""))


def _walk(value: JsonValue, path: str) -> Iterator[str]:
    if value == TO_BE_CHOSEN:
        yield path
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _walk(inner, f"{path}.{name}" if path else name)
    elif isinstance(value, Sequence) and not isinstance(value, str):
        for place, inner in enumerate(value):
            yield from _walk(inner, f"{path}.{place}")
