"""The table of parts."""

from datetime import datetime

from sqlalchemy import CheckConstraint, String
from sqlalchemy.orm import Mapped, mapped_column

from app.core.db import Base, Versioned
from app.materials.rules import MoistureLevel, PackageType


class Part(Versioned, Base):
    """A part as its maker's sheet gives it; lengths in mm, temperatures in °C."""

    __tablename__ = "parts"

    id: Mapped[int] = mapped_column(primary_key=True)
    part_number: Mapped[str] = mapped_column(
        String(64), CheckConstraint("part_number <> ''", name="part_number_said"), unique=True
    )
    title: Mapped[str] = mapped_column(String(200))
    package_type: Mapped[PackageType] = mapped_column(
        CheckConstraint(
            "package_type IN ('BGA', 'CSP', 'QFN', 'LGA', 'other')", name="package_type_known"
        )
    )
    length_mm: Mapped[float | None] = mapped_column(
        CheckConstraint("length_mm > 0", name="length_positive")
    )
    width_mm: Mapped[float | None] = mapped_column(
        CheckConstraint("width_mm > 0", name="width_positive")
    )
    height_mm: Mapped[float | None] = mapped_column(
        CheckConstraint("height_mm > 0", name="height_positive")
    )
    pitch_mm: Mapped[float | None] = mapped_column(
        CheckConstraint("pitch_mm > 0", name="pitch_positive")
    )
    ball_alloy: Mapped[str | None] = mapped_column(String(64))
    moisture_level: Mapped[MoistureLevel | None] = mapped_column(
        CheckConstraint(
            "moisture_level IN ('1', '2', '2a', '3', '4', '5', '5a', '6')",
            name="moisture_level_known",
        )
    )
    classification_c: Mapped[float | None] = mapped_column(
        CheckConstraint("classification_c BETWEEN 100 AND 400", name="classification_in_range")
    )
    max_body_c: Mapped[float | None] = mapped_column(
        CheckConstraint("max_body_c BETWEEN 50 AND 400", name="max_body_in_range")
    )
    reflow_cycles_allowed: Mapped[int] = mapped_column(
        CheckConstraint("reflow_cycles_allowed BETWEEN 1 AND 20", name="reflow_cycles_in_range")
    )
    notes: Mapped[str] = mapped_column(String(4000))
    created_at: Mapped[datetime]
