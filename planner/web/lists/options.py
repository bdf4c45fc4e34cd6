"""Where a case can stand: every coming session with who would operate, what it adds, and what it would break."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from planner.desk.lists import ListsNow
from planner.documents.figures import day as day_words
from planner.lists.changes.moves import taken_off
from planner.lists.matching.conflict import Blocked, why_not
from planner.lists.matching.insertion import Assignment, attempt
from planner.lists.matching.objective import ranked
from planner.lists.matching.reasons import pressing
from planner.lists.roster.shapes import Session
from planner.lists.rules.people import approval_covers
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Key
from planner.lists.week.week import Week
from planner.records.rows import CaseNow
from planner.web.lists.shown import session_path
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.web.server.urls import case_path, list_path
from planner.wording.people import operates

OFFERED = 3


@dataclass(frozen=True)
class Offer:
    """A pair in a session: `broken` is empty where every rule is kept."""

    option: Assignment
    who: str
    worth: float
    broken: tuple[Broken, ...]

    @property
    def asks(self) -> bool:
        """Whether nothing but the approval stands in the way, which a consultant may widen."""
        return {one.rule for one in self.broken} == {approval_covers.id} and self.option.trainee is not None


@dataclass(frozen=True)
class SessionOffers:
    session: Session
    day: str
    path: str
    filled: str
    offers: tuple[Offer, ...]


def options_page(request: Request, now: CaseNow, lists: ListsNow) -> Response:
    """Every session with its best places; for a case that fits none, what bars it and what would open one."""
    key = now.case.reference, now.case.eye
    case, others = lists.instance.cases[key], taken_off(lists.lists, key)
    at = next((placing for placing in lists.lists.placings if placing.case == key), None)
    rows = [_row(lists, key, session) for session in lists.sessions]
    fits = any(not offer.broken for row in rows for offer in row.offers)
    blocked: Blocked | None = None if fits else why_not(lists.instance, others, key, frozenset(lists.held.locked))
    return page(
        request, "list_options.html",
        case=case, pressing=_capitalised(pressing(lists.instance, key)),
        now=now, at=at, at_path=session_path(at.session) if at else "", rows=rows, fits=fits,
        best=max((offer.worth for row in rows for offer in row.offers if not offer.broken), default=0.0),
        blocked=blocked, rule_words=RULES.words, seen=lists.seen, plan_path=case_path(now.case, "plan"),
        locked=lists.held.locked.get(key, ""), by_hand=f"{list_path(now.case)}?by-hand=yes",
        reasons=site_of(request).rulebook.lists.taken_off.reasons,
        trainees=list(lists.instance.trainees), supervisors=list(lists.instance.supervisors),
        sessions=lists.sessions,
    )  # fmt: skip


def _capitalised(text: str) -> str:
    return text[:1].upper() + text[1:]


def _row(lists: ListsNow, key: Key, session: Session) -> SessionOffers:
    instance, others = lists.instance, taken_off(lists.lists, key)
    pairs = [
        Assignment(session.id, trainee, supervisor)
        for trainee in (*instance.trainees, None)
        for supervisor in session.supervisors
    ]
    stand: list[Offer] = []
    barred: list[Offer] = []
    for points, option, _ in ranked(instance, others, key, pairs):
        trial = attempt(instance, others, key, option)
        broken = lists.not_yet(trial.broken)
        offer = Offer(option, operates(lists.week.team(trial.placing)), points, broken)
        (barred if broken else stand).append(offer)
        if len(stand) == OFFERED:
            break
    nearest = sorted(barred, key=lambda offer: len({one.rule for one in offer.broken}))[:1]
    week = Week(instance, others)
    count = len(week.list_of(session.id))
    minutes = f"{week.expected_minutes(session.id):.0f} of {session.minutes} min"
    filled = f"{count} case{'s' if count != 1 else ''}, {minutes}" if count else f"free, {session.minutes} min"
    day = f"{session.day:%A} {day_words(session.day)}, {session.starts:%H:%M}"
    return SessionOffers(session, day, session_path(session.id), filled, tuple(stand or nearest))
