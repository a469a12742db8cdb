"""Reads the plant's own windows, their versions, and what stands for a part."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, aliased, joinedload

from app.approval.rules import OPEN, RevisionState
from app.core.paging import CursorUnreadable, Paging, spell_cursor
from app.recipes.tables import RecipeRevision
from app.windows.body import WindowText
from app.windows.built_in import BuiltInLine, list_built_ins
from app.windows.rules import VersionUnknown, WindowUnknown
from app.windows.tables import PlantWindow, WindowVersion

_BATCH: Final = 200
# Cursors from here on stand in the built-in windows, which follow the plant's own.
_BUILT_IN_FROM: Final = 2**31


@dataclass(frozen=True)
class WindowFilter:
    """What a reader looks for; `text` in code, name or key, without regard to case.

    `state` is that of the open or the published version, or retired where there is neither;
    `built in` leaves the plant's own out.
    """

    text: str = ""
    state: RevisionState | None = None
    is_built_in: bool = False


@dataclass(frozen=True)
class OwnLine:
    """A window of the plant's own with the versions that say where it stands."""

    window: PlantWindow
    newest: WindowVersion
    published: WindowVersion | None
    open: WindowVersion | None

    @property
    def states(self) -> frozenset[RevisionState]:
        """Where the window stands; retired only when nothing is open or published."""
        found = {one.state for one in (self.published, self.open) if one is not None}
        return frozenset(found or {RevisionState.RETIRED})


@lru_cache(maxsize=256)
def _parse(text: bytes) -> WindowText:
    return WindowText.model_validate_json(text)


def get_text(version: WindowVersion) -> WindowText:
    """Return a version's text; it is frozen, and read once for the same bytes."""
    return _parse(version.body)


def get_version(session: Session, version_id: int) -> WindowVersion:
    """Return a version with its window; VersionUnknown if there is none."""
    version = session.scalar(
        select(WindowVersion)
        .where(WindowVersion.id == version_id)
        .options(joinedload(WindowVersion.window))
    )
    if version is None:
        raise VersionUnknown(f"There is no window version number {version_id}.", field="id")
    return version


def get_window(session: Session, window_id: int) -> PlantWindow:
    """Return a window; WindowUnknown if there is none."""
    window = session.get(PlantWindow, window_id)
    if window is None:
        raise WindowUnknown(f"There is no window number {window_id}.", field="window_id")
    return window


def find_window(session: Session, code: str) -> PlantWindow | None:
    """Return the window with this code, or None."""
    return session.scalar(select(PlantWindow).where(PlantWindow.code == code))


def list_published(session: Session) -> Sequence[WindowVersion]:
    """Return every published version with its window, by code."""
    return session.scalars(
        select(WindowVersion)
        .join(WindowVersion.window)
        .where(WindowVersion.state == RevisionState.PUBLISHED)
        .options(joinedload(WindowVersion.window))
        .order_by(PlantWindow.code)
    ).all()


def get_own_line(session: Session, window_id: int) -> OwnLine:
    """Return one window as the list shows it; WindowUnknown if there is none."""
    return next(_build_lines(session, [get_window(session, window_id)]))


def list_windows(
    session: Session, *, wanted: WindowFilter, paging: Paging
) -> tuple[list[OwnLine | BuiltInLine], str | None]:
    """Return a piece of all windows and the cursor of the next: own ones by code, then built in.

    CursorUnreadable when the window that the cursor stands after is gone.
    """
    found: list[tuple[OwnLine | BuiltInLine, int]] = []
    for line, place in _iterate_all(session, wanted, paging):
        if len(found) == paging.limit:
            return [one for one, _ in found], spell_cursor(found[-1][1])
        found.append((line, place))
    return [one for one, _ in found], None


def list_own_drafts(session: Session, account_id: int) -> Sequence[RecipeRevision]:
    """Return the drafts of recipes that somebody began, newest first, with their recipes."""
    return session.scalars(
        select(RecipeRevision)
        .where(RecipeRevision.author_id == account_id, RecipeRevision.state == RevisionState.DRAFT)
        .options(joinedload(RecipeRevision.recipe))
        .order_by(RecipeRevision.id.desc())
        .limit(_BATCH)
    ).all()


def _iterate_all(
    session: Session, wanted: WindowFilter, paging: Paging
) -> Iterator[tuple[OwnLine | BuiltInLine, int]]:
    """Yield each wanted window after the cursor with the number that a cursor holds for it."""
    after = paging.after_id
    if after is None or after < _BUILT_IN_FROM:
        code = None if after is None else _get_code_after(session, after)
        for line in () if wanted.is_built_in else _iterate_own(session, code):
            if _is_wanted(line, wanted):
                yield line, line.window.id
        after = None
    if wanted.state is not None:
        return
    begin = 0 if after is None else after - _BUILT_IN_FROM + 1
    for place, built_in in enumerate(list_built_ins()):
        if place >= begin and _holds((built_in.key, built_in.name), wanted.text):
            yield built_in, _BUILT_IN_FROM + place


def _get_code_after(session: Session, window_id: int) -> str:
    window = session.get(PlantWindow, window_id)
    if window is None:
        raise CursorUnreadable(
            "The window this cursor stands after is gone; begin again without one.", field="cursor"
        )
    return window.code


def _iterate_own(session: Session, after: str | None) -> Iterator[OwnLine]:
    while True:
        rows = select(PlantWindow).order_by(PlantWindow.code).limit(_BATCH)
        windows = session.scalars(
            rows if after is None else rows.where(PlantWindow.code > after)
        ).all()
        yield from _build_lines(session, windows)
        if len(windows) < _BATCH:
            return
        after = windows[-1].code


def _build_lines(session: Session, windows: Sequence[PlantWindow]) -> Iterator[OwnLine]:
    versions = _group_versions(session, windows)
    for window in windows:
        own = versions.get(window.id, [])
        if own:
            yield OwnLine(
                window=window,
                newest=own[-1],
                published=_find_in(own, frozenset({RevisionState.PUBLISHED})),
                open=_find_in(own, OPEN),
            )


def _group_versions(
    session: Session, windows: Sequence[PlantWindow]
) -> Mapping[int, list[WindowVersion]]:
    """Return window id → its versions that are newest, open or published, oldest first."""
    other = aliased(WindowVersion)
    newest = (
        select(func.max(other.number))
        .where(other.window_id == WindowVersion.window_id)
        .scalar_subquery()
    )
    rows = session.scalars(
        select(WindowVersion)
        .where(WindowVersion.window_id.in_([window.id for window in windows]))
        .where(or_(WindowVersion.state != RevisionState.RETIRED, WindowVersion.number == newest))
        .options(joinedload(WindowVersion.window))
        .order_by(WindowVersion.number)
    ).all()
    grouped: dict[int, list[WindowVersion]] = {}
    for row in rows:
        grouped.setdefault(row.window_id, []).append(row)
    return grouped


def _find_in(
    versions: Iterable[WindowVersion], wanted: frozenset[RevisionState]
) -> WindowVersion | None:
    return next((one for one in versions if one.state in wanted), None)


def _is_wanted(line: OwnLine, wanted: WindowFilter) -> bool:
    titles = (one.title for one in (line.published, line.open, line.newest) if one is not None)
    is_in_state = wanted.state is None or wanted.state in line.states
    return is_in_state and _holds((line.window.code, *titles), wanted.text)


def _holds(haystack: Iterable[str], needle: str) -> bool:
    return needle.casefold() in "\n".join(haystack).casefold()
