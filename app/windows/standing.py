"""Which windows stand for a part whatever its recipe says: never to be exceeded."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from sqlalchemy.orm import Session

from app.approval.queries import find_published, get_digest
from app.materials.rules import MoistureLevel
from app.materials.tables import Part
from app.recipes.body.alloys import find_alloy
from app.recipes.body.window import Metric
from app.recipes.windows.bodies import ADJACENT_BODIES
from app.recipes.windows.classification import ImpossiblePackage, Process
from app.recipes.windows.joints import list_adjacent_joint_windows
from app.recipes.windows.rows import BODY
from app.windows.body import LineStatus, WindowLine, WindowText
from app.windows.built_in import (
    PROCESSES,
    BuiltIn,
    Package,
    compute_text_digest,
    get_built_in,
    list_built_ins,
)
from app.windows.holding import HeldWindow, make_window
from app.windows.queries import find_window, get_text, list_published
from app.windows.rules import NotInForce, PartNotKnown, WindowUnknown
from app.windows.tables import WindowVersion

# Any package will do where the part's maker states the temperature.
_SOME_PACKAGE: Final = Package(1.0, 100.0)
_TC_RANGE_C: Final = (150.0, 300.0)
_ASKED: Final = "It was asked for."
_KEYS: Final = {process: key for key, process in PROCESSES.items()}


@dataclass(frozen=True)
class PartFacts:
    """What is known of a part; mm and °C, None where it is not known."""

    part_number: str
    length_mm: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    classification_c: float | None = None
    max_body_c: float | None = None

    @property
    def package(self) -> Package | None:
        """Thickness and volume, length × width × height; None where one of them is not known."""
        if self.length_mm is None or self.width_mm is None or self.height_mm is None:
            return None
        volume_mm3 = self.length_mm * self.width_mm * self.height_mm
        return Package(self.height_mm, round(volume_mm3, 6), f"part {self.part_number}")


@dataclass(frozen=True)
class Standing:
    """The windows that stand for a part; `not_known` says in sentences what could not be found."""

    windows: tuple[HeldWindow, ...]
    not_known: tuple[str, ...]


def read_part(part: Part) -> PartFacts:
    """Return what is known of a part of the materials."""
    return PartFacts(
        part_number=part.part_number,
        length_mm=part.length_mm,
        width_mm=part.width_mm,
        height_mm=part.height_mm,
        classification_c=part.classification_c,
        max_body_c=part.max_body_c,
    )


def list_standing_windows(
    session: Session,
    part: Part | None,
    *,
    alloy: str,
    neighbour_levels: Sequence[MoistureLevel | None] = (),
) -> Standing:
    """List what a site may never exceed: built-in windows and published own ones of its part.

    `part` is None where nobody linked the site to a known part. See stand_for.
    """
    facts = None if part is None else read_part(part)
    built_in = stand_for(facts, alloy=alloy, neighbour_levels=neighbour_levels)
    if facts is None:
        return built_in
    own = tuple(
        _hold_own(version, f"It names part {facts.part_number}.")
        for version in list_published(session)
        if _names(get_text(version).part_numbers, facts.part_number)
    )
    return Standing((*built_in.windows, *own), built_in.not_known)


def list_holdable(session: Session) -> tuple[tuple[str, str], ...]:
    """List key and name of every window that a trace can be held against: own ones, then built in.

    Of the plant's own those that are published.
    """
    own = ((one.window.code, one.title) for one in list_published(session))
    return (*own, *((line.key, line.name) for line in list_built_ins()))


def hold_window(session: Session, key: str, part: Part | None) -> HeldWindow:
    """Return the published or built-in window of this key, to hold a trace of a part against.

    A classification profile goes by the part, as stand_for says. Raises WindowUnknown, NotInForce
    where no version is published, and PartNotKnown where the profile cannot be found.
    """
    if key in PROCESSES:
        try:
            (found,) = _list_of_body(None if part is None else read_part(part), PROCESSES[key])
        except _NotKnown as gap:
            raise PartNotKnown(str(gap), field="window") from None
        return found
    if any(line.key == key for line in list_built_ins()):
        return _hold(get_built_in(key), _ASKED)
    window = find_window(session, key)
    if window is None:
        raise WindowUnknown(f"There is no window “{key[:60]}”.", field="window")
    version = find_published(session, WindowVersion, window.id)
    if version is None:
        raise NotInForce(f"No version of {window.code} is published.", field="window")
    return _hold_own(version, _ASKED)


def stand_for(
    part: PartFacts | None,
    *,
    alloy: str,
    neighbour_levels: Sequence[MoistureLevel | None] = (),
) -> Standing:
    """Return the built-in windows that stand for a part under joints of an alloy.

    The body: the classification profile, tin-lead where the alloy's name holds Pb and lead-free
    otherwise, at the temperature that the part states or else that J-STD-020 gives its thickness
    and volume; and its own body limit where it states one. Neighbours: 200 °C at their bodies
    (J-STD-033), unless each of `neighbour_levels` is 1; and the solidus at their joints, where the
    alloy is tabled.
    """
    process = find_process(alloy)
    windows: list[HeldWindow] = []
    not_known: list[str] = []
    try:
        windows += _list_of_body(part, process)
    except _NotKnown as gap:
        not_known.append(str(gap))
    if part is not None and part.max_body_c is not None:
        windows.append(_hold_body_limit(part, part.max_body_c))
    if neighbour_levels and all(level is MoistureLevel.L1 for level in neighbour_levels):
        not_known.append(
            "The 200 °C limit of neighbouring bodies is not held: every neighbour named is of "
            "moisture sensitivity level 1."
        )
    else:
        adjacent = get_built_in(ADJACENT_BODIES.key)
        windows.append(_hold(adjacent, "It holds for moisture-sensitive neighbours of any site."))
    tabled = find_alloy(alloy)
    of_joints = [one for one in list_adjacent_joint_windows() if tabled and one.alloy == alloy]
    windows += [
        _hold(get_built_in(one.key), "Neighbouring joints of the same alloy stay solid.")
        for one in of_joints
    ]
    if not of_joints:
        not_known.append(
            f"The alloy “{alloy}” has no tabled solidus that neighbouring joints could be held "
            "against."
        )
    return Standing(tuple(windows), tuple(not_known))


def find_process(alloy: str) -> Process:
    """Return which classification profile goes with joints of an alloy, by its name."""
    has_lead = "Pb" in alloy and "Pb-free" not in alloy
    return Process.SNPB if has_lead else Process.PB_FREE


class _NotKnown(Exception):
    """What the part's body is held against cannot be found; the sentence says why."""


