"""Refuses bodies that are larger than the plant's limits, before they are read."""

from typing import Final

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.core.refusals import TooLarge
from app.core.settings import Settings
from app.web.problems import answer_refusal

# Forms without a file; JSON, by whatever name, is as small. All others may be uploads.
_SMALL_TYPES: Final = frozenset({"", "application/x-www-form-urlencoded"})
# No limit has as many, and a number of thousands of digits is not read at all.
MAX_DIGITS: Final = 15


class BodyTooLarge(TooLarge):
    """The body is over the limit for its kind."""

    code = "core.body_too_large"


class BodyLimits:
    """Counts what arrives; files may be larger than forms and JSON."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer 413 as soon as the stated or the counted length is over the limit."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        limit = self._get_limit(request.headers.get("content-type", ""))
        stated = request.headers.get("content-length", "")
        if stated.isdecimal() and (len(stated) > MAX_DIGITS or int(stated) > limit):
            await answer_refusal(request, self._refuse(limit))(scope, receive, send)
            return
        counted = 0

        async def receive_counted() -> Message:
            nonlocal counted
            message = await receive()
            counted += len(message.get("body", b""))
            if counted > limit:
                raise self._refuse(limit)
            return message

        await self.app(scope, receive_counted, send)

    def _get_limit(self, content_type: str) -> int:
        kind = content_type.partition(";")[0].strip().lower()
        if kind in _SMALL_TYPES or kind.endswith("json"):
            return self.settings.body_limit_kb * 1024
        return self.settings.upload_limit_mb * 1024 * 1024

    @staticmethod
    def _refuse(limit: int) -> BodyTooLarge:
        return BodyTooLarge(f"The body may hold at most {limit:,} bytes.", field="body")
