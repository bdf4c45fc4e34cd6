"""What every page of one server shares."""

from __future__ import annotations

import asyncio
import datetime
from dataclasses import dataclass, field

from starlette.requests import Request

from planner.desk.desk import Desk
from planner.documents.printing.queue import PrintQueue
from planner.errors import PlannerError
from planner.records.rows import Person
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit
from planner.web.security.passwords import Passwords
from planner.web.security.sessions import SignInSessions
from planner.web.security.throttle import Throttle
from planner.web.server.settings import Settings
from planner.web.server.tickets import Tickets

LONGEST_CODE = 60


@dataclass(frozen=True)
class Site:
    """`desk` is the way to everything that is decided, placed or printed."""

    desk: Desk
    settings: Settings
    sessions: SignInSessions
    throttle: Throttle
    passwords: Passwords
    prints: PrintQueue
    tickets: Tickets = field(default_factory=Tickets)
    # One print is planned at a time: many at once would share the one processor that pages have.
    ordering: asyncio.Lock = field(default_factory=asyncio.Lock)

    @property
    def store(self) -> Store:
        return self.desk.store

    @property
    def rulebook(self) -> Rulebook:
        return self.desk.rulebook

    @property
    def unit(self) -> Unit | None:
        return self.desk.unit

    def day_here(self) -> datetime.date:
        """The day by the unit's clock."""
        return self.desk.day_here()


def site_of(request: Request) -> Site:
    site = request.app.state.site
    assert isinstance(site, Site)
    return site


def active_person(store: Store, code: str) -> Person | None:
    """Whoever has this code and may still sign in, None for anybody else or what is no code."""
    if not code or len(code) > LONGEST_CODE or not code.isprintable():
        return None
    try:
        person = store.person(code)
    except PlannerError:
        return None
    return person if person.active else None
