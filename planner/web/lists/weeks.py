"""The organiser's page: the pool of approved cases, narrowed as asked, and the lists of the coming weeks."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from planner.documents.figures import day as day_words
from planner.lists.roster.shapes import Session
from planner.records.rows import CaseNow
from planner.web.approvals.standing import enter_lapses
from planner.web.lists.judged import State, has_sessions, needed_at_once, session_path, state_of
from planner.web.lists.pool import narrowed, offered, pool
from planner.web.lists.warnings import warnings
from planner.web.security.authorisation import Building
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.wording.words import percent

router = APIRouter()
Choice = Annotated[str, Query(max_length=60)]
WEEKS = 6


@router.get("/lists")
def lists(
    request: Request,
    visitor: Building,
    tier: Choice = "",
    stage: Choice = "",
    anaesthesia: Choice = "",
    kit: Choice = "",
    urgency: Choice = "",
    consent: Choice = "",
) -> Response:
    site = site_of(request)
    enter_lapses(site)
    every = pool(site)
    wanted = {
        "tier": tier, "stage": stage, "anaesthesia": anaesthesia, "kit": kit, "urgency": urgency, "consent": consent,
    }  # fmt: skip
    state = state_of(site) if has_sessions(site) else None
    return page(
        request, "lists.html", sessions=_sessions(state) if state else [], seen=state.seen if state else "",
        at_once=needed_at_once(state, visitor.code) if state else [],
        elsewhere=state.held.elsewhere if state else (),
        every=every, cases=narrowed(every, wanted), wanted=wanted, offered=offered(every),
        days=_coming(site), narrows=any(wanted.values()),
    )  # fmt: skip


@dataclass(frozen=True)
class Row:
    """A session in one line."""

    session: Session
    day: str
    path: str
    cases: int
    minutes: str
    chance: str
    verdict: str
    look: bool
    published: str


def _sessions(state: State) -> list[Row]:
    found = []
    for session in state.sessions:
        cases, broken, asked = len(state.week.list_of(session.id)), state.broken(session.id), state.asked(session.id)
        told = [f"{len(broken)} rule{'s' if broken[1:] else ''} broken"] if broken else []
        told += [f"{len(asked)} to ask"] if asked else []
        past = sum(one.session == session.id for one in state.verdict.breaches)
        told += [f"{past} past its date" if past == 1 else f"{past} past their date"] if past else []
        found.append(
            Row(
                session, f"{session.day:%a} {day_words(session.day)}", session_path(session.id), cases,
                f"{state.week.expected_minutes(session.id):.0f} of {session.minutes}",
                percent(state.week.chance_of_overrun(session.id)) if cases else "",
                ", ".join(told) or ("every rule kept" if cases else "free"), bool(broken),
                state.standing(session.id).words if cases or session.id in state.versions else "",
            )
        )  # fmt: skip
    return found


def _coming(site: Site) -> list[dict[str, object]]:
    """The days that have lists, each with its theatres, and how many doubts there are."""
    first = site.day_here()
    held = site.store.lists(first, first + datetime.timedelta(weeks=WEEKS))
    people = {person.code: person for person in site.store.people()}
    days: dict[datetime.date, dict[str, list[CaseNow]]] = {}
    for now in held:
        if now.allocation is not None:
            days.setdefault(now.allocation.day, {}).setdefault(now.allocation.theatre, []).append(now)
    return [
        {
            "path": f"/lists/{day}", "words": f"{day:%A} {day_words(day)}", "theatres": list(theatres.items()),
            "doubts": sum(
                len(warnings(site, now, [n for cases in theatres.values() for n in cases], people))
                for cases in theatres.values() for now in cases
            ),
        }
        for day, theatres in days.items()
    ]  # fmt: skip
