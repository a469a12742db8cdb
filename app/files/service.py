"""Keeps files."""

from datetime import datetime
from hashlib import sha256

import zstandard
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.files.tables import StoredFile


def keep_file(session: Session, content: bytes, *, by_id: int, now: datetime) -> str:
    """Keep a file's content, once however often it comes, and return its SHA-256.

    The caller's own audit entry names the digest.
    """
    digest = sha256(content).hexdigest()
    if session.get(StoredFile, digest) is None:
        packed = zstandard.ZstdCompressor(level=9).compress(content)
        kept = StoredFile(
            sha256=digest, size=len(content), content_zstd=packed, by_id=by_id, at=now
        )
        try:
            with session.begin_nested():
                session.add(kept)
        except IntegrityError:
            # Somebody else kept the same content at the same moment; any other fault stays one.
            if session.get(StoredFile, digest) is None:
                raise
    return digest
