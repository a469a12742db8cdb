"""Creations that may be sent twice: the same `Idempotency-Key` gives the same answer."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from http import HTTPStatus
from typing import Annotated, ClassVar, Final

from fastapi import Depends, Header, Request
from fastapi.responses import Response
from pydantic import BaseModel
from sqlalchemy import String, UniqueConstraint, select, text
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.core.conditional import spell_etag
from app.core.db import Base
from app.core.refusals import Unacceptable
from app.core.request import Now, RequestBody

# Any fixed number will do; it names the keys among PostgreSQL's advisory locks.
KEYS_LOCK: Final = 0x4B657973
_TAKE_TURN: Final = text("SELECT pg_advisory_xact_lock(:of_keys, :key)")

IdempotencyKey = Annotated[
    str | None,
    Header(
        min_length=1,
        max_length=100,
        pattern=r"^[!-~]+$",
        description="Any text of your own; the same key with the same body answers the same.",
    ),
]


class KeyUsedForAnother(Unacceptable):
    """The key came before with another body or to another address."""

    code = "core.idempotency_key_used"


class KeptAnswer(Base):
    """An answer kept for its key."""

    __tablename__ = "kept_answers"
    audited: ClassVar[bool] = False
    __table_args__ = (UniqueConstraint("account_id", "key"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int]
    key: Mapped[str] = mapped_column(String(100))
    fingerprint: Mapped[str] = mapped_column(String(64))
    status: Mapped[int]
    etag: Mapped[str | None] = mapped_column(String(40))
    body: Mapped[bytes]
    at: Mapped[datetime] = mapped_column(index=True)


@dataclass(frozen=True)
class Once:
    """The key of this request, what it was sent with, and the moment."""

    key: str | None
    fingerprint: str
    now: datetime

    def answer(
        self,
        session: Session,
        account_id: int,
        create: Callable[[], BaseModel],
        *,
        status: HTTPStatus = HTTPStatus.CREATED,
    ) -> Response:
        """Create and answer, or give the answer that was kept for the key.

        KeyUsedForAnother when the key came before with other content.
        """
        if self.key is not None:
            self._wait_for_turn(session, account_id)
            kept = session.scalar(
                select(KeptAnswer).where(
                    KeptAnswer.account_id == account_id, KeptAnswer.key == self.key
                )
            )
            if kept is not None:
                return self._repeat(kept)
        made = create()
        body = made.model_dump_json().encode()
        version = getattr(made, "version", None)
        etag = spell_etag(version) if isinstance(version, int) else None
        if self.key is not None:
            session.add(
                KeptAnswer(
                    account_id=account_id,
                    key=self.key,
                    fingerprint=self.fingerprint,
                    status=int(status),
                    etag=etag,
                    body=body,
                    at=self.now,
                )
            )
        answer = _spell(body, status, etag)
        # Here and not when the route has returned: this thread is at hand, and another turn of one
        # would take as long as the commit itself.
        session.commit()
        return answer

    def _wait_for_turn(self, session: Session, account_id: int) -> None:
        # The same request sent twice at once: the second finds what the first one answered.
        if session.get_bind().dialect.name == "postgresql":
            named = sha256(f"{account_id} {self.key}".encode()).digest()
            number = int.from_bytes(named[:4], signed=True)
            session.execute(_TAKE_TURN, {"of_keys": KEYS_LOCK, "key": number})

    def _repeat(self, kept: KeptAnswer) -> Response:
        if kept.fingerprint != self.fingerprint:
            raise KeyUsedForAnother(
                "This Idempotency-Key came before with other content; choose a new one.",
                field="Idempotency-Key",
            )
        answer = _spell(kept.body, HTTPStatus(kept.status), kept.etag)
        answer.headers["Idempotency-Replayed"] = "true"
        return answer


def _spell(body: bytes, status: HTTPStatus, etag: str | None) -> Response:
    answer = Response(body, status_code=int(status), media_type="application/json")
    if etag is not None:
        answer.headers["ETag"] = etag
    return answer


async def get_once(
    request: Request, body: RequestBody, now: Now, idempotency_key: IdempotencyKey = None
) -> Once:
    """Return the request's key with the fingerprint of its method, address and body."""
    content = body if isinstance(body, bytes) else b""
    told = f"{request.method} {request.url.path}?{request.url.query}\n".encode() + content
    return Once(idempotency_key, sha256(told).hexdigest(), now)


CreateOnce = Annotated[Once, Depends(get_once)]
