"""Leave put in and taken off by its first and last day, without opening the person's form."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.lists.roster.entries import PEOPLE, no_new_fault
from planner.lists.roster.fields import days_between
from planner.readings import read_day
from planner.records.rows import RosterChange
from planner.web.roster.judged import affected, changeable, unit_of
from planner.web.security.authorisation import Keeping, Posted
from planner.web.server.presenting import page
from planner.web.server.site import site_of

router = APIRouter()


@router.post("/roster/leave/change")
def change(request: Request, visitor: Keeping, form: Posted) -> Response:
    """Add the days, or take them off; who has placings on them is shown before they are added."""
    site = site_of(request)
    held = changeable(site)
    who, act = str(form.get("who", "")), str(form.get("act", ""))
    first, last = str(form.get("first", "")).strip(), str(form.get("last", "")).strip()
    person = next((one for kind in PEOPLE for one in held.of(kind) if one.key == who), None)
    if act not in ("add", "off"):
        raise HTTPException(404)
    loses: list[str] = []
    faults: tuple[str, ...] = ()
    try:
        begin, end = read_day(first), read_day(last or first)
        if person is None:
            raise PlannerError.one("nobody is chosen", hint="somebody of the roster")
        if begin is None or end is None:
            raise PlannerError.one("a day is missing, or is none", hint="write it like 2026-12-01")
        days = {day.isoformat() for day in days_between(begin, end)}
        kept = [str(day) for day in person.document.get("leave", [])]
        leave = sorted({*kept} | days if act == "add" else {*kept} - days)
        document = {name: value for name, value in person.document.items() if name != "leave"}
        changes = [RosterChange(person.kind, who, person.number, document | ({"leave": leave} if leave else {}))]
        loses = affected(site, held, changes)
        if not loses or form.get("sure") == "yes":
            check = no_new_fault(unit_of(site), site.rulebook)
            site.store.change_roster(changes, visitor.code, str(form.get("note", ""))[:200], check)
            return RedirectResponse("/roster/leave", 303)
    except ValueError as error:
        faults = (str(error),)
    except PlannerError as error:
        faults = tuple(map(str, error.faults))
    return page(
        request, "roster_leave.html", 422 if faults else 200,
        who=who[:200], first=first[:10], last=(last or first)[:10], faults=faults, loses=loses,
    )  # fmt: skip
