"""Every request is answered by the unit's clock and in the server's language, whatever the machine it runs on."""

from __future__ import annotations

import datetime

from starlette.types import ASGIApp, Receive, Scope, Send

from planner.local_time import in_zone
from planner.wording.language import speaking


class LocaleMiddleware:
    """Sets zone and language for whatever answers a request; threads that answer for it inherit both."""

    def __init__(self, app: ASGIApp, zone: datetime.tzinfo | None, language: str) -> None:
        self.app = app
        self.zone = zone
        self.language = language

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        with in_zone(self.zone), speaking(self.language):
            await self.app(scope, receive, send)
