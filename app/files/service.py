"""Keeps files."""

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

import zstandard
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.files.tables import StoredFile


@dataclass(frozen=True)
class PackedFile:
    """A file's content made ready to be kept."""

    sha256: str
    size: int
    content_zstd: bytes


def pack_file(content: bytes) -> PackedFile:
    """Compress a file's content and name it, which needs no database."""
    packed = zstandard.ZstdCompressor(level=9).compress(content)
    return PackedFile(sha256(content).hexdigest(), len(content), packed)


def keep_file(session: Session, content: bytes, *, by_id: int, now: datetime) -> str:
    """Keep a file's content, once however often it comes, and return its SHA-256.

    The caller's own audit entry names the digest.
    """
    digest = sha256(content).hexdigest()
    if session.get(StoredFile, digest) is None:
        keep_packed(session, pack_file(content), by_id=by_id, now=now)
    return digest


def keep_packed(session: Session, packed: PackedFile, *, by_id: int, now: datetime) -> str:
    """Keep a file that was packed before, as keep_file does."""
    if session.get(StoredFile, packed.sha256) is None:
        kept = StoredFile(
            sha256=packed.sha256,
            size=packed.size,
            content_zstd=packed.content_zstd,
            by_id=by_id,
            at=now,
        )
        try:
            with session.begin_nested():
                session.add(kept)
        except IntegrityError:
            # Somebody else kept the same content at the same moment; any other fault stays one.
            if session.get(StoredFile, packed.sha256) is None:
                raise
    return packed.sha256
