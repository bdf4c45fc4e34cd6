"""Changing a list by hand: the checker's verdict on the change first where it breaks a rule, and a reason on record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.desk.approving import ask_for
from planner.desk.lists import ListsNow
from planner.desk.placing import arrange
from planner.errors import PlannerError
from planner.lists.matching.insertion import Assignment, moved, put, taken_off
from planner.lists.rules.people import approval_covers
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Key, Lists
from planner.web.lists.shown import lists_shown, session_named
from planner.web.security.authorisation import Building
from planner.web.server.forms import Form, Text, Ticked
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.web.server.urls import case_path, session_path

router = APIRouter()
LONGEST = 300
CHANGED = "The lists have changed since you opened that page. Look at them again; nothing was changed."


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
class Wish:
    """A change that is asked for, of a case on these lists; `option` is where it is to be put."""

    lists: ListsNow
    act: str
    key: Key
    option: Assignment | None
    why: str

    @classmethod
    def of(cls, lists: ListsNow, form: ChangeForm) -> Wish:
        """What a form asks for; 404 for a case, session or person that there is not."""
        key, option = (form.reference, form.eye), None
        if form.act == "" or key not in lists.instance.cases:
            raise HTTPException(404)
        if form.act == "put":
            session, trainee = session_named(lists, form.session), form.trainee or None
            known = lists.instance
            if form.supervisor not in known.supervisors or (trainee is not None and trainee not in known.trainees):
                raise HTTPException(404)
            option = Assignment(session.id, trainee, form.supervisor)
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
        if self.option is not None:
            return session_path(self.option.session)
        was = next((placing for placing in self.lists.lists.placings if placing.case == self.key), None)
        return session_path(was.session) if was is not None else "/lists"

    @property
    def may_be_asked(self) -> bool:
        """Whether a consultant can be asked for it: the approval stands, and is for another stage. Other people are
        not."""
        approval, trainees = self.lists.instance.cases[self.key].approval, self.lists.instance.trainees
        if approval is None or not approval.stands or self.option is None or self.option.trainee is None:
            return False
        return not approval.covers(trainees[self.option.trainee].stage)

    def refused(
        self,
        request: Request,
        faults: tuple[str, ...],
        status: int,
        breaks: tuple[Broken, ...] = (),
        asks: bool = False,
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


@router.post("/lists/all/change")
def change(request: Request, visitor: Building, form: Asked) -> Response:
    """One change: made at once where it breaks nothing new, else only after its verdict was read, with a reason."""
    site, lists = site_of(request), lists_shown(request)
    wish = Wish.of(lists, form)
    if form.seen != lists.seen:
        return wish.refused(request, (CHANGED,), 409)
    if len(wish.why) > LONGEST:
        return wish.refused(request, (f"The reason has more than {LONGEST} letters.",), 422)
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
                    return wish.refused(request, (), 200, breaks, asks=True)
                return wish.refused(request, tuple(map(str, breaks)), 422)
            if breaks and not (form.sure and wish.why):
                return wish.refused(request, (), 422 if form.sure else 200, breaks)
            arrange(site.desk, lists.held, wish.changed, visitor.code, wish.why, breaks[0].says if breaks else "")
    except PlannerError as error:
        return wish.refused(request, tuple(map(str, error.faults)), 422)
    return RedirectResponse(wish.back, 303)


@router.post("/lists/all/ask")
def ask(request: Request, visitor: Building, form: Asked) -> Response:
    """Ask a consultant to approve a case for somebody whom the approval does not cover; nothing is placed meanwhile."""
    lists = lists_shown(request)
    wish = Wish.of(lists, form)
    if wish.option is None or wish.option.trainee is None:
        raise HTTPException(404)
    now, session = lists.held.now[wish.key], session_named(lists, wish.option.session)
    trainee = lists.instance.trainees[wish.option.trainee]
    # The day as data: what people write of dates in words is refused, since it could be a date of birth.
    note = f"For {trainee.id} ({trainee.stage}) under {wish.option.supervisor}, {session.day}, {session.theatre}."
    note += f" {wish.why}" if wish.why else ""
    try:
        ask_for(site_of(request).desk, now, trainee.stage, visitor.code, note)
    except PlannerError as error:
        return wish.refused(request, tuple(map(str, error.faults)), 422)
    return RedirectResponse(case_path(now.case, "plan"), 303)
