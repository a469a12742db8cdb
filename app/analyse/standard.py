"""What files are held against: a window, with its plan and lift rule where a recipe gives them."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from app.core.faults import faults_of
from app.core.refusals import Unacceptable, Unreadable
from app.jobs.run_figures import plan_zones
from app.numerics.zones import ZonePlan
from app.recipes.body.alloys import ALLOYS, Alloy
from app.recipes.body.forms import parse_body
from app.recipes.body.heating import LiftRule
from app.recipes.body.setup import Thermocouple
from app.recipes.body.template import default_body
from app.recipes.body.window import Limit, Window
from app.recipes.windows.joints import make_joint_window
from app.windows.files import parse_window_file
from app.windows.holding import make_window

DEFAULT_ALLOY: Final = "SAC305"
LARGEST_FILE: Final = 1024 * 1024
_TEMPLATE: Final = "lead-free"
_JOINTS: Final = "joints"
_SOAK_C: Final = (150.0, 200.0)
_TEMPLATE_SOURCE: Final = (
    "Limits: the lead-free template of this program. Joint peak and time above liquidus are common "
    "practice, from memory; slopes, soak and the body's times are J-STD-020 Table 5-2 as seen in "
    "public restatements, confirm against your copy; 7 K between joints is one maker's limit."
)


class NoSuchAlloy(Unacceptable):
    """The alloy is not in the table."""

    code = "analyse.no_such_alloy"


class NoSuchWindow(Unacceptable):
    """The window is neither a built-in one nor a file."""

    code = "analyse.no_such_window"


class WindowUnreadable(Unacceptable):
    """The file is no JSON of a window, bare or with its sources, or of a recipe's body."""

    code = "analyse.window_unreadable"


class WindowFieldsUnreadable(Unreadable):
    """Fields of the window are missing or beyond their range."""

    code = "analyse.window_fields_unreadable"


@dataclass(frozen=True)
class Standard:
    """A window under its title; `sources` say where it comes from.

    `plan`, `lift_rule` and `zones` are a recipe's, None or empty where there is none.
    """

    title: str
    window: Window
    sources: tuple[str, ...]
    plan: tuple[Thermocouple, ...] | None = None
    lift_rule: LiftRule | None = None
    zones: tuple[ZonePlan, ...] = ()


def find_standard(window: str | None, alloy: str | None) -> Standard:
    """Return the window of this name or file; the alloy gives solidus and liquidus where named.

    A file is a bare window, an exported one with its sources, or a recipe's body.

    Built in are `lead-free`, the template of new recipes, for SAC305, and `joints`, the common
    window of any alloy's joints. Without a name `lead-free` is taken for SAC305 and `joints` for
    the others. Raises NoSuchAlloy, NoSuchWindow, WindowUnreadable, WindowFieldsUnreadable,
    windows.text_unreadable and recipes.body_unreadable.
    """
    named = None if alloy is None else get_alloy(alloy)
    of_table = named or get_alloy(DEFAULT_ALLOY)
    is_default = of_table is get_alloy(DEFAULT_ALLOY)
    if window is None:
        return _take_template(of_table) if is_default else _take_joints(of_table)
    if window == _JOINTS:
        return _take_joints(of_table)
    if window == _TEMPLATE:
        if not is_default:
            raise NoSuchWindow(
                f"The window “{_TEMPLATE}” is for {DEFAULT_ALLOY}; for {of_table.name} take "
                f"“{_JOINTS}”, or a file.",
                field="window",
            )
        return _take_template(of_table)
    path = Path(window)
    if not path.is_file():
        raise NoSuchWindow(
            f"“{window}” is no window: there are {_TEMPLATE} and {_JOINTS}, and JSON files of a "
            "window, as it is exported, or of a recipe's body.",
            field="window",
        )
    return _read_file(path, named)


def get_alloy(name: str) -> Alloy:
    """Return the alloy of this name, whole or the short one in brackets; NoSuchAlloy without."""
    wanted = name.strip().casefold()
    for alloy in ALLOYS:
        whole = alloy.name.casefold()
        if wanted in {whole, *(part.strip(") ") for part in whole.split("("))}:
            return alloy
    raise NoSuchAlloy(
        f"“{name}” is not in the table of alloys: {', '.join(one.name for one in ALLOYS)}.",
        field="alloy",
    )


