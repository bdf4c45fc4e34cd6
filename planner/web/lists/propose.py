"""Lists proposed by the matching: shown as changes with their reasons, entered only when somebody accepts them."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.lists import ListsNow
from planner.desk.proposing import accept as enter
from planner.desk.proposing import barred
from planner.desk.proposing import propose as match
from planner.errors import PlannerError
from planner.lists.changes.differences import ListChange, changes
from planner.lists.matching.match import NOT_PROVED, Matched
from planner.lists.matching.search import solver
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Placing
from planner.lists.week.lists_file import lists_in, written
from planner.lists.week.week import Week
from planner.web.lists.change import CHANGED, LONGEST
from planner.web.lists.shown import lists_shown
from planner.web.security.authorisation import Building
from planner.web.server.forms import Form, Text, Ticked, cut
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.wording.people import present
from planner.wording.words import day_words

router = APIRouter()
LONGER = 20.0  # seconds, about, that a search for the best takes
KINDS = {
    "new": "placed", "session": "moved", "people": "other people", "order": "other place", "off": "off",
    "approval": "approved again",
}  # fmt: skip
Way = Literal["round", "again"]


class ProposeForm(Form):
    way: Way = "round"
    longer: Ticked = False


class AcceptForm(Form):
    seen: str = ""
    proposal: str = ""
    why: Annotated[Text, cut(LONGEST)] = ""


@router.post("/lists/all/propose")
def propose(request: Request, visitor: Building, form: Annotated[ProposeForm, Depends(ProposeForm.read)]) -> Response:
    """Match `round` what stands, or match `again` everything that is not locked, with few changes.

    `longer` searches on with the solver for the best, or for how far from it the lists are.
    """
    lists, again = lists_shown(request), form.way == "again"
    if broken := barred(lists, again):
        return proposal_page(request, lists, form.way, broken=broken)
    try:
        return proposal_page(request, lists, form.way, match(lists, again, LONGER if form.longer else None))
    except PlannerError as error:
        return proposal_page(request, lists, form.way, faults=tuple(map(str, error.faults)), status=503)


@router.post("/lists/all/accept")
def accept(request: Request, visitor: Building, form: Annotated[AcceptForm, Depends(AcceptForm.read)]) -> Response:
    """Enter a proposal, if the lists are still those that it was made from and it still keeps every rule."""
    lists = lists_shown(request)
    if form.seen != lists.seen:
        return proposal_page(request, lists, faults=(CHANGED,), status=409)
    try:
        proposed = lists_in(form.proposal, "proposal", lists.instance)
        broken = enter(site_of(request).desk, lists, proposed, visitor.code, form.why)
    except PlannerError as error:
        return proposal_page(request, lists, faults=tuple(map(str, error.faults)), status=422)
    return proposal_page(request, lists, broken=broken, status=422) if broken else RedirectResponse("/lists", 303)


def proposal_page(
    request: Request,
    lists: ListsNow,
    way: Way = "round",
    found: Matched | None = None,
    broken: tuple[Broken, ...] = (),
    faults: tuple[str, ...] = (),
    status: int = 200,
) -> Response:
    """A proposal, or why there is none."""
    rows = _rows(lists, found) if found else []
    searched = found is not None and found.bound is not None
    return page(
        request, "list_proposal.html", status, way=way, rows=rows, found=found, broken=broken, faults=faults,
        seen=lists.seen, good=found.how_good if found else NOT_PROVED,
        longer=None if searched or solver() is None else round(LONGER),
        proposal=written(found.lists) if found else "",
        stays=len(found.lists.placings) - sum(row["now"] != "" for row in rows) if found else 0,
    )  # fmt: skip


def _rows(lists: ListsNow, found: Matched) -> list[dict[str, str]]:
    """The changes that are proposed: where each case was and would be, and why."""
    order, after = list(lists.instance.sessions), Week(lists.instance, found.lists)

    def by_day(one: ListChange) -> tuple[int, int]:
        placing = one.now or one.was
        return (order.index(placing.session), placing.place) if placing is not None else (0, 0)

    return [
        {
            "told": lists.instance.cases[one.case].in_words, "kind": KINDS[one.kind],
            "was": _place(lists.week, one.was), "now": _place(after, one.now),
            "why": found.reasons[one.case].pressing if one.case in found.reasons else "",
        }
        for one in sorted(changes(lists.lists, found.lists), key=by_day)
    ]  # fmt: skip


def _place(week: Week, placing: Placing | None) -> str:
    if placing is None:
        return ""
    session, who = week.session(placing), present(placing.trainee, placing.supervisor)
    return f"{session.day:%a} {day_words(session.day)}, {session.theatre}, number {placing.place}: {who}"
