"""The parts of the recipes' bodies that all sites, or all of one part number, have in common."""

from collections.abc import Mapping, Sequence
from typing import Final, TypeAlias

Json: TypeAlias = "bool | int | float | str | Sequence[Json] | Mapping[str, Json] | None"

JOINT_ROLES: Final = ("joint_centre", "joint_corner")

# Limits of the window: common practice, no source; the body's peak is added for each part.
WINDOW_LIMITS: Final[list[Json]] = [
    {"metric": "peak_c", "roles": list(JOINT_ROLES), "lower": 230, "upper": 245},
    {"metric": "peak_c", "roles": ["adjacent"], "upper": 200},
    {"metric": "time_above_liquidus_s", "roles": list(JOINT_ROLES), "lower": 35, "upper": 90},
    {"metric": "max_ramp_up_k_per_s", "roles": [*JOINT_ROLES, "body"], "upper": 3},
    {"metric": "max_ramp_down_k_per_s", "roles": [*JOINT_ROLES, "body"], "upper": 6},
    {"metric": "soak_time_s", "roles": list(JOINT_ROLES), "lower": 60, "upper": 120},
    {"metric": "time_25_to_peak_s", "roles": ["body"], "upper": 480},
    {"metric": "spread_k", "upper": 7},
]

FIXED_PARTS: Final[dict[str, Json]] = {
    "format": 1,
    "head_heights": {
        "removal": {"value": "0.040", "unit": "in"},
        "placement": {"value": "0.020", "unit": "in"},
        "reflow": {"value": "0.040", "unit": "in"},
    },
    "site_dressing": {
        "tip": "blade, 6 mm",
        "tip_temperature_c": 330,
        "wick": "TARNBRAID",
        "solvent": "MIRECLAR",
        "remarks": "Lay the wick down, never drag it.",
    },
    "placement": {
        "offset_x": {"value": "0", "unit": "mm"},
        "offset_y": {"value": "0", "unit": "mm"},
        "rotation_deg": 0,
        "force_n": 1.5,
    },
    "cleaning": {
        "method": "brush and wipe",
        "agent": "MIRECLAR",
        "remarks": "Look under the package edge with the mirror.",
    },
    "inspection": {
        "visual": True,
        "xray": True,
        "void_limit_pct": 25,
        "electrical": True,
        "remarks": "X-ray at two angles.",
    },
    "cautions": [
        "Peel off the conformal coating within 15 mm of the site before heating.",
        "Turbidity optics on the board: cover them before fluxing.",
    ],
}

_DIP: Final[dict[str, Json]] = {"kind": "flux_dip", "flux": "HALVQUILL-T", "dwell_s": 2}
_FINE_DIP: Final[Json] = {**_DIP, "depth": {"value": "0.004", "unit": "in"}}
_BALL_DIP: Final[Json] = {**_DIP, "depth": {"value": "0.010", "unit": "in"}}


def _paste(apertures: list[Json]) -> Json:
    return {
        "kind": "paste",
        "alloy": "Sn96.5Ag3.0Cu0.5 (SAC305)",
        "foil_thickness": {"value": "0.005", "unit": "in"},
        "apertures": apertures,
    }


def _slots(name: str, length_mm: str, width_mm: str, count: int) -> Json:
    return {
        "name": name,
        "shape": "rect",
        "length": {"value": length_mm, "unit": "mm"},
        "width": {"value": width_mm, "unit": "mm"},
        "count": count,
    }


def _squares(name: str, side_mm: str, count: int) -> Json:
    return {
        "name": name,
        "shape": "square",
        "length": {"value": side_mm, "unit": "mm"},
        "count": count,
    }


DEPOSITS: Final[Mapping[str, Json]] = {
    "OSTWEN-B324": _BALL_DIP,
    "VRYLO-B100": _BALL_DIP,
    "VRYLO-B196": _BALL_DIP,
    "MEZZUL-B484": _BALL_DIP,
    "PLIQUA-C49": _FINE_DIP,
    "NARVLET-C81": _FINE_DIP,
    "DRUMVEL-Q48": _paste([_slots("lands", "0.80", "0.25", 48), _squares("pad", "1.30", 9)]),
    "SKVELDA-Q32": _paste([_slots("lands", "0.80", "0.25", 32), _squares("pad", "1.20", 4)]),
    "HOMQUE-L28": _paste([_squares("lands", "0.38", 28)]),
    "TRAUVIK-L60": _paste([_squares("lands", "0.45", 56), _squares("pads", "1.50", 4)]),
}
