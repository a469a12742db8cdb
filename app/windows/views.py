"""Turns windows into their JSON."""

import math

from sqlalchemy.orm import Session

from app.approval.queries import get_digest, map_people
from app.core.numbers import spell_number
from app.recipes.schemas import ChangeView, PersonView
from app.recipes.windows.classification import Cell
from app.windows.body import WindowText
from app.windows.built_in import PROCESSES, BuiltIn, BuiltInLine, get_built_in_line
from app.windows.describe import compare_texts
from app.windows.holding import HeldWindow
from app.windows.origin import Origin, find_origin
from app.windows.queries import OwnLine, get_text
from app.windows.schemas import (
    BuiltInLineView,
    BuiltInView,
    ClassifiedView,
    OriginView,
    OwnWindowView,
    StandingView,
    VersionLine,
    VersionView,
)
from app.windows.tables import WindowVersion


def view_version(
    session: Session, version: WindowVersion, *, origin: Origin | None = None
) -> VersionView:
    """Return a version with its text; `origin` is given where the log does not tell of it yet."""
    line = view_line(version, map_people(session, [version]))
    text = get_text(version)
    return VersionView(
        **line.model_dump(),
        cautions=list(text.cautions),
        copied_from=_view_origin(origin or find_origin(session, version), text),
        text=text,
    )


def view_changes(old: WindowText, new: WindowText) -> list[ChangeView]:
    """Return what differs from one text to another."""
    return [
        ChangeView(path=part.title.lower(), label=row.label, old=row.old, new=row.new)
        for part in compare_texts(old, new)
        for row in part.rows
        if row.is_changed
    ]


def view_line(version: WindowVersion, people: dict[int, str]) -> VersionLine:
    """Return a version without its text."""

    def name(account_id: int) -> PersonView:
        return PersonView(id=account_id, name=people[account_id])

    def find(account_id: int | None) -> PersonView | None:
        return None if account_id is None else name(account_id)

    return VersionLine(
        id=version.id,
        window_id=version.window_id,
        code=version.window.code,
        number=version.number,
        state=version.state,
        title=version.title,
        reason=version.reason,
        digest=get_digest(version),
        author=name(version.author_id),
        created_at=version.created_at,
        proposed_by=find(version.proposed_by_id),
        proposed_at=version.proposed_at,
        approved_by=find(version.approved_by_id),
        approved_at=version.approved_at,
        retired_by=find(version.retired_by_id),
        retired_at=version.retired_at,
        retire_reason=version.retire_reason,
        version=version.version,
    )


def view_windows(
    session: Session, lines: list[OwnLine | BuiltInLine]
) -> list[OwnWindowView | BuiltInLineView]:
    """Return a piece of the list, the plant's own and built-in ones."""
    own = [line for line in lines if isinstance(line, OwnLine)]
    versions = [
        one for line in own for one in (line.newest, line.published, line.open) if one is not None
    ]
    people = map_people(session, versions)
    return [
        _spell_own(line, people) if isinstance(line, OwnLine) else view_built_in_line(line)
        for line in lines
    ]


def view_own(session: Session, line: OwnLine) -> OwnWindowView:
    """Return one window of the plant's own."""
    versions = [one for one in (line.newest, line.published, line.open) if one is not None]
    return _spell_own(line, map_people(session, versions))


def view_built_in_line(line: BuiltInLine) -> BuiltInLineView:
    """Return a built-in window as the list shows it."""
    return BuiltInLineView(
        key=line.key,
        version=line.version,
        name=line.name,
        is_never_exceed=line.is_never_exceed,
        needs_package=line.needs_package,
        cautions=list(line.cautions),
    )


def view_built_in(found: BuiltIn) -> BuiltInView:
    """Return a built-in window whole."""
    line = view_built_in_line(get_built_in_line(found.key))
    return BuiltInView(
        **line.model_dump(),
        digest=found.digest,
        text=found.text,
        classified=_view_classified(found),
    )


def view_standing(held: HeldWindow) -> StandingView:
    """Return a window that stands for a part."""
    return StandingView(
        key=held.key,
        version=held.version,
        name=held.name,
        is_built_in=held.is_built_in,
        digest=held.digest,
        why=held.why,
        cautions=list(held.cautions),
        text=held.text,
    )


def spell_cell(cell: Cell) -> str:
    """Spell a cell of a classification table: where it holds, and its temperature."""
    thickness = _spell_range(cell.from_mm, cell.to_mm, "mm")
    volume = _spell_range(cell.from_mm3, cell.to_mm3, "mm³")
    return f"thickness {thickness}, volume {volume}: {spell_number(cell.classification_c)} °C"


def _spell_range(least: float, most: float, unit: str) -> str:
    if math.isinf(most):
        return "any" if not least else f"{spell_number(least)} {unit} and more"
    if not least:
        return f"up to {spell_number(most)} {unit}"
    return f"{spell_number(least)} to {spell_number(most)} {unit}"


def _view_origin(origin: Origin | None, text: WindowText) -> OriginView | None:
    if origin is None:
        return None
    return OriginView(
        key=origin.key,
        version=origin.version,
        is_built_in=origin.is_built_in,
        digest=origin.digest,
        changes=None if origin.text is None else view_changes(origin.text, text),
    )


def _view_classified(found: BuiltIn) -> ClassifiedView | None:
    if found.found is None or found.package is None:
        return None
    how = found.found
    return ClassifiedView(
        process=PROCESSES[found.key],
        thickness_mm=found.package.thickness_mm,
        volume_mm3=found.package.volume_mm3,
        classification_c=how.value_c,
        is_edge_decided=how.is_edge_decided,
        cells=[spell_cell(cell) for cell in how.cells],
        source=how.source.words,
        caution=how.source.caution,
        note=how.note,
    )


def _spell_own(line: OwnLine, people: dict[int, str]) -> OwnWindowView:
    return OwnWindowView(
        id=line.window.id,
        code=line.window.code,
        created_at=line.window.created_at,
        newest=view_line(line.newest, people),
        published=None if line.published is None else view_line(line.published, people),
        open=None if line.open is None else view_line(line.open, people),
    )
