"""The tables of windows and their versions; a published version is locked by a trigger."""

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column, relationship, synonym

from app.approval.tables import CodedText, TextRevision, guard_revisions


class PlantWindow(CodedText):
    """A window's code; all it says stands in its versions."""

    __tablename__ = "windows"
    # The number of a discarded one is never given again: the audit log still tells of it.
    __table_args__ = ({"sqlite_autoincrement": True},)


class WindowVersion(TextRevision):
    """One version: the canonical JSON of its text, and who wrote, proposed and approved it."""

    __tablename__ = "window_versions"
    __table_args__ = guard_revisions("window_versions", "window_id")

    window_id: Mapped[int] = mapped_column(ForeignKey("windows.id"))
    window: Mapped[PlantWindow] = relationship(lazy="raise_on_sql")
    whole_id: Mapped[int] = synonym("window_id")
    whole: Mapped[PlantWindow] = synonym("window")
