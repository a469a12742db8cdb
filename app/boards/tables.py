"""The tables of assemblies, their layouts, boards and sites."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.boards.rules import Side
from app.core.db import Base, Versioned
from app.materials.tables import Part


class Assembly(Versioned, Base):
    """A kind of board: part number and revision; lengths in mm."""

    __tablename__ = "assemblies"
    __table_args__ = (UniqueConstraint("part_number", "revision"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    part_number: Mapped[str] = mapped_column(
        String(64), CheckConstraint("part_number <> ''", name="part_number_said")
    )
    revision: Mapped[str] = mapped_column(
        String(64), CheckConstraint("revision <> ''", name="revision_said")
    )
    title: Mapped[str] = mapped_column(String(200))
    length_mm: Mapped[float | None] = mapped_column(
        CheckConstraint("length_mm > 0", name="length_positive")
    )
    width_mm: Mapped[float | None] = mapped_column(
        CheckConstraint("width_mm > 0", name="width_positive")
    )
    thickness_mm: Mapped[float | None] = mapped_column(
        CheckConstraint("thickness_mm > 0", name="thickness_positive")
    )
    layers: Mapped[int | None] = mapped_column(
        CheckConstraint("layers BETWEEN 1 AND 100", name="layers_in_range")
    )
    alloy: Mapped[str] = mapped_column(String(64))
    finish: Mapped[str] = mapped_column(String(64))
    notes: Mapped[str] = mapped_column(String(4000))
    created_at: Mapped[datetime]
    # Set once, with the layout; a corrected file makes a new assembly revision.
    layout_at: Mapped[datetime | None]
    placement_sha256: Mapped[str | None] = mapped_column(ForeignKey("stored_files.sha256"))
    bill_sha256: Mapped[str | None] = mapped_column(ForeignKey("stored_files.sha256"))


class LayoutDraft(Versioned, Base):
    """A placement file and a bill on their way in: previewed, corrected, then taken or left."""

    __tablename__ = "layout_drafts"

    id: Mapped[int] = mapped_column(primary_key=True)
    assembly_id: Mapped[int] = mapped_column(ForeignKey("assemblies.id"), index=True)
    placement_name: Mapped[str | None] = mapped_column(String(120))
    placement_sha256: Mapped[str | None] = mapped_column(ForeignKey("stored_files.sha256"))
    placement_choices: Mapped[dict[str, Any]] = mapped_column(JSON)
    bill_name: Mapped[str | None] = mapped_column(String(120))
    bill_sha256: Mapped[str | None] = mapped_column(ForeignKey("stored_files.sha256"))
    bill_choices: Mapped[dict[str, Any]] = mapped_column(JSON)
    by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    at: Mapped[datetime]
    taken_at: Mapped[datetime | None]


class Placement(Base):
    """One designator of an assembly; a bill may name it without saying where it stands."""

    __tablename__ = "placements"
    __table_args__ = (
        UniqueConstraint("assembly_id", "designator"),
        CheckConstraint(
            "(x_mm IS NULL) = (y_mm IS NULL) AND (x_mm IS NULL) = (side IS NULL)",
            name="placed_wholly_or_not",
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    assembly_id: Mapped[int] = mapped_column(ForeignKey("assemblies.id"))
    designator: Mapped[str] = mapped_column(
        String(64), CheckConstraint("designator <> ''", name="designator_said")
    )
    part_id: Mapped[int | None] = mapped_column(ForeignKey("parts.id"), index=True)
    part_number: Mapped[str] = mapped_column(String(200))
    value: Mapped[str] = mapped_column(String(200))
    package: Mapped[str] = mapped_column(String(200))
    x_mm: Mapped[float | None]
    y_mm: Mapped[float | None]
    rotation_deg: Mapped[float | None]
    side: Mapped[Side | None] = mapped_column(
        CheckConstraint("side IN ('top', 'bottom')", name="side_known")
    )

    part: Mapped[Part | None] = relationship(lazy="raise_on_sql")
    assembly: Mapped[Assembly] = relationship(lazy="raise_on_sql")


class Board(Versioned, Base):
    """One board; its serial is opaque text."""

    __tablename__ = "boards"
    __table_args__ = (UniqueConstraint("assembly_id", "serial"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    assembly_id: Mapped[int] = mapped_column(ForeignKey("assemblies.id"))
    serial: Mapped[str] = mapped_column(
        String(80), CheckConstraint("serial <> ''", name="serial_said"), index=True
    )
    note: Mapped[str] = mapped_column(String(4000))
    registered_at: Mapped[datetime]
    registered_by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    scrapped_at: Mapped[datetime | None]

    assembly: Mapped[Assembly] = relationship(lazy="raise_on_sql")


class Site(Base):
    """One reference designator on one board: where the heat goes."""

    __tablename__ = "sites"
    __table_args__ = (UniqueConstraint("board_id", "placement_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    board_id: Mapped[int] = mapped_column(ForeignKey("boards.id"))
    placement_id: Mapped[int] = mapped_column(ForeignKey("placements.id"), index=True)

    board: Mapped[Board] = relationship(lazy="raise_on_sql")
    placement: Mapped[Placement] = relationship(lazy="raise_on_sql")