def spell_melting(alloy: Alloy) -> str:
    """Return the alloy's melting range with its source, how sure it is and what else is printed."""
    melts = f"{alloy.name}: solidus {alloy.solidus_c:g} °C, liquidus {alloy.liquidus_c:g} °C"
    seen = f"{alloy.status} ({alloy.source})"
    return "; ".join(filter(None, (melts, seen, alloy.note, alloy.caution))) + "."


def _take_template(alloy: Alloy) -> Standard:
    body = default_body(assembly_part_number="none", designators=["U1"])
    return Standard(
        _TEMPLATE, _melt_at(body.window, alloy), (spell_melting(alloy), _TEMPLATE_SOURCE)
    )


def _take_joints(alloy: Alloy) -> Standard:
    made = make_joint_window(alloy)
    if made is None:
        raise NoSuchWindow(f"Joints of {alloy.name} do not melt in rework.", field="alloy")
    window = Window(
        alloy=alloy.name,
        solidus_c=alloy.solidus_c,
        liquidus_c=alloy.liquidus_c,
        soak_min_c=_SOAK_C[0],
        soak_max_c=_SOAK_C[1],
        limits=tuple(
            Limit(metric=row.metric, roles=row.roles, lower=row.lower, upper=row.upper)
            for row in made.rows
        ),
    )
    rows = dict.fromkeys(
        f"{row.metric}: {row.source.words}{row.source.caution and f', {row.source.caution}'}."
        for row in made.rows
    )
    return Standard(_JOINTS, window, (spell_melting(alloy), made.note, *rows))


def _melt_at(window: Window, alloy: Alloy) -> Window:
    return window.model_copy(
        update={
            "alloy": alloy.name,
            "solidus_c": alloy.solidus_c,
            "liquidus_c": alloy.liquidus_c,
        }
    )


def _read_file(path: Path, alloy: Alloy | None) -> Standard:
    told = _read_json(path)
    if "rows" in told:
        return _take_exported(path.name, told, alloy)
    if "window" in told:
        body = parse_body(told)
        plan, lift_rule, window = body.thermocouples, body.lift_rule, body.window
        zones = plan_zones(body.zones)
        kind = "a recipe's body"
    else:
        try:
            window = Window.model_validate(told)
        except ValidationError as error:
            raise WindowFieldsUnreadable(faults_of(error)) from None
        plan, lift_rule, zones, kind = None, None, (), "a window"
    sources = [f"Limits: {path.name}, {kind}."]
    if alloy is None:
        sources.append(
            f"{window.alloy}: solidus {window.solidus_c:g} °C, liquidus {window.liquidus_c:g} °C, "
            f"as {path.name} says."
        )
    else:
        window = _melt_at(window, alloy)
        sources.append(f"{spell_melting(alloy)} It stands in place of the file's.")
    return Standard(path.name, window, tuple(sources), plan, lift_rule, zones)


def _take_exported(name: str, content: dict[str, object], alloy: Alloy | None) -> Standard:
    """Return a window as it is exported: each limit says where it is from and how sure it is."""
    read = parse_window_file(content)
    text = read.text
    usual = alloy or get_alloy(DEFAULT_ALLOY)
    window = make_window(text, usual=usual)
    sources = [f"Limits: {name}, the window “{read.name}”."]
    if text.note:
        sources.append(text.note)
    for row in text.rows:
        told = (f"{row.metric}: {row.status.told}", row.source)
        sources.append("; ".join(filter(None, told)) + ".")
    if alloy is not None:
        window = _melt_at(window, alloy)
        sources.append(f"{spell_melting(alloy)} It stands in place of the file's.")
    elif text.liquidus_c is None:
        sources.append(f"{spell_melting(usual)} The file names none, and no limit of it needs one.")
    else:
        sources.append(
            f"{window.alloy}: solidus {window.solidus_c:g} °C, liquidus {window.liquidus_c:g} °C, "
            f"as {name} says."
        )
    return Standard(name, window, tuple(dict.fromkeys(sources)))


def _read_json(path: Path) -> dict[str, object]:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise WindowUnreadable(
                f"{path.name} is larger than {LARGEST_FILE:,} bytes, which no window is.",
                field="window",
            )
        told = json.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        raise WindowUnreadable(
            f"{path.name} cannot be read as JSON: {error}.", field="window"
        ) from None
    if not isinstance(told, dict):
        raise WindowUnreadable(
            f"{path.name} holds no JSON object of a window or of a recipe's body.", field="window"
        )
    return told
