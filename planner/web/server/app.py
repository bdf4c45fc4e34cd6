"""`make_app(desk, settings)`: the pages put together into one application."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Receive, Scope, Send

from planner.desk.desk import Desk
from planner.documents.printing.fonts import fonts_folder
from planner.documents.printing.queue import PrintQueue
from planner.local_time import in_zone
from planner.shipped import templates_folder
from planner.web.approvals import case, decide
from planner.web.cases import form, plan, table
from planner.web.lists import change, day, printing, propose, session, weeks
from planner.web.roster import entry, import_rows, pages
from planner.web.security import sign_in
from planner.web.security.authorisation import check_authorisation, posted, posted_with_file
from planner.web.security.passwords import Passwords
from planner.web.security.security_headers import SecurityHeadersMiddleware
from planner.web.security.sessions import SignInSessions, Throttle
from planner.web.server.problems import handle_problems
from planner.web.server.settings import Settings
from planner.web.server.site import Site

# Asked again each time, and answered in a line when nothing changed: a page never stands on an older script.
ASKED_AGAIN = "no-cache"
# Letters never change, and a page that has them at once does not move when they come.
A_MONTH = "public, max-age=2592000"


class CachedStaticFiles(StaticFiles):
    """The files of `directory`, each with `kept` as its Cache-Control."""

    def __init__(self, directory: Path, kept: str) -> None:
        super().__init__(directory=directory)
        self.kept = kept

    def file_response(self, *args: Any, **options: Any) -> Response:
        response = super().file_response(*args, **options)
        response.headers["Cache-Control"] = self.kept
        return response


@dataclass(frozen=True)
class ZoneMiddleware:
    """Sets the zone for whatever answers a request; threads that answer for it inherit it."""

    app: ASGIApp
    zone: datetime.tzinfo | None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        with in_zone(self.zone):
            await self.app(scope, receive, send)


# One module a page.
# The fixed addresses before those that hold a reference.
PAGES = (
    *(sign_in, table, plan, form),
    *(decide, case),
    *(weeks, change, propose, session, printing, day),
    *(import_rows, entry, pages),
)


def make_app(
    desk: Desk, settings: Settings | None = None, passwords: Passwords | None = None, prints: PrintQueue | None = None
) -> FastAPI:
    """The application over an open store; by the roster in force at the desk it judges and proposes lists.

    Whoever gives `prints` ends them; else their processes end with this one.
    Raises RuntimeError when a route does not say who may use it.
    """
    settings = settings or Settings()
    sessions, throttle = SignInSessions(desk.store, settings), Throttle(desk.store, settings)
    app = FastAPI(title=desk.rulebook.header.title, openapi_url=None, docs_url=None, redoc_url=None)
    app.state.site = Site(
        *(desk, desk.store, desk.rulebook, desk.unit), settings, sessions, throttle, passwords or Passwords(),
        prints or PrintQueue(),
    )  # fmt: skip
    for module in PAGES:
        # Not `include_router`, which hides the routes inside: each must be seen to name its roles.
        app.router.routes.extend(module.router.routes)
    app.mount("/static/fonts", CachedStaticFiles(fonts_folder(), A_MONTH), "fonts")
    app.mount("/static", CachedStaticFiles(templates_folder() / "web" / "static", ASKED_AGAIN), "static")
    handle_problems(app)
    app.add_middleware(
        SecurityHeadersMiddleware,
        largest=settings.largest_request,
        secure=settings.secure_cookies,
        larger=dict.fromkeys(import_rows.TAKES_FILES, settings.largest_file),
    )
    app.add_middleware(ZoneMiddleware, zone=desk.unit.clock if desk.unit is not None else None)
    check_authorisation(app, (posted, posted_with_file, sign_in.posted_at_sign_in))
    return app
