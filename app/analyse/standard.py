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
from app.recipes.body.window import Limit, Metric, Window
from app.recipes.windows.joints import make_joint_window
from app.windows.body import LineStatus, WindowText
from app.windows.built_in import BuiltIn, Package, get_built_in, list_built_ins
from app.windows.files import parse_window_file
from app.windows.holding import make_window
from app.windows.rules import PackageNotStated

DEFAULT_ALLOY: Final = "SAC305"
LARGEST_FILE: Final = 1024 * 1024
_TEMPLATE: Final = "lead-free"
_JOINTS: Final = "joints"
_SOAK_C: Final = (150.0, 200.0)
_SOME_PACKAGE: Final = Package(thickness_mm=1.0, volume_mm3=100.0)
WINDOW_KEYS: Final = (_TEMPLATE, _JOINTS, *(line.key for line in list_built_ins()))
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


class ClassificationNotSaid(Unacceptable):
    """The window goes by the body's classification temperature, and nothing says it."""

    code = "analyse.classification_not_said"


class WindowUnreadable(Unacceptable):
    """The file is no JSON of a window, bare or with its sources, or of a recipe's body."""

    code = "analyse.window_unreadable"


class WindowFieldsUnreadable(Unreadable):
    """Fields of the window are missing or beyond their range."""

    code = "analyse.window_fields_unreadable"


@dataclass(frozen=True)
class Body:
    """A package body: thickness in mm and volume in mm³, or its classification temperature in °C.

    None where it was not said.
    """

    thickness_mm: float | None = None
    volume_mm3: float | None = None
    classification_c: float | None = None

    @property
    def is_said(self) -> bool:
        """Whether anything was said."""
        return (self.thickness_mm, self.volume_mm3, self.classification_c) != (None,) * 3

    @property
    def package(self) -> Package | None:
        """Its size, where both thickness and volume were said."""
        if self.thickness_mm is None or self.volume_mm3 is None:
            return None
        return Package(self.thickness_mm, self.volume_mm3)


_NO_BODY: Final = Body()


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


def find_standard(window: str | None, alloy: str | None, body: Body = _NO_BODY) -> Standard:
    """Return the window of this name or file; the alloy gives solidus and liquidus where named.

    A file is a bare window, an exported one with its sources, or a recipe's body.

    Built in are `lead-free`, the template of new recipes, for SAC305, and `joints`, the common
    window of any alloy's joints; and every built-in window by its key, of which the classification
    profiles go by the body. Without a name `lead-free` is taken for SAC305 and `joints` for the
    others. Raises NoSuchAlloy, NoSuchWindow, ClassificationNotSaid, WindowUnreadable,
    WindowFieldsUnreadable, recipes.impossible_package, windows.text_unreadable and
    recipes.body_unreadable.
    """
    keys = {line.key: line for line in list_built_ins()}
    if body.is_said and not (window in keys and keys[window].needs_package):
        needed = " and ".join(f"“{line.key}”" for line in keys.values() if line.needs_package)
        raise NoSuchWindow(
            f"Only the windows {needed} go by the body or its classification temperature; "
            f"{'no window was named' if window is None else f'“{window}” does not'}.",
            field="window",
        )
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
    if window in keys:
        return _take_built_in(window, named, body)
    path = Path(window)
    if not path.is_file():
        raise NoSuchWindow(
            f"“{window}” is no window: there are {', '.join(WINDOW_KEYS)}, and JSON files of a "
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


def _take_built_in(key: str, alloy: Alloy | None, body: Body) -> Standard:
    """Return a built-in window as it is printed, each limit with its source."""
    built = _get_built_in(key, body)
    text, sources = built.text, [f"Limits: the built-in window “{built.name}”."]
    if body.classification_c is not None:
        text = _classify(text, body.classification_c)
        sources.append(f"Classification temperature {body.classification_c:g} °C, as you said.")
    elif built.found is not None and built.package is not None:
        sources.append(
            f"Classification temperature {built.found.value_c:g} °C, of a body "
            f"{built.package.thickness_mm:g} mm thick with {built.package.volume_mm3:g} mm³: "
            f"{built.found.source.words}. {built.found.note}"
        )
    if alloy is not None and text.liquidus_c not in {None, alloy.liquidus_c}:
        raise NoSuchWindow(
            f"The window “{key}” has a liquidus of its own, {text.liquidus_c:g} °C, and "
            f"{alloy.name} melts at {alloy.liquidus_c:g} °C; leave --alloy out.",
            field="alloy",
        )
    usual = alloy or get_alloy(DEFAULT_ALLOY)
    sources += _list_sources(text)
    if text.liquidus_c is None:
        sources.append(f"{spell_melting(usual)} No limit of the window needs one.")
    return Standard(key, make_window(text, usual=usual), tuple(dict.fromkeys(sources)))


def _get_built_in(key: str, body: Body) -> BuiltIn:
    by_size = (body.thickness_mm, body.volume_mm3) != (None, None)
    if body.classification_c is not None and by_size:
        raise ClassificationNotSaid(
            "--classification says the temperature that --body-thickness and --body-volume would "
            "find; give one or the other.",
            field="classification",
        )
    if body.classification_c is not None:
        return get_built_in(key, _SOME_PACKAGE)
    try:
        return get_built_in(key, body.package)
    except PackageNotStated:
        raise ClassificationNotSaid(
            f"The window “{key}” goes by the body's classification temperature: say "
            "--classification in °C, or --body-thickness in mm and --body-volume in mm³.",
            field="classification",
        ) from None


def _classify(text: WindowText, classification_c: float) -> WindowText:
    """Return a classification profile for a body whose temperature is known."""
    rows = tuple(
        row.model_copy(
            update={
                "upper": classification_c,
                "status": LineStatus.OWN,
                "document": "", "clause": "", "seen_in": "", "note": "", "others": (),
            }
        )
        if row.metric is Metric.PEAK_C
        else row
        for row in text.rows
    )  # fmt: skip
    return text.model_copy(update={"rows": rows, "classification_c": classification_c})


def _list_sources(text: WindowText) -> list[str]:
    """Return the window's note, and of each limit where it is from and how sure it is."""
    told = [
        "; ".join(filter(None, (f"{row.metric}: {row.status.told}", row.source))) + "."
        for row in text.rows
    ]
    return [text.note, *told] if text.note else told


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
    sources = [f"Limits: {name}, the window “{read.name}”.", *_list_sources(text)]
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
