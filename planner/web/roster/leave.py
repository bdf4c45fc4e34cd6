"""Leave put in and taken off by its first and last day, without opening the person's form."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.lists.roster.entries import PEOPLE, no_new_fault
from planner.lists.roster.fields import days_between
from planner.readings import read_day
from planner.records.rows import RosterChange
from planner.web.roster.judged import RosterShown, affected, changeable, unit_of
from planner.web.security.authorisation import Keeping
from planner.web.server.forms import Form, Text, Ticked, cut
from planner.web.server.presenting import page
from planner.web.server.site import site_of

router = APIRouter()


class LeaveForm(Form):
    """Days (`last` left out: one) to add to or take off leave; `sure` once the placings on them were seen."""

    who: str = ""
    act: Literal["add", "off", ""] = ""
    first: Text = ""
    last: Text = ""
    sure: Ticked = False
    note: Annotated[str, cut(200)] = ""


@router.post("/roster/leave/change")
def change(request: Request, visitor: Keeping, form: Annotated[LeaveForm, Depends(LeaveForm.read)]) -> Response:
    """Add the days, or take them off; who has placings on them is shown before they are added."""
    site = site_of(request)
    roster = changeable(site)
    if not form.act:
        raise HTTPException(404)
    loses: list[str] = []
    faults: tuple[str, ...] = ()
    try:
        changes = [_changed(roster, form)]
        loses = affected(site, roster, changes)
        if not loses or form.sure:
            check = no_new_fault(unit_of(site), site.rulebook)
            site.store.change_roster(changes, visitor.code, form.note, check)
            return RedirectResponse("/roster/leave", 303)
    except ValueError as error:
        faults = (str(error),)
    except PlannerError as error:
        faults = tuple(map(str, error.faults))
    return page(
        request, "roster_leave.html", 422 if faults else 200,
        who=form.who[:200], first=form.first[:10], last=(form.last or form.first)[:10], faults=faults, loses=loses,
    )  # fmt: skip


def _changed(roster: RosterShown, form: LeaveForm) -> RosterChange:
    """The person with other days of leave. Raises PlannerError, and ValueError for days that make no span."""
    begin, end = read_day(form.first), read_day(form.last or form.first)
    person = next((one for kind in PEOPLE for one in roster.of(kind) if one.key == form.who), None)
    if person is None:
        raise PlannerError.one("nobody is chosen", hint="somebody of the roster")
    if begin is None or end is None:
        raise PlannerError.one("a day is missing, or is none", hint="write it like 2026-12-01")
    days, kept = set(map(str, days_between(begin, end))), set(map(str, person.document.get("leave", [])))
    leave = sorted(kept | days if form.act == "add" else kept - days)
    document = {name: value for name, value in person.document.items() if name != "leave"}
    return RosterChange(person.kind, person.key, person.number, document | ({"leave": leave} if leave else {}))
