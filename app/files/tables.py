"""The table of kept files; rows are only ever added."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from app.core.db import Base


class StoredFile(Base):
    """A file's content, once, compressed with zstd; whoever uses it keeps the name it came by."""

    __tablename__ = "stored_files"

    sha256: Mapped[str] = mapped_column(
        String(64), CheckConstraint("length(sha256) = 64", name="sha256_whole"), primary_key=True
    )
    size: Mapped[int] = mapped_column(CheckConstraint("size >= 0", name="size_not_negative"))
    content_zstd: Mapped[bytes] = mapped_column(LargeBinary)
    by_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    at: Mapped[datetime]
