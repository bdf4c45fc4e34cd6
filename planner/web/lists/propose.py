"""Lists proposed by the matching: shown as changes with their reasons, entered only when somebody accepts them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.placing import arrange
from planner.errors import PlannerError
from planner.lists.changes import repair_text
from planner.lists.changes.differences import ListChange, changes
from planner.lists.changes.repair import Repair
from planner.lists.matching.best import NOT_PROVED, Best, best
from planner.lists.matching.match import Matched, match
from planner.lists.matching.search import solver
from planner.lists.rules.checker import check
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Instance, Placing
from planner.lists.week.lists_file import lists_in, written
from planner.lists.week.week import Week
from planner.web.lists.change import CHANGED, LONGEST, new_faults
from planner.web.lists.judged import State, session_path, state_of
from planner.web.security.authorisation import Building, Posted
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


@dataclass(frozen=True)
class Row:
    """A change that is proposed: where the case was and would be, and why."""

    told: str
    kind: str
    was: str
    now: str
    why: str


@router.post("/lists/all/propose")
def propose(request: Request, visitor: Building, form: Posted) -> Response:
    """Match `round` what stands, or match `again` everything that is not locked, with few changes.

    `longer` searches on with the solver for the best, or for how far from it the lists are.
    """
    state = state_of(site_of(request))
    way = "again" if form.get("way") == "again" else "round"
    broken = state.verdict.broken
    if way == "round" and broken:
        return _shown(request, state, way, None, broken)
    kept = state.held.kept if way == "again" else state.lists
    instance = _coming(replace(state.held.instance, published=state.lists), state)
    if way == "again" and (faults := check(state.held.instance, kept).broken):
        return _shown(request, state, way, None, faults)
    if form.get("longer") == "yes":
        try:
            searched = best(instance, kept, LONGER)
        except PlannerError as error:
            return _shown(request, state, way, None, faults=tuple(map(str, error.faults)), status=503)
        return _shown(request, state, way, searched.matched, searched=searched)
    return _shown(request, state, way, match(instance, kept))


@router.post("/lists/all/accept")
def accept(request: Request, visitor: Building, form: Posted) -> Response:
    """Enter a proposal, if the lists are still those that it was made from and it still keeps every rule."""
    site = site_of(request)
    state = state_of(site)
    if str(form.get("seen", "")) != state.seen:
        return _shown(request, state, "round", None, faults=(CHANGED,), status=409)
    try:
        proposed = lists_in(str(form.get("proposal", "")), "proposal", state.held.instance)
        why = str(form.get("why", "")).strip()[:LONGEST]
        # On the morning the sessions file may be behind: what was broken before, or was told, is the people's to judge.
        broken = tuple(new_faults(state, proposed))
        if broken and not why:
            return _shown(request, state, "round", None, broken, status=422)
        arrange(site.desk, state.held, proposed, visitor.code, why or "accepted from a proposal")
    except PlannerError as error:
        return _shown(request, state, "round", None, faults=tuple(map(str, error.faults)), status=422)
    return RedirectResponse("/lists", 303)


def _coming(instance: Instance, state: State) -> Instance:
    """Without the sessions that are over, which nobody can be put on."""
    return replace(instance, sessions={session.id: session for session in state.sessions})


def refused_page(request: Request, state: State, faults: tuple[str, ...], status: int = 422) -> Response:
    """No proposal, and why."""
    return _shown(request, state, "round", None, faults=faults, status=status)


def repaired_page(request: Request, state: State, found: Repair) -> Response:
    """The smallest change after what happened this morning, to be accepted or dropped."""
    return page(
        request, "list_repair.html",
        found=found, words=repair_text, seen=state.seen, proposal=written(found.lists), path=session_path,
    )  # fmt: skip


def _shown(
    request: Request,
    state: State,
    way: str,
    found: Matched | None,
    broken: tuple[Broken, ...] = (),
    faults: tuple[str, ...] = (),
    status: int = 200,
    searched: Best | None = None,
) -> Response:
    rows = [] if found is None else _rows(state, found)
    return page(
        request, "list_proposal.html", status,
        way=way, rows=rows, found=found, broken=broken, faults=faults, seen=state.seen,
        good=" ".join(_how_good(found, searched)), longer=None if searched or solver() is None else round(LONGER),
        proposal=written(found.lists) if found is not None else "",
        stays=0 if found is None else len(found.lists.placings) - sum(row.now != "" for row in rows),
    )  # fmt: skip


def _how_good(found: Matched | None, searched: Best | None) -> Iterator[str]:
    """How far from the best, and how many more cases at most."""
    yield searched.how_good if searched else NOT_PROVED
    if found is not None and found.more is not None:
        yield found.more.says


def _rows(state: State, found: Matched) -> list[Row]:
    after = Week(state.held.instance, found.lists)
    rows = []
    order = list(state.held.instance.sessions)

    def by_day(one: ListChange) -> tuple[int, int]:
        placing = one.now or one.was
        return (order.index(placing.session), placing.place) if placing is not None else (0, 0)

    for one in sorted(changes(state.lists, found.lists), key=by_day):
        reason = found.reasons.get(one.case)
        rows.append(_row(state, after, one, reason.pressing if reason is not None else ""))
    return rows


def _row(state: State, after: Week, one: ListChange, why: str) -> Row:
    told = state.held.instance.cases[one.case].told
    return Row(told, KINDS[one.kind], _place(state.week, one.was), _place(after, one.now), why)


def _place(week: Week, placing: Placing | None) -> str:
    if placing is None:
        return ""
    session = week.session(placing)
    who = present(placing.trainee, placing.supervisor)
    return f"{session.day:%a} {day_words(session.day)}, {session.theatre}, number {placing.place}: {who}"
