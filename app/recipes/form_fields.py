"""Which fields the form of a draft has: one line each, in the order of the work."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from app.recipes.body.alloys import ALLOYS
from app.recipes.body.heating import ZONE_ORDER
from app.recipes.body.window import METRICS
from app.traces.rules import MAX_CHANNELS, ChannelRole

Choices = tuple[tuple[str, str], ...]


class Kind(StrEnum):
    """How a field is shown and read."""

    LINE = "line"
    NUMBER = "number"
    LENGTH = "length"
    NOTE = "note"
    WORDS = "words"
    CHOICE = "choice"
    FLAG = "flag"
    ROLES = "roles"
    HIDDEN = "hidden"


@dataclass(frozen=True)
class FieldSpec:
    """One field: its path in the body (within its row, for rows), and its words."""

    path: str
    label: str
    kind: Kind = Kind.LINE
    unit: str = ""
    hint: str = ""
    most: int = 200
    choices: Choices = ()
    suggestions: str = ""


@dataclass(frozen=True)
class RowsSpec:
    """A table of rows under one path; `spare` empty ones are shown for what is to come."""

    path: str
    word: str
    fields: tuple[FieldSpec, ...]
    most: int
    spare: int
    has_computed: bool = False


@dataclass(frozen=True)
class GroupSpec:
    """One part of the body as a group of the form; `deposit_kind` is what it is only for."""

    path: str
    title: str
    fields: tuple[FieldSpec, ...] = ()
    rows: RowsSpec | None = None
    hint: str = ""
    deposit_kind: str = ""


_PLANNED_ROLES: Final[Choices] = tuple(
    (role.value, role.words) for role in ChannelRole if role is not ChannelRole.UNUSED
)
_REQUIRED: Final[Choices] = (("yes", "required"), ("no", "optional"))
_METRICS: Final[Choices] = tuple(
    (metric.value, f"{facts.label}, {facts.unit}") for metric, facts in METRICS.items()
)
_LENGTH: Final = "0.5 mm, 0.020 in or 20 thou"
_QUOTED: Final = 'With commas between; put "…" round one that holds a blank or a comma'

DEPOSIT_KINDS: Final[Choices] = (
    ("flux_dip", "Flux, dipped"),
    ("paste", "Paste through a foil"),
    ("none", "Nothing is put down"),
)
ALLOY_NAMES: Final = tuple(alloy.name for alloy in ALLOYS)


def _number(path: str, label: str, unit: str, hint: str = "") -> FieldSpec:
    return FieldSpec(path, label, Kind.NUMBER, unit=unit, hint=hint, most=20)


def _length(path: str, label: str, hint: str = "") -> FieldSpec:
    return FieldSpec(path, label, Kind.LENGTH, hint=hint, most=24)


def _code(path: str, label: str, hint: str = "") -> FieldSpec:
    return FieldSpec(path, label, hint=hint, most=64)


def _words(path: str, label: str, hint: str = _QUOTED) -> FieldSpec:
    return FieldSpec(path, label, Kind.WORDS, hint=hint, most=16_000)


def _note(path: str, label: str, hint: str = "") -> FieldSpec:
    return FieldSpec(path, label, Kind.NOTE, hint=hint, most=4000)


GROUPS: Final = (
    GroupSpec(
        "applies_to",
        "Applies to",
        (
            _code("applies_to.assembly_part_number", "Assembly, part number"),
            _words("applies_to.revisions", "Assembly revisions", "Empty means every revision"),
            _words("applies_to.designators", "Designators", "U3, U4"),
            _words("applies_to.part_numbers", "Part numbers of the part"),
            FieldSpec("applies_to.package_family", "Package family"),
        ),
        hint="A site must match every list that is filled in.",
    ),
    GroupSpec(
        "tooling",
        "Tooling",
        (
            _code("tooling.nozzle", "Nozzle"),
            _number("tooling.opening_length_mm", "Opening, length", "mm", "1 to 150"),
            _number("tooling.opening_width_mm", "Opening, width", "mm", "1 to 150"),
            _code("tooling.vacuum_cup", "Vacuum cup"),
            _note("tooling.board_support", "Board support"),
        ),
    ),
    GroupSpec(
        "thermocouples",
        "Thermocouples",
        rows=RowsSpec(
            "thermocouples",
            "thermocouple",
            (
                FieldSpec("channel", "Channel", most=60),
                FieldSpec("role", "Where it sits", Kind.CHOICE, choices=_PLANNED_ROLES),
                FieldSpec("name", "Glued to"),
                FieldSpec("designator", "Adjacent part", most=64),
                FieldSpec("required", "Verdict needs it", Kind.CHOICE, choices=_REQUIRED),
            ),
            most=MAX_CHANNELS,
            spare=2,
        ),
        hint="The channel is the name that the logger gives it. Empty rows are left out.",
    ),
    GroupSpec(
        "zones",
        "Zones",
        rows=RowsSpec(
            "zones",
            "zone",
            (
                FieldSpec("name", "Zone", Kind.HIDDEN),
                _number("time_s", "Time", "s"),
                _number("top_c", "Top", "°C"),
                _number("bottom_c", "Bottom", "°C"),
                _number("airflow_l_per_min", "Airflow", "l/min"),
                FieldSpec("nitrogen", "Nitrogen", Kind.FLAG),
            ),
            most=len(ZONE_ORDER),
            spare=0,
        ),
        hint="1 to 1800 s, 0 to 450 °C, 0 to 200 l/min. In cooling an empty heater is off.",
    ),
    GroupSpec(
        "head_heights",
        "Head heights",
        (
            _length("head_heights.removal", "Removal", _LENGTH),
            _length("head_heights.placement", "Placement", _LENGTH),
            _length("head_heights.reflow", "Reflow", _LENGTH),
        ),
        hint="Nozzle above the board, 0 to 100 mm. What you type is kept as you typed it.",
    ),
    GroupSpec(
        "lift_rule",
        "Lift rule",
        (
            FieldSpec("lift_rule.roles", "All channels of", Kind.ROLES, choices=_PLANNED_ROLES),
            _words("lift_rule.channels", "And these channels", "T1, T2"),
            _number("lift_rule.above_c", "Have been above", "°C", "0 to 450"),
            _number("lift_rule.for_s", "For", "s", "0 to 600, at a stretch"),
        ),
        hint="At removal the part may be lifted when this is met.",
    ),
    GroupSpec(
        "site_dressing",
        "Site dressing",
        (
            FieldSpec("site_dressing.tip", "Tip"),
            _number("site_dressing.tip_temperature_c", "Tip temperature", "°C", "0 to 450"),
            FieldSpec("site_dressing.wick", "Wick"),
            FieldSpec("site_dressing.solvent", "Solvent"),
            _note("site_dressing.remarks", "Remarks on dressing"),
        ),
    ),
    GroupSpec(
        "deposit",
        "Deposit",
        (FieldSpec("deposit.kind", "What is put down", Kind.CHOICE, choices=DEPOSIT_KINDS),),
    ),
    GroupSpec(
        "deposit",
        "Flux, dipped",
        (
            FieldSpec("deposit.flux", "Flux"),
            _length("deposit.depth", "Film depth", "0.01 to 2 mm, such as 0.15 mm or 6 thou"),
            _number("deposit.dwell_s", "Dwell", "s", "0 to 60"),
        ),
        deposit_kind="flux_dip",
    ),
    GroupSpec(
        "deposit",
        "Paste through a foil",
        (
            FieldSpec("deposit.alloy", "Alloy of the paste", suggestions="alloys"),
            _length("deposit.foil_thickness", "Foil thickness", "0.02 to 1 mm, or 5 thou"),
        ),
        rows=RowsSpec(
            "deposit.apertures",
            "aperture",
            (
                FieldSpec(
                    "shape",
                    "Shape",
                    Kind.CHOICE,
                    choices=(("rect", "rectangle"), ("square", "square"), ("round", "round")),
                ),
                _length("length", "Length, side or diameter"),
                _length("width", "Width"),
                _number("count", "How many", ""),
                FieldSpec("name", "Name"),
            ),
            most=50,
            spare=2,
            has_computed=True,
        ),
        hint="Width is for rectangles alone. Sizes 0.05 to 30 mm. Empty rows are left out.",
        deposit_kind="paste",
    ),
    GroupSpec(
        "placement",
        "Placement",
        (
            _length("placement.offset_x", "Offset x", "-5 to 5 mm"),
            _length("placement.offset_y", "Offset y", "-5 to 5 mm"),
            _number("placement.rotation_deg", "Rotation", "°", "-360 to 360"),
            _number("placement.force_n", "Force", "N", "0 to 50; or a height instead"),
            _length("placement.height", "Height", "-1 to 10 mm; or a force instead"),
            _length("placement.height_tolerance", "Height, ±", "0 to 1 mm, or empty"),
        ),
        hint="The part is set down by force or to a height: one of the two.",
    ),
    GroupSpec(
        "window",
        "Window",
        (
            FieldSpec("window.alloy", "Alloy of the joints", suggestions="alloys"),
            _number("window.solidus_c", "Solidus", "°C", "50 to 450"),
            _number("window.liquidus_c", "Liquidus", "°C", "50 to 450"),
            _number("window.ramp_window_s", "Slopes taken over", "s", "0.5 to 60"),
            _number("window.soak_min_c", "Soak from", "°C"),
            _number("window.soak_max_c", "Soak to", "°C"),
            _number("window.classification_c", "Classification", "°C", "150 to 300, or empty"),
        ),
        rows=RowsSpec(
            "window.limits",
            "limit",
            (
                FieldSpec("metric", "What is limited", Kind.CHOICE, choices=_METRICS),
                FieldSpec("roles", "On channels of", Kind.ROLES, choices=_PLANNED_ROLES),
                _number("lower", "At least", ""),
                _number("upper", "At most", ""),
            ),
            most=40,
            spare=2,
        ),
        hint="A trace is held against these limits. Spread is of the whole site: no channels.",
    ),
    GroupSpec(
        "cleaning",
        "Cleaning",
        (
            FieldSpec("cleaning.method", "Method", hint="none, where nothing is cleaned"),
            FieldSpec("cleaning.agent", "Agent"),
            _note("cleaning.remarks", "Remarks on cleaning"),
        ),
    ),
    GroupSpec(
        "inspection",
        "Inspection asked for",
        (
            FieldSpec("inspection.visual", "Visual", Kind.FLAG),
            FieldSpec("inspection.xray", "X-ray", Kind.FLAG),
            FieldSpec("inspection.electrical", "Electrical", Kind.FLAG),
            _number(
                "inspection.void_limit_pct",
                "Void limit",
                "% of a joint's area",
                "0 to 100; only with X-ray",
            ),
            _note("inspection.remarks", "Remarks on inspection"),
        ),
    ),
    GroupSpec(
        "cautions",
        "Cautions",
        rows=RowsSpec(
            "cautions", "caution", (_note("", "Shown before the work begins"),), most=20, spare=1
        ),
    ),
)

ROW_PATHS: Final = tuple(group.rows.path for group in GROUPS if group.rows is not None)
WORD_PATHS: Final = tuple(
    spec.path for group in GROUPS for spec in group.fields if spec.kind is Kind.WORDS
)
FIELDS_OF_DEPOSIT: Final = {
    group.deposit_kind: frozenset(
        {spec.path.split(".")[1] for spec in group.fields}
        | ({group.rows.path.split(".")[1]} if group.rows is not None else set())
    )
    for group in GROUPS
    if group.deposit_kind
}
