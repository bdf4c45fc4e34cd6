"""What guards every answer and every request, whatever the page: headers, and a limit on what is sent in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Other hosts learn nothing; `no-referrer` would hide from us, too, where a form came from.
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=(), display-capture=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Embedder-Policy": "require-corp",
    "Cache-Control": "no-store",
}
# Two years, for a server reached over https only.
STRICT_TRANSPORT = "max-age=63072000"


def guard(headers: MutableHeaders, secure: bool) -> None:
    """Set every header that a page has not set for itself."""
    for name, value in HEADERS.items():
        headers.setdefault(name, value)
    if secure:
        headers.setdefault("Strict-Transport-Security", STRICT_TRANSPORT)


@dataclass(frozen=True)
class SecurityHeadersMiddleware:
    """Puts the headers on every answer, and stops reading a request that is larger than it may be (413).

    `larger` names the paths that may be sent more, and how much.
    """

    app: ASGIApp
    largest: int
    secure: bool
    larger: Mapping[str, int]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        length = Headers(scope=scope).get("content-length", "0")
        largest = self.larger.get(scope["path"], self.largest)
        too_large = not length.isdecimal() or int(length) > largest
        read = 0

        async def limited() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if too_large or read > largest:
                raise HTTPException(413)
            return message

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                guard(MutableHeaders(scope=message), self.secure)
            await send(message)

        await self.app(scope, limited, guarded)
