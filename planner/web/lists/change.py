"""Changing a list by hand: the places that a case may take, what a change would break, and a reason on record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal, NamedTuple

from fastapi import APIRouter, Depends, HTTPException, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.approving import ask_for
from planner.desk.lists import ListsNow
from planner.desk.placing import arrange
from planner.errors import PlannerError
from planner.lists.matching.insertion import Assignment, attempt, moved, options, put, taken_off
from planner.lists.matching.objective import ranked
from planner.lists.matching.reasons import pressing, why_not
from planner.lists.roster.shapes import Session
from planner.lists.rules.people import approval_covers
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Key, Lists, Placing
from planner.lists.week.week import Week
from planner.records.rows import CaseNow
from planner.web.security.authorisation import Building
from planner.web.server.forms import Form, Text, Ticked, refusals
from planner.web.server.presenting import page
from planner.web.server.site import ListsAsked, case_path, session_named, session_path, site_of
from planner.wording.people import operates

router = APIRouter()
LONGEST = 300
CHANGED = "The lists have changed since you opened that page. Look at them again; nothing was changed."
OFFERED = 3


class ChangeForm(Form):
    act: Literal["put", "up", "down", "off", "lock", "unlock", ""] = ""
    reference: str = ""
    eye: str = ""
    session: str = ""
    trainee: str = ""
    supervisor: str = ""
    reason: Text = ""
    why: Text = ""
    sure: Ticked = False
    seen: str = ""


Asked = Annotated[ChangeForm, Depends(ChangeForm.read)]


@dataclass(frozen=True)
class ChangeWanted:
    """A change that is asked for, of a case on these lists; `option` is where it is to be put."""

    lists: ListsNow
    act: str
    key: Key
    option: Assignment | None
    why: str

    @classmethod
    def of(cls, lists: ListsNow, form: ChangeForm) -> ChangeWanted:
        """What a form asks for; 404 for a case, session or person that there is not."""
        key, option, known = (form.reference, form.eye), None, lists.instance
        if form.act == "" or key not in known.cases:
            raise HTTPException(404)
        if form.act == "put":
            option = Assignment(session_named(lists, form.session).id, form.trainee or None, form.supervisor)
            if option.supervisor not in known.supervisors or option.trainee not in {None, *known.trainees}:
                raise HTTPException(404)
        elif form.act != "lock" and key in lists.held.waiting:
            raise HTTPException(404)
        return cls(lists, form.act, key, option, " ".join(filter(None, [form.reason, form.why])))

    @property
    def changed(self) -> Lists:
        if self.act == "off":
            return taken_off(self.lists.lists, self.key)
        if self.option is not None:
            return put(self.lists.lists, self.key, self.option)
        return moved(self.lists.lists, self.key, -1 if self.act == "up" else 1)

    @property
    def back(self) -> str:
        """The list that the case is on, or all lists."""
        at = self.option or placing_of(self.lists, self.key)
        return session_path(at.session) if at is not None else "/lists"

    @property
    def may_be_asked(self) -> bool:
        """Whether a consultant can be asked for it: the approval stands, and is for another stage than this."""
        approval, trainees = self.lists.instance.cases[self.key].approval, self.lists.instance.trainees
        if approval is None or not approval.stands or self.option is None or self.option.trainee is None:
            return False
        return not approval.covers(trainees[self.option.trainee].stage)

    def refused(
        self, request: Request, *faults: str, status: int = 422, breaks: tuple[Broken, ...] = (), asks: bool = False
    ) -> Response:
        """What stands in the way; where it is a rule alone, the form that enters the change with a reason.

        `asks`: it is not what was approved, so that the form asks a consultant for it instead.
        """
        instance = self.lists.instance
        return page(
            request, "list_change.html", status, wish=replace(self, why=self.why[:LONGEST]),
            told=instance.cases[self.key].in_words,
            session=instance.sessions[self.option.session].in_words if self.option else "",
            faults=faults, breaks=breaks, seen=self.lists.seen, back=self.back, longest=LONGEST, asks=asks,
        )  # fmt: skip


def placing_of(lists: ListsNow, key: Key) -> Placing | None:
    """Where a case stands, None where it has no place."""
    return next((placing for placing in lists.lists.placings if placing.case == key), None)


@router.post("/lists/all/change")
def change(request: Request, visitor: Building, form: Asked, lists: ListsAsked) -> Response:
    """One change: made at once where it breaks nothing new, else only after its verdict was read, with a reason."""
    site, wish = site_of(request), ChangeWanted.of(lists, form)
    if form.seen != lists.seen:
        return wish.refused(request, CHANGED, status=409)
    if len(wish.why) > LONGEST:
        return wish.refused(request, f"The reason has more than {LONGEST} characters.")
    try:
        case_id = lists.held.now[wish.key].case.id
        if wish.act == "lock":
            site.store.lock(case_id, wish.why, visitor.code)
        elif wish.act == "unlock":
            site.store.unlock(case_id, wish.why, visitor.code)
        else:
            breaks = lists.new_faults(wish.changed)
            if wish.option is not None and any(one.rule == approval_covers.id for one in breaks):
                if wish.may_be_asked:
                    return wish.refused(request, status=200, breaks=breaks, asks=True)
                return wish.refused(request, *map(str, breaks))
            if breaks and not (form.sure and wish.why):
                return wish.refused(request, status=422 if form.sure else 200, breaks=breaks)
            arrange(site.desk, lists.held, wish.changed, visitor.code, wish.why, breaks[0].says if breaks else "")
    except PlannerError as error:
        return wish.refused(request, *map(str, error.faults))
    return RedirectResponse(wish.back, 303)


@router.post("/lists/all/ask")
def ask(request: Request, visitor: Building, form: Asked, lists: ListsAsked) -> Response:
    """Ask a consultant to approve a case for somebody whom the approval does not cover; nothing is placed meanwhile."""
    wish = ChangeWanted.of(lists, form)
    if wish.option is None or wish.option.trainee is None:
        raise HTTPException(404)
    now, session = lists.held.now[wish.key], session_named(lists, wish.option.session)
    trainee = lists.instance.trainees[wish.option.trainee]
    # The day as data: what people write of dates in words is refused, since it could be a date of birth.
    note = f"For {trainee.id} ({trainee.stage}) under {wish.option.supervisor}, {session.day}, {session.theatre}."
    note += f" {wish.why}" if wish.why else ""
    if faults := refusals(form, ask_for, site_of(request).desk, now, trainee.stage, visitor.code, note):
        return wish.refused(request, *faults)
    return RedirectResponse(case_path(now.case, "plan"), 303)


class PlaceOffer(NamedTuple):
    """A pair in a session: `broken` is empty where every rule is kept."""

    option: Assignment
    who: str
    worth: float
    broken: tuple[Broken, ...]

    @property
    def asks(self) -> bool:
        """Whether nothing but the approval stands in the way, which a consultant may widen."""
        return {one.rule for one in self.broken} == {approval_covers.id} and self.option.trainee is not None


def options_page(request: Request, now: CaseNow, lists: ListsNow) -> Response:
    """Every session with its best places; for a case that fits none, what bars it and what would open one."""
    key = now.case.reference, now.case.eye
    others, pressing_words = taken_off(lists.lists, key), pressing(lists.instance, key)
    rows = [(session, _offers(lists, others, key, session)) for session in lists.sessions]
    worths = [offer.worth for _, offers in rows for offer in offers if not offer.broken]
    return page(
        request, "list_options.html",
        case=lists.instance.cases[key], pressing=f"{pressing_words[:1].upper()}{pressing_words[1:]}",
        now=now, lists=lists, at=placing_of(lists, key), rows=rows, best=max(worths, default=0.0),
        rule_words=RULES.words, without=Week(lists.instance, others),
        blocked=None if worths else why_not(lists.instance, others, key, frozenset(lists.held.locked)),
        locked=lists.held.locked.get(key, ""),
    )  # fmt: skip


def _offers(lists: ListsNow, others: Lists, key: Key, session: Session) -> list[PlaceOffer]:
    """The best pairs that keep every rule, else the one that breaks the fewest."""
    stand: list[PlaceOffer] = []
    barred: list[PlaceOffer] = []
    for points, option, _ in ranked(lists.instance, others, key, options(lists.instance, [session])):
        trial = attempt(lists.instance, others, key, option)
        broken = lists.not_yet(trial.broken)
        (barred if broken else stand).append(
            PlaceOffer(option, operates(lists.week.team(trial.placing)), points, broken)
        )
        if len(stand) == OFFERED:
            break
    return stand or sorted(barred, key=lambda offer: len({one.rule for one in offer.broken}))[:1]
