"""What a recipe says for each line of the work card, and the cautions that go with it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from app.jobs.rules import StepKind
from app.jobs.schemas import ValueUsed
from app.recipes.body.describe import (
    NOT_GIVEN,
    OFF,
    Row,
    describe_body,
    spell_number,
    spell_roles,
)
from app.recipes.body.recipe import RecipeBody

# Which parts of the body an operator needs at a line, by the paths of their values.
_PATHS: Final[Mapping[StepKind, tuple[str, ...]]] = {
    StepKind.REMOVE: ("tooling.", "head_heights.removal"),
    StepKind.DRESS: ("site_dressing.",),
    StepKind.DEPOSIT: ("deposit.",),
    StepKind.PLACE: ("tooling.vacuum_cup", "head_heights.placement", "placement."),
    StepKind.REFLOW: ("tooling.nozzle", "head_heights.reflow", "window.alloy", "window.liquidus_c"),
    StepKind.CLEAN: ("cleaning.",),
    StepKind.INSPECT: ("inspection.",),
}
_LIMITED: Final = frozenset({StepKind.REMOVE, StepKind.REFLOW})
# Rows that say what to do or to reach, and are no setting that could have been another.
_NO_SETTINGS: Final = (
    "lift_rule",
    "window.",
    "inspection.",
    "deposit.kind",
    "deposit.apertures",
)
_OWN_RULES: Final = "The plant's own rules, the makers' sheets and local law come first."

_USUAL: Final[Mapping[StepKind, tuple[str, ...]]] = {
    StepKind.REMOVE: (
        "Hot nozzle, board and part: no bare hands until they are cold.",
        "Run the fume extraction while there is heat.",
        "ESD protection for board and part.",
    ),
    StepKind.DRESS: (
        "Hot tip and site. Run the fume extraction.",
        "Solvent vapour burns: none near a hot tip or nozzle; let the site cool first.",
    ),
    StepKind.DEPOSIT: ("Flux and paste: gloves, and the maker's safety sheet at hand.",),
    StepKind.PLACE: ("ESD protection for board and part.",),
    StepKind.REFLOW: (
        "Hot nozzle, board and part: no bare hands until they are cold.",
        "Run the fume extraction while there is heat.",
    ),
    StepKind.CLEAN: (
        "Cleaning agents burn: the board is cold, and no hot tool is near.",
        "Gloves and eye protection as the agent's safety sheet says.",
    ),
    StepKind.INSPECT: (),
}
_LEAD: Final = "Lead-bearing solder: wash your hands before you eat or drink, collect the waste."
_HANDLES_SOLDER: Final = frozenset({StepKind.REMOVE, StepKind.DRESS, StepKind.DEPOSIT})


_LABELS: Final = {
    "head_heights.removal": "Head height",
    "head_heights.placement": "Head height",
    "head_heights.reflow": "Head height",
    "cleaning.method": "Cleaning",
    "deposit.kind": "Deposit",
}


@dataclass(frozen=True)
class ZoneLine:
    """One zone as the bench is set to it, spelt."""

    name: str
    time: str
    top: str
    bottom: str
    airflow: str
    nitrogen: str


@dataclass(frozen=True)
class Instruction:
    """The recipe's words for one line: single values, zones, limits, and cautions."""

    rows: tuple[Row, ...]
    zones: tuple[ZoneLine, ...]
    limits: tuple[Row, ...]
    cautions: tuple[str, ...]


def write_instruction(body: RecipeBody, kind: StepKind) -> Instruction:
    """Return what a recipe says for a line; values it does not give are left out."""
    rows = [row for section in describe_body(body) for row in section.rows]
    limits = [row for row in rows if row.path.startswith("window.limits.")]
    own = [r for r in rows if r.path.startswith(_PATHS[kind]) and r.value != NOT_GIVEN]
    own.sort(key=lambda row: row.path.endswith("remarks"))
    return Instruction(
        rows=(
            *(replace(row, label=_LABELS.get(row.path, row.label)) for row in own),
            *(_spell_lift(body) if kind is StepKind.REMOVE else ()),
        ),
        zones=_list_zones(body) if kind in _LIMITED else (),
        limits=tuple(limits) if kind is StepKind.REFLOW else (),
        cautions=(*body.cautions, *_list_usual(body, kind)),
    )


def list_settings(body: RecipeBody, kind: StepKind) -> tuple[ValueUsed, ...]:
    """Return the settings that a line is signed with unless somebody says others."""
    instruction = write_instruction(body, kind)
    values = [
        ValueUsed(label=row.label, value=row.value[:200])
        for row in instruction.rows
        if not row.path.startswith(_NO_SETTINGS) and not row.path.endswith("remarks")
    ]
    for zone in instruction.zones:
        values.append(ValueUsed(label=f"{zone.name}, time", value=zone.time))
        values.append(ValueUsed(label=f"{zone.name}, top", value=zone.top))
        values.append(ValueUsed(label=f"{zone.name}, bottom", value=zone.bottom))
        values.append(ValueUsed(label=f"{zone.name}, airflow", value=zone.airflow))
    return tuple(values)


def _spell_lift(body: RecipeBody) -> Iterable[Row]:
    rule = body.lift_rule
    who = "; ".join(part for part in (spell_roles(rule.roles), ", ".join(rule.channels)) if part)
    when = f"above {spell_number(rule.above_c)} °C for {spell_number(rule.for_s)} s"
    yield Row("Lift the part when", f"{who}: {when}", "lift_rule")


def _list_zones(body: RecipeBody) -> tuple[ZoneLine, ...]:
    lines = []
    for section in describe_body(body):
        if section.rows and section.rows[0].path.startswith("zones."):
            values = {row.path.rsplit(".", 1)[-1]: row.value for row in section.rows}
            lines.append(
                ZoneLine(
                    section.title.split(": ", 1)[-1],
                    values["time_s"],
                    values["top_c"] or OFF,
                    values["bottom_c"] or OFF,
                    values["airflow_l_per_min"],
                    values["nitrogen"],
                )
            )
    return tuple(lines)


def _list_usual(body: RecipeBody, kind: StepKind) -> Iterable[str]:
    usual = list(_USUAL[kind])
    if kind in _HANDLES_SOLDER and "Pb" in body.window.alloy:
        usual.append(_LEAD)
    if usual:
        yield from usual
        yield _OWN_RULES
