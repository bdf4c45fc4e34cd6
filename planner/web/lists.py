"""The organiser's page: the pool of approved cases, narrowed as asked, and the lists of the coming weeks."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import Response

from planner.documents.figures import day as day_words
from planner.records.rows import CaseNow
from planner.web.approval import enter_lapses, today
from planner.web.door import Door, Visitor
from planner.web.lists_pool import narrowed, offered, pool
from planner.web.lists_warnings import warnings
from planner.web.presenting import page
from planner.web.site import Site, site_of

router = APIRouter()
Building = Annotated[Visitor, Depends(Door("organiser", "consultant"))]
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
    return page(
        request, "lists.html", every=every, cases=narrowed(every, wanted), wanted=wanted, offered=offered(every),
        days=_coming(site), narrows=any(wanted.values()),
    )  # fmt: skip


def _coming(site: Site) -> list[dict[str, object]]:
    """The days that have lists, each with its theatres, and how many doubts there are."""
    first = today(site)
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
