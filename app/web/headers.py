"""Sends the security headers with every answer."""

from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

# plotly's bundle brings a sheet for maps, which no page here draws; allowed by its hash alone, so
# that a console without a message stays a sign of a sound page. The browser's tests hold it.
PLOTLY_MAP_SHEET: Final = "'sha256-ji27qzEtxXZW+7dun6UwjHXJ18e6WAin1VvNtkzIE/o='"

CONTENT_SECURITY_POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        f"style-src 'self' {PLOTLY_MAP_SHEET}",
        "img-src 'self' data: blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)

HEADERS: Final = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


def add_security_headers(headers: MutableHeaders, *, scheme: str) -> None:
    """Add the headers of every answer; HSTS only where the plant speaks https."""
    for name, value in HEADERS.items():
        headers[name] = value
    if scheme == "https":
        headers["Strict-Transport-Security"] = "max-age=31536000"
    if "cache-control" not in headers:
        headers["Cache-Control"] = "no-store"


class SecurityHeaders:
    """Wraps the app; nothing inline and nothing foreign may run in a page."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on and add the headers to what comes back."""

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                add_security_headers(MutableHeaders(scope=message), scheme=scope["scheme"])
            await send(message)

        await self.app(scope, receive, send_with_headers)
