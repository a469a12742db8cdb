"""Reads kept files."""

from hashlib import sha256

import zstandard
from sqlalchemy.orm import Session

from app.core.refusals import Conflict, Unknown
from app.files.tables import StoredFile


class FileUnknown(Unknown):
    """No file with this SHA-256 is kept."""

    code = "files.unknown"


class FileDamaged(Conflict):
    """A kept file no longer has the content it was kept under."""

    code = "files.damaged"


def get_content(session: Session, digest: str) -> bytes:
    """Return a kept file's bytes as they came; FileUnknown or FileDamaged when that cannot be."""
    row = session.get(StoredFile, digest)
    if row is None:
        raise FileUnknown("No file with this SHA-256 is kept here.")
    return unpack_content(row)


def unpack_content(row: StoredFile) -> bytes:
    """Return the bytes of a row; FileDamaged when they are not what the row's name says."""
    try:
        content = zstandard.ZstdDecompressor().decompress(row.content_zstd, row.size)
    except zstandard.ZstdError:
        content = b""
    if len(content) != row.size or sha256(content).hexdigest() != row.sha256:
        raise FileDamaged(f"The kept file {row.sha256[:12]}… was changed in the database.")
    return content
