"""A dozen recipes, one for each kind of site, with the small changes that made their revisions."""

import copy
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias, cast

from seed_demo.plant import get_part
from seed_demo.recipe_texts import DEPOSITS, FIXED_PARTS, JOINT_ROLES, WINDOW_LIMITS, Json

Body: TypeAlias = "dict[str, Json]"


@dataclass(frozen=True)
class Change:
    """One value that a revision changed, and why; `path` is dotted, list places are numbers."""

    path: str
    before: Json
    after: Json
    reason: str


@dataclass(frozen=True)
class RecipeRevision:
    """One revision: its whole body, and why it was made."""

    number: int
    body: Body
    reason: str


@dataclass(frozen=True)
class Recipe:
    """One recipe with all its revisions; the last is a draft where `ends_in_draft`."""

    code: str
    title: str
    assembly_part_number: str
    designators: tuple[str, ...]
    part_number: str
    revisions: tuple[RecipeRevision, ...]
    ends_in_draft: bool


@dataclass(frozen=True)
class _Site:
    code: str
    assembly: str
    designators: tuple[str, ...]
    part_number: str
    neighbour: str
    top_c: tuple[int, int, int, int]
    changes: tuple[str, ...]
    ends_in_draft: bool = False


# The gas temperatures were worked out on the thermal model for a joint peak of 237.5 °C.
_SITES: Final = (
    _Site("BRL-U1", "BRELNA-120", ("U1",), "OSTWEN-B324", "Y1", (185, 220, 262, 277),
          ("peak", "lift", "voids"), ends_in_draft=False),
    _Site("BRL-U2", "BRELNA-120", ("U2",), "VRYLO-B100", "U1", (185, 227, 270, 290),
          ("peak", "tip")),
    _Site("BRL-U3", "BRELNA-120", ("U3",), "PLIQUA-C49", "Y2", (196, 246, 291, 320),
          ("height", "dwell", "cooling"), ends_in_draft=True),
    _Site("BRL-U4", "BRELNA-120", ("U4",), "DRUMVEL-Q48", "L1", (188, 232, 274, 297),
          ("foil", "peak")),
    _Site("TOV-U1", "TOVQUIN-075", ("U1",), "VRYLO-B196", "Y1", (183, 221, 263, 279),
          ("lift", "peak")),
    _Site("TOV-U2", "TOVQUIN-075", ("U2",), "NARVLET-C81", "Y1", (192, 240, 284, 311),
          ("dwell", "peak", "voids")),
    _Site("TOV-U3", "TOVQUIN-075", ("U3",), "SKVELDA-Q32", "J1", (190, 236, 281, 305),
          ("foil", "support")),
    _Site("TOV-U4", "TOVQUIN-075", ("U4",), "HOMQUE-L28", "U6", (191, 238, 282, 306),
          ("peak", "tip", "cooling"), ends_in_draft=True),
    _Site("OSS-U1", "OSSAREL-310", ("U1",), "MEZZUL-B484", "Y1", (201, 216, 271, 267),
          ("support", "peak", "lift", "voids")),
    _Site("OSS-U2", "OSSAREL-310", ("U2", "U8"), "VRYLO-B196", "U6", (196, 222, 273, 280),
          ("peak", "height")),
    _Site("OSS-U5", "OSSAREL-310", ("U5",), "TRAUVIK-L60", "L1", (200, 227, 280, 290),
          ("voids", "peak")),
    _Site("OSS-U7", "OSSAREL-310", ("U7",), "DRUMVEL-Q48", "L2", (200, 229, 281, 293),
          ("foil", "tip", "peak")),
)  # fmt: skip

_ZONE_NAMES: Final = ("preheat", "soak", "ramp", "reflow", "cooling")
_TIMES_S: Final = (100, 85, 38, 50, 90)
_HEAVY_TIMES_S: Final = (110, 95, 35, 56, 90)
_BOTTOM_C: Final = (195, 200, 210, 215, None)
_HEAVY_BOTTOM_C: Final = (215, 220, 225, 225, None)
_AIRFLOW_L_PER_MIN: Final = (15, 20, 25, 25, 30)
_HEAVY_ASSEMBLY: Final = "OSSAREL-310"
_FIRST_TOP_K: Final = 3
_NOZZLE_MARGIN_MM: Final = 2.0


def list_recipes() -> tuple[Recipe, ...]:
    """List the recipes in the order of the benches' binder; the same every time."""
    return tuple(_build_recipe(site) for site in _SITES)


def get_value(body: Body, path: str) -> Json:
    """Return the value at a dotted path; KeyError, IndexError or TypeError if there is none."""
    here: Json = body
    for word in path.split("."):
        here = here[int(word)] if isinstance(here, list) else cast("Mapping[str, Json]", here)[word]
    return here


def list_changes(recipe_code: str) -> tuple[Change, ...]:
    """List what revisions 2, 3 … of a recipe changed; StopIteration for an unknown code."""
    site = next(site for site in _SITES if site.code == recipe_code)
    return tuple(_build_change(name, site) for name in site.changes)


