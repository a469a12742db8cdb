"""Keeps files."""

from datetime import datetime
from hashlib import sha256

import zstandard
from sqlalchemy.orm import Session

from app.files.tables import StoredFile


def keep_file(session: Session, content: bytes, *, by_id: int, now: datetime) -> str:
    """Keep a file's content, once however often it comes, and return its SHA-256.

    The caller's own audit entry names the digest.
    """
    digest = sha256(content).hexdigest()
    if session.get(StoredFile, digest) is None:
        packed = zstandard.ZstdCompressor(level=9).compress(content)
        session.add(
            StoredFile(sha256=digest, size=len(content), content_zstd=packed, by_id=by_id, at=now)
        )
        session.flush()
    return digest
