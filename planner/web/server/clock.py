"""Every request is answered by the unit's clock, so that no page tells the hour of the machine it runs on."""

from __future__ import annotations

import datetime

from starlette.types import ASGIApp, Receive, Scope, Send

from planner.local_time import in_zone


class UnitClockMiddleware:
    """Sets the zone for whatever answers a request; threads that answer for it inherit it."""

    def __init__(self, app: ASGIApp, zone: datetime.tzinfo | None) -> None:
        self.app = app
        self.zone = zone

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        with in_zone(self.zone):
            await self.app(scope, receive, send)
