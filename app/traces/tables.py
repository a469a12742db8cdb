"""The table of traces; rows are only ever added."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, deferred, mapped_column

from app.core.db import Base


class Trace(Base):
    """Temperatures of all channels against time, as recorded; the file they came from is kept.

    `channels` lists, in the order of the samples' columns: name, role, designator, unit, header
    and column number. `reading` says how the file was read. Samples are packed losslessly in the
    file's own digits and unit.
    """

    __tablename__ = "traces"

    id: Mapped[int] = mapped_column(primary_key=True)
    file_sha256: Mapped[str] = mapped_column(ForeignKey("stored_files.sha256"), index=True)
    file_name: Mapped[str] = mapped_column(String(120))
    reading: Mapped[dict[str, Any]] = mapped_column(JSON)
    channels: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    started_at: Mapped[datetime | None]
    rows: Mapped[int] = mapped_column(CheckConstraint("rows >= 2", name="rows_at_least_two"))
    duration_s: Mapped[float] = mapped_column(
        CheckConstraint("duration_s > 0", name="duration_positive")
    )
    samples: Mapped[bytes] = deferred(mapped_column(LargeBinary))
    samples_sha256: Mapped[str] = mapped_column(
        String(64), CheckConstraint("length(samples_sha256) = 64", name="samples_sha256_whole")
    )
    by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    at: Mapped[datetime]
