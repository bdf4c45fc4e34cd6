"""The organiser's page: the pool of approved cases, narrowed as asked, and the lists of the coming weeks."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from planner.desk.approving import enter_lapses
from planner.desk.doubts import doubts
from planner.desk.lists import ListsNow, lists_now
from planner.documents.figures import day as day_words
from planner.lists.roster.shapes import Session
from planner.records.rows import CaseNow
from planner.web.lists.pool import Narrowing, narrowed, offered, pool
from planner.web.lists.shown import needed_at_once
from planner.web.security.authorisation import Building
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of

router = APIRouter()
WEEKS = 6


@router.get("/lists")
def lists(request: Request, visitor: Building, wanted: Annotated[Narrowing, Query()]) -> Response:
    site = site_of(request)
    enter_lapses(site.desk)
    every, now = pool(site), lists_now(site.desk)
    return page(
        request, "lists.html", now=now, at_once=needed_at_once(now, visitor.code) if now else [],
        verdicts=[(session, _verdict(now, session)) for session in now.sessions] if now else [],
        every=every, cases=narrowed(every, wanted), wanted=wanted, offered=offered(every), days=_coming(site),
        narrows=any(value for _, value in wanted),
    )  # fmt: skip


def _verdict(now: ListsNow, session: Session) -> str:
    """What the checker has to say of a session's list, in short."""
    cases, broken, asked = now.week.list_of(session.id), now.broken(session.id), now.asked(session.id)
    told = [f"{len(broken)} rule{'s' if broken[1:] else ''} broken"] if broken else []
    told += [f"{len(asked)} to ask"] if asked else []
    past = sum(one.session == session.id for one in now.verdict.breaches)
    told += [f"{past} past its date" if past == 1 else f"{past} past their date"] if past else []
    return ", ".join(told) or ("every rule kept" if cases else "free")


def _coming(site: Site) -> list[dict[str, object]]:
    """The days that have lists, each with its theatres, and how many doubts there are."""
    first = site.day_here()
    held = site.store.lists(first, first + datetime.timedelta(weeks=WEEKS))
    people = {person.code: person for person in site.store.people()}
    days: dict[datetime.date, dict[str, list[CaseNow]]] = {}
    for case in held:
        if case.allocation is not None:
            days.setdefault(case.allocation.day, {}).setdefault(case.allocation.theatre, []).append(case)
    return [
        {
            "path": f"/lists/{day}", "words": f"{day:%A} {day_words(day)}", "theatres": list(theatres.items()),
            "doubts": sum(
                len(doubts(site.desk, now, [n for cases in theatres.values() for n in cases], people))
                for cases in theatres.values() for now in cases
            ),
        }
        for day, theatres in days.items()
    ]  # fmt: skip
