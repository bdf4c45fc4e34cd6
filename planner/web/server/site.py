"""What every page of one server shares, and the look-up of a case, of the lists and of a session by an address."""

from __future__ import annotations

import asyncio
import datetime
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Annotated, NamedTuple
from urllib.parse import quote

from fastapi import Depends, HTTPException, Request
from starlette.convertors import StringConvertor, register_url_convertor

from planner.desk.desk import Desk
from planner.desk.lists import ListsNow, lists_now
from planner.documents.printing.queue import PrintJob, PrintQueue
from planner.errors import PlannerError
from planner.lists.roster.shapes import Session
from planner.records.rows import CaseNow, Person, StoredCase
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit
from planner.web.security.passwords import Passwords
from planner.web.security.sessions import SignInSessions, Throttle
from planner.web.server.settings import Settings

LONGEST_CODE = 60


class OrderedPrint(NamedTuple):
    """A print that somebody ordered, and the name of the file it becomes."""

    job: PrintJob
    name: str


@dataclass(frozen=True)
class Site:
    """`desk` is the way to everything that is decided, placed or printed."""

    desk: Desk
    store: Store
    rulebook: Rulebook
    unit: Unit | None
    settings: Settings
    sessions: SignInSessions
    throttle: Throttle
    passwords: Passwords
    prints: PrintQueue
    # By ticket, person and address: what brings the waiting page of a print back to it, and is good for that once.
    tickets: OrderedDict[tuple[str, str, str], OrderedPrint] = field(default_factory=OrderedDict)
    # One print is planned at a time: many at once would share the one processor that pages have.
    ordering: asyncio.Lock = field(default_factory=asyncio.Lock)

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


class EyeConvertor(StringConvertor):
    """The side of an eye in an address; a reference may hold a slash, and so takes the rest."""

    regex = "right|left"


register_url_convertor("eye", EyeConvertor())
CASE = "/cases/{reference:path}/{eye:eye}"
APPROVAL = "/approvals/{reference:path}/{eye:eye}"
LISTING = "/lists/place/{reference:path}/{eye:eye}"
SESSION = "/lists/session/{session}"


def case_path(case: StoredCase, page: str = "", under: str = "cases") -> str:
    """The address of a case, or of one of its pages."""
    return f"/{under}/{quote(case.reference, safe='')}/{case.eye}" + (f"/{page}" if page else "")


def approval_path(case: StoredCase) -> str:
    """Where a consultant decides on a case."""
    return case_path(case, under="approvals")


def list_path(case: StoredCase) -> str:
    """Where a case is given its place on a list."""
    return case_path(case, under="lists/place")


def session_path(session: str) -> str:
    """The address of a session's list."""
    return f"/lists/session/{quote(session, safe='')}"


def find(request: Request, reference: str, eye: str) -> StoredCase:
    """The case of an address; 404 where there is none."""
    case = site_of(request).store.find_case(reference, eye) if reference.isprintable() else None
    if case is None:
        raise HTTPException(404)
    return case


def case_now(request: Request, reference: str, eye: str) -> CaseNow:
    """The case of an address as it stands; 404 where there is none."""
    return site_of(request).store.case_now(find(request, reference, eye).id)


def lists_shown(request: Request) -> ListsNow:
    """The lists as they stand now; 404 where no roster is in force."""
    now = lists_now(site_of(request).desk)
    if now is None:
        raise HTTPException(404)
    return now


def session_named(lists: ListsNow, name: str) -> Session:
    """A session of the roster; 404 for any other."""
    if name not in lists.instance.sessions:
        raise HTTPException(404)
    return lists.instance.sessions[name]


# These stand after the route's form, so that nobody without its token learns which cases there are.
CaseAsked = Annotated[CaseNow, Depends(case_now)]
ListsAsked = Annotated[ListsNow, Depends(lists_shown)]
