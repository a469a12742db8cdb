"""The built-in windows by their keys, in the same words as the plant's own."""

from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from math import isinf
from typing import Final

from app.core.refusals import Fault
from app.recipes.windows.bodies import ADJACENT_BODIES, make_classification_window
from app.recipes.windows.classification import (
    TABLES,
    ClassificationTemperature,
    Process,
    find_classification,
)
from app.recipes.windows.joints import list_adjacent_joint_windows, list_joint_windows
from app.recipes.windows.rows import BuiltInWindow, WindowRow
from app.windows.body import (
    RAMP_WINDOW_S,
    STATUS_OF_SOURCE,
    OtherLimit,
    WindowLine,
    WindowText,
    spell_text,
)
from app.windows.rules import BuiltInUnknown, PackageNotStated

PROCESSES: Final = {
    "classification-pb-free": Process.PB_FREE,
    "classification-snpb": Process.SNPB,
}
# Any body will do where only what does not go by it is asked for.
_SOME_MM: Final = 1.0
_SOME_MM3: Final = 100.0


@dataclass(frozen=True)
class Package:
    """A body's thickness and volume; `of` says whose they are, empty where they were typed."""

    thickness_mm: float
    volume_mm3: float
    of: str = ""


@dataclass(frozen=True)
class BuiltIn:
    """A built-in window with its digest; `found` is how its body was classified, if it was."""

    key: str
    version: int
    name: str
    text: WindowText
    digest: str
    package: Package | None = None
    found: ClassificationTemperature | None = None


@dataclass(frozen=True)
class BuiltInLine:
    """A built-in window as a list shows it."""

    key: str
    version: int
    name: str
    is_never_exceed: bool
    needs_package: bool
    cautions: tuple[str, ...]


@cache
def list_built_ins() -> tuple[BuiltInLine, ...]:
    """List the built-in windows: those for bodies first, then joints, then neighbouring joints."""
    of_bodies = (
        make_classification_window(process, thickness_mm=_SOME_MM, volume_mm3=_SOME_MM3)
        for process in PROCESSES.values()
    )
    return tuple(
        BuiltInLine(
            key=window.key,
            version=window.version,
            name=window.name,
            is_never_exceed=window.is_never_exceed,
            needs_package=window.key in PROCESSES,
            cautions=window.cautions,
        )
        for window in (*of_bodies, *_map_fixed().values())
    )


def get_built_in_line(key: str) -> BuiltInLine:
    """Return the built-in window of this key as a list shows it; BuiltInUnknown without."""
    for line in list_built_ins():
        if line.key == key:
            return line
    raise BuiltInUnknown(f"There is no built-in window “{key[:60]}”.", field="key")


def get_built_in(key: str, package: Package | None = None) -> BuiltIn:
    """Return the built-in window of this key; the classification profiles go by a package.

    Raises BuiltInUnknown, PackageNotStated and ImpossiblePackage.
    """
    line = get_built_in_line(key)
    if not line.needs_package:
        return _state(_map_fixed()[key])
    if package is None:
        raise PackageNotStated(
            (
                Fault("thickness_mm", "must be given: the classification temperature goes by it"),
                Fault("volume_mm3", "must be given: the classification temperature goes by it"),
            )
        )
    of = {"thickness_mm": package.thickness_mm, "volume_mm3": package.volume_mm3}
    window = make_classification_window(PROCESSES[key], **of)
    return _state(window, package, find_classification(PROCESSES[key], **of))


def list_sizes(key: str) -> tuple[Package, ...]:
    """List one body for each way to classify one: for every cell and every edge of its table."""
    cells = TABLES[PROCESSES[key]]
    thicknesses_mm = {mm for one in cells for mm in _list_inside(one.from_mm, one.to_mm)}
    volumes_mm3 = {mm3 for one in cells for mm3 in _list_inside(one.from_mm3, one.to_mm3)}
    return tuple(Package(mm, mm3) for mm in sorted(thicknesses_mm) for mm3 in sorted(volumes_mm3))


def list_texts() -> tuple[BuiltIn, ...]:
    """List every built-in window whole, the classification profiles for every size of body."""
    of_bodies = (get_built_in(key, size) for key in PROCESSES for size in list_sizes(key))
    return (*of_bodies, *map(_state, _map_fixed().values()))


def _list_inside(least: float, most: float) -> tuple[float, ...]:
    """List a value within a range, and its upper end where there is one."""
    within = (least + min(most, least + 1.0)) / 2.0
    return (within,) if isinf(most) else (within, most)


def make_text(window: BuiltInWindow) -> WindowText:
    """Return a built-in window's text: every row keeps its source and how sure it is."""
    return WindowText(
        format=1,
        is_never_exceed=window.is_never_exceed,
        alloy=window.alloy,
        solidus_c=window.solidus_c,
        liquidus_c=window.liquidus_c,
        ramp_window_s=RAMP_WINDOW_S,
        soak_min_c=window.soak_min_c,
        soak_max_c=window.soak_max_c,
        classification_c=window.classification_c,
        note=window.note,
        rows=tuple(map(_make_line, window.rows)),
    )


def compute_text_digest(text: WindowText) -> str:
    """Return the SHA-256 of a text's canonical JSON as 64 hexadecimal digits."""
    return sha256(spell_text(text)).hexdigest()


def _make_line(row: WindowRow) -> WindowLine:
    return WindowLine(
        metric=row.metric,
        roles=row.roles,
        lower=row.lower,
        upper=row.upper,
        document=row.source.document,
        clause=row.source.clause,
        seen_in=row.source.seen_in,
        status=STATUS_OF_SOURCE[row.source.status],
        note=row.note,
        others=tuple(
            OtherLimit(lower=one.lower, upper=one.upper, where=one.where) for one in row.others
        ),
    )


def _state(
    window: BuiltInWindow,
    package: Package | None = None,
    found: ClassificationTemperature | None = None,
) -> BuiltIn:
    text = make_text(window)
    digest = compute_text_digest(text)
    return BuiltIn(window.key, window.version, window.name, text, digest, package, found)


@cache
def _map_fixed() -> dict[str, BuiltInWindow]:
    windows = (ADJACENT_BODIES, *list_joint_windows(), *list_adjacent_joint_windows())
    return {window.key: window for window in windows}
