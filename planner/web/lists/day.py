"""One day's lists: what hangs in theatre, with its doubts beside it, and taking a case off again."""

from __future__ import annotations

import datetime
from typing import Annotated, NamedTuple

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.desk.doubts import doubts
from planner.desk.plan_in_force import shown_plan
from planner.documents.figures import day as day_words
from planner.errors import PlannerError
from planner.plan.plan import Plan
from planner.readings import read_day
from planner.records.roles import BUILDERS
from planner.records.rows import CaseNow
from planner.web.security.authorisation import Building, Reading, Visitor
from planner.web.server.forms import Form, Text, up_to
from planner.web.server.presenting import page
from planner.web.server.site import site_of

router = APIRouter()
LONGEST = 300


class TakeOffForm(Form):
    allocation: str = ""
    why: Annotated[Text, up_to(LONGEST, f"The reason has more than {LONGEST} letters.")] = ""


class DayRow(NamedTuple):
    """A case in its place. `plan` is the one in force, None where the case cannot be planned."""

    now: CaseNow
    plan: Plan | None
    tier: str
    barred: bool
    doubts: tuple[str, ...]


@router.get("/lists/{day}")
def show(request: Request, visitor: Reading, day: str) -> Response:
    return _page(request, visitor, _day(day))


@router.post("/lists/{day}/take-off")
def take_off(
    request: Request, visitor: Building, form: Annotated[TakeOffForm, Depends(TakeOffForm.read)], day: str
) -> Response:
    """Take a case off its list, with a reason that its people hear."""
    store, wanted = site_of(request).store, _day(day)
    here = {str(now.allocation.id): now.allocation for now in store.list_of(wanted) if now.allocation}
    if (at := here.get(form.allocation)) is None:
        return _page(request, visitor, wanted, ("It is not in that place any more. Nothing was changed.",), 409)
    if form.wrong:
        return _page(request, visitor, wanted, tuple(form.wrong.values()), 422)
    try:
        store.unallocate(at.id, form.why, visitor.code)
    except PlannerError as error:
        return _page(request, visitor, wanted, tuple(map(str, error.faults)), 422)
    return RedirectResponse(f"/lists/{wanted}", 303)


def _day(text: str) -> datetime.date:
    day = read_day(text)
    if day is None or not 2000 <= day.year <= 2200:
        raise HTTPException(404)
    return day


def _page(
    request: Request, visitor: Visitor, day: datetime.date, faults: tuple[str, ...] = (), status: int = 200
) -> Response:
    site = site_of(request)
    held = site.store.list_of(day)
    people = {person.code: person for person in site.store.people()}
    theatres: dict[str, list[DayRow]] = {}
    for now in held:
        if now.allocation is not None:
            planned = site.desk.plans.planned(now.version).plan
            plan, barred = shown_plan(site.desk, now) if planned else (None, ())
            tier = f"{plan.assessment.tier.working}, not approved" if plan else ""
            if plan and plan.approval:
                tier = str(plan.approval.tier_approved)
            row = DayRow(now, plan, tier, bool(barred), doubts(site.desk, now, held, people))
            theatres.setdefault(now.allocation.theatre, []).append(row)
    return page(
        request, "list_day.html", status,
        day=day, words=f"{day:%A} {day_words(day)}", theatres=theatres, faults=faults, longest=LONGEST,
        may_build=visitor.role in BUILDERS, unit=site.unit.unit if site.unit else "",
        before=day - datetime.timedelta(1), after=day + datetime.timedelta(1),
        written_at=site.settings.clock().isoformat(), count=len(held),
    )  # fmt: skip