def _list_of_body(part: PartFacts | None, process: Process) -> list[HeldWindow]:
    if part is None:
        raise _NotKnown("The body's limits are not known: the site is linked to no known part.")
    package = part.package
    stated_c = part.classification_c
    if package is None and stated_c is None:
        raise _NotKnown(
            f"The body's limits are not known: length, width and height of part "
            f"{part.part_number} are not, nor its classification temperature."
        )
    if stated_c is not None and not _TC_RANGE_C[0] <= stated_c <= _TC_RANGE_C[1]:
        raise _NotKnown(
            f"The body's limits are not known: part {part.part_number} states a classification "
            f"temperature of {stated_c:g} °C, and {_TC_RANGE_C[0]:g} to {_TC_RANGE_C[1]:g} °C is "
            "possible."
        )
    try:
        found = get_built_in(_KEYS[process], package or _SOME_PACKAGE)
    except ImpossiblePackage as refusal:
        if stated_c is None:
            raise _NotKnown(f"The body's limits are not known: {refusal.sentence}") from None
        found, package = get_built_in(_KEYS[process], _SOME_PACKAGE), None
    profile = f"the {process.words} profile, by the alloy of the joints"
    if stated_c is None:
        size = f"{found.package.thickness_mm:g} mm thick" if found.package else ""
        return [_hold(found, f"Part {part.part_number} is {size}: {profile}.")]
    tabled_c = None if package is None else found.text.classification_c
    why = f"Part {part.part_number} states {stated_c:g} °C: {profile}."
    return [_hold(_restate(found, part, stated_c, tabled_c), why)]


def _restate(found: BuiltIn, part: PartFacts, stated_c: float, tabled_c: float | None) -> BuiltIn:
    """Return the profile at the temperature that a part states, in place of the table's."""
    note = ""
    if tabled_c is not None and tabled_c != stated_c:
        note = f"J-STD-020 gives {tabled_c:g} °C for its thickness and volume."
    rows = tuple(
        row
        if row.metric is not Metric.PEAK_C
        else WindowLine(
            metric=Metric.PEAK_C,
            roles=row.roles,
            upper=stated_c,
            document=f"part {part.part_number}",
            clause="classification temperature",
            status=LineStatus.OWN,
            note=note,
        )
        for row in found.text.rows
    )
    text = found.text.model_copy(update={"classification_c": stated_c, "rows": rows})
    return replace(found, text=text, digest=compute_text_digest(text))


def _hold_body_limit(part: PartFacts, most_c: float) -> HeldWindow:
    text = WindowText(
        format=1,
        is_never_exceed=True,
        rows=(
            WindowLine(
                metric=Metric.PEAK_C,
                roles=BODY,
                upper=most_c,
                document=f"part {part.part_number}",
                clause="body temperature at most",
                status=LineStatus.OWN,
            ),
        ),
    )
    return HeldWindow(
        key="part-body",
        version=1,
        name=f"Never exceed: body of part {part.part_number}",
        digest=compute_text_digest(text),
        is_built_in=False,
        why=f"Part {part.part_number} states that its body stands {most_c:g} °C.",
        text=text,
        window=make_window(text),
    )


def _hold_own(version: WindowVersion, why: str) -> HeldWindow:
    text = get_text(version)
    return HeldWindow(
        key=version.window.code,
        version=version.number,
        name=version.title,
        digest=get_digest(version),
        is_built_in=False,
        why=why,
        text=text,
        window=make_window(text),
    )


def _hold(found: BuiltIn, why: str) -> HeldWindow:
    return HeldWindow(
        key=found.key,
        version=found.version,
        name=found.name,
        digest=found.digest,
        is_built_in=True,
        why=why,
        text=found.text,
        window=make_window(found.text),
    )


def _names(part_numbers: Iterable[str], part_number: str) -> bool:
    return part_number.casefold() in {one.casefold() for one in part_numbers}
