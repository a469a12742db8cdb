"""Answers HEAD as it would answer GET, without the body."""

from starlette.types import ASGIApp, Message, Receive, Scope, Send


class HeadAsGet:
    """Hands HEAD on as GET and keeps the body back; the lengths and headers are GET's own."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass everything else on as it is."""
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def send_without_body(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET"}, receive, send_without_body)
