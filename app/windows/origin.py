"""What a version was copied from, as the audit log tells: a built-in window or a version."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from app.approval.queries import get_digest, select_revisions
from app.audit.queries import list_entries_of_subject
from app.audit.rules import read_body
from app.core.numbers import spell_number
from app.core.refusals import Refusal
from app.windows.body import WindowText
from app.windows.built_in import PROCESSES, BuiltIn, Package, get_built_in, list_sizes
from app.windows.citations import Copied
from app.windows.queries import get_text
from app.windows.rules import VERSIONS
from app.windows.tables import WindowVersion

_BEGINNINGS: Final = frozenset({"windows.create", "windows.copy"})


@dataclass(frozen=True)
class Origin:
    """The window that a version was copied from; the text is None where it is no longer there."""

    key: str
    version: int
    is_built_in: bool
    digest: str
    href: str
    text: WindowText | None

    @property
    def words(self) -> str:
        """How it is named beside a limit that came from it."""
        kind = "built-in " if self.is_built_in else ""
        return f"{kind}{self.key}, version {self.version}"


def find_origin(session: Session, version: WindowVersion) -> Origin | None:
    """Return what a version was copied from; None for one that was written or read from a file."""
    for entry in list_entries_of_subject(session, VERSIONS.subject, version.id):
        if entry.action in _BEGINNINGS:
            details = read_body(entry.body)["details"]
            return _read(session, version, details if isinstance(details, Mapping) else {})
    return None


def find_copied(session: Session, version: WindowVersion) -> Copied | None:
    """Return the text that a version's limits are held against; None where there is none."""
    origin = find_origin(session, version)
    if origin is None or origin.text is None:
        return None
    return Copied(origin.words, origin.text)


def name_version(earlier: WindowVersion) -> Origin:
    """Return a version as what another one is copied from."""
    return Origin(
        key=earlier.window.code,
        version=earlier.number,
        is_built_in=False,
        digest=get_digest(earlier),
        href=f"/windows/versions/{earlier.id}",
        text=get_text(earlier),
    )


def name_built_in(found: BuiltIn) -> Origin:
    """Return a built-in window as what a version is copied from."""
    href = f"/windows/built-in/{found.key}"
    if found.package is not None:
        size = {
            "thickness_mm": spell_number(found.package.thickness_mm),
            "volume_mm3": spell_number(found.package.volume_mm3),
        }
        href = f"{href}?{urlencode(size)}"
    return Origin(
        key=found.key,
        version=found.version,
        is_built_in=True,
        digest=found.digest,
        href=href,
        text=found.text,
    )


def _read(session: Session, version: WindowVersion, details: Mapping[str, object]) -> Origin | None:
    began, copied = details.get("from"), details.get("copy_of")
    if isinstance(copied, Mapping):
        return _find_version(session, version, copied.get("number"))
    if isinstance(began, Mapping) and "built_in" in began:
        return _find_built_in(began)
    return None


def _find_version(session: Session, version: WindowVersion, number: object) -> Origin | None:
    earlier = session.scalar(
        select_revisions(WindowVersion, version.window_id).where(WindowVersion.number == number)
    )
    return None if earlier is None else name_version(earlier)


def _find_built_in(began: Mapping[str, object]) -> Origin:
    """Return the built-in window of a log's words, whole where its digest is still the same."""
    key, number, digest = str(began["built_in"]), began.get("version"), str(began.get("digest"))
    found = next((one for one in _list_candidates(key, began) if one.digest == digest), None)
    if found is not None:
        return name_built_in(found)
    return Origin(
        key=key,
        version=number if isinstance(number, int) else 1,
        is_built_in=True,
        digest=digest,
        href=f"/windows/built-in/{key}",
        text=None,
    )


def _list_candidates(key: str, began: Mapping[str, object]) -> list[BuiltIn]:
    """List the built-in windows that a log may mean; older words say no size of the body."""
    try:
        if key not in PROCESSES:
            return [get_built_in(key)]
        thickness_mm, volume_mm3 = began.get("thickness_mm"), began.get("volume_mm3")
        if isinstance(thickness_mm, int | float) and isinstance(volume_mm3, int | float):
            return [get_built_in(key, Package(float(thickness_mm), float(volume_mm3)))]
        return [get_built_in(key, one) for one in list_sizes(key)]
    except Refusal:
        return []