def _build_recipe(site: _Site) -> Recipe:
    changes = list_changes(site.code)
    body = _build_body(site)
    for change in changes:
        body = _put(body, change.path, change.before)
    revisions = [RecipeRevision(1, body, "First issue, worked out on a sacrificial board.")]
    for change in changes:
        body = _put(body, change.path, change.after)
        revisions.append(RecipeRevision(len(revisions) + 1, body, change.reason))
    part = get_part(site.part_number)
    return Recipe(
        code=site.code,
        title=f"{part.description}: remove and place {' or '.join(site.designators)}",
        assembly_part_number=site.assembly,
        designators=site.designators,
        part_number=site.part_number,
        revisions=tuple(revisions),
        ends_in_draft=site.ends_in_draft,
    )


def _build_change(name: str, site: _Site) -> Change:
    if name == "peak":
        return Change(
            "zones.3.top_c",
            site.top_c[3] - _FIRST_TOP_K,
            site.top_c[3],
            "Joints of the first articles peaked at 234 °C to 235 °C: reflow top raised by 3 K.",
        )
    return _CHANGES[name]


_CHANGES: Final = {
    "lift": Change(
        "lift_rule.for_s",
        5,
        8,
        "At one removal a corner joint still held: wait 8 s before lifting.",
    ),
    "voids": Change(
        "inspection.void_limit_pct", 30, 25, "Void limit brought down to the one for new boards."
    ),
    "tip": Change(
        "site_dressing.tip_temperature_c", 350, 330, "A pad came off while dressing: tip cooler."
    ),
    "height": Change(
        "head_heights.removal",
        {"value": "0.060", "unit": "in"},
        {"value": "0.040", "unit": "in"},
        "Gas leaked sideways at the removal height and warmed the neighbour.",
    ),
    "dwell": Change("deposit.dwell_s", 1, 2, "Two balls of one part came out of the film dry."),
    "foil": Change(
        "deposit.foil_thickness",
        {"value": "0.006", "unit": "in"},
        {"value": "0.005", "unit": "in"},
        "Too much paste under the pad: thinner foil.",
    ),
    "support": Change(
        "tooling.board_support",
        "Two rails.",
        "Two rails and a post under the site.",
        "The board sagged by 0.3 mm at reflow: one more support.",
    ),
    "cooling": Change(
        "zones.4.airflow_l_per_min", 30, 27, "Cooling comes close to 6 K/s: less air."
    ),
}


def _build_body(site: _Site) -> Body:
    part = get_part(site.part_number)
    body: Body = {
        **copy.deepcopy(FIXED_PARTS),
        "applies_to": {
            "assembly_part_number": site.assembly,
            "designators": list(site.designators),
            "part_numbers": [site.part_number],
            "package_family": part.package,
        },
        "tooling": {
            "nozzle": f"N-{part.length_mm + _NOZZLE_MARGIN_MM:g}x"
            f"{part.width_mm + _NOZZLE_MARGIN_MM:g}",
            "opening_length_mm": part.length_mm + _NOZZLE_MARGIN_MM,
            "opening_width_mm": part.width_mm + _NOZZLE_MARGIN_MM,
            "vacuum_cup": "CUP-8" if part.length_mm >= 8 else "CUP-3",
            "board_support": "Two rails and a post under the site.",
        },
        "thermocouples": [
            {"channel": "T1", "role": "joint_centre", "name": "Centre joint", "required": True},
            {"channel": "T2", "role": "joint_corner", "name": "Corner joint", "required": True},
            {"channel": "T3", "role": "body", "name": "Package top", "required": True},
            {"channel": "T4", "role": "board", "name": "Board, 10 mm away", "required": False},
            {"channel": "T5", "role": "adjacent", "name": f"Top of {site.neighbour}",
             "designator": site.neighbour, "required": False},
        ],
        "zones": _build_zones(site),
        "deposit": copy.deepcopy(DEPOSITS[part.part_number]),
        "window": {
            "alloy": "Sn96.5Ag3.0Cu0.5 (SAC305)",
            "solidus_c": 217,
            "liquidus_c": 220,
            "ramp_window_s": 5,
            "soak_min_c": 150,
            "soak_max_c": 200,
            "classification_c": part.classification_c,
            "limits": [
                *copy.deepcopy(WINDOW_LIMITS),
                {"metric": "peak_c", "roles": ["body"], "upper": min(part.max_body_c, 250)},
            ],
        },
        "lift_rule": {"roles": list(JOINT_ROLES), "above_c": 222, "for_s": 8},
    }  # fmt: skip
    return body


def _build_zones(site: _Site) -> list[Json]:
    is_heavy = site.assembly == _HEAVY_ASSEMBLY
    return [
        {
            "name": name,
            "time_s": time_s,
            "top_c": top_c,
            "bottom_c": bottom_c,
            "airflow_l_per_min": airflow,
            "nitrogen": is_heavy and name in {"ramp", "reflow"},
        }
        for name, time_s, top_c, bottom_c, airflow in zip(
            _ZONE_NAMES,
            _HEAVY_TIMES_S if is_heavy else _TIMES_S,
            (*site.top_c, None),
            _HEAVY_BOTTOM_C if is_heavy else _BOTTOM_C,
            _AIRFLOW_L_PER_MIN,
            strict=True,
        )
    ]


def _put(body: Body, path: str, value: Json) -> Body:
    changed = copy.deepcopy(body)
    *way, last = path.split(".")
    holder = get_value(changed, ".".join(way)) if way else changed
    if not isinstance(holder, dict) or last not in holder:
        raise KeyError(path)
    holder[last] = copy.deepcopy(value)
    return changed
