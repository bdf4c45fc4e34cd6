"""Two people changed one case: both values are shown for each field, and whoever saved second chooses."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from planner.case import read_case
from planner.errors import PlannerError
from planner.records.changes import Conflict, ThreeWayDifference, changed
from planner.records.deciding import DecidedMeanwhile
from planner.records.owning import NotTheirs
from planner.records.rows import CaseVersion, StoredCase
from planner.records.store import Store
from planner.web.cases.answers import Answers
from planner.web.cases.fields import labels, shown_value
from planner.web.cases.not_saved import not_saved
from planner.web.security.authorisation import Posted, Preparing
from planner.web.server.case_state import clock_time, rests_on_it
from planner.web.server.presenting import is_partial, page
from planner.web.server.seen import seen_in
from planner.web.server.site import Site, site_of
from planner.web.server.urls import CASE, case_path, find

router = APIRouter()
MINE, THEIRS = "mine", "theirs"
LONGEST_NUMBER = 9


@dataclass(frozen=True)
class Side:
    """One field as each of the two would have it. `chosen` is set where only one of them changed it."""

    name: str
    label: str
    base: str
    theirs: str
    mine: str
    mine_as_data: str
    chosen: str


def conflict_page(
    request: Request, case: StoredCase, conflict: Conflict, answers: Answers, names: Mapping[str, str]
) -> Response:
    """The page that asks which values stand (409). Nothing of what was sent has been kept yet."""
    site = site_of(request)
    now = site.store.case_now(case.id)
    sides = [_side(site, difference, names) for difference in conflict.differences]
    template = "part_conflict.html" if is_partial(request) else "conflict.html"
    return page(
        request, template, 409,
        case=case, now=now, ends=rests_on_it(now), path=case_path(case), sides=sides, other=conflict.current.by,
        at=clock_time(conflict.current.at), number=conflict.current.number,
        wrong=[(names.get(name, name), why) for name, why in answers.wrong.items()],
    )  # fmt: skip


@router.post(CASE + "/settle")
def settle(request: Request, visitor: Preparing, form: Posted, reference: str, eye: str) -> Response:
    site, case = site_of(request), find(request, reference, eye)
    base = based_on(site.store, case, form)
    changes: dict[str, Any] = {}
    for key in form:
        if key.startswith("pick.") and form.get(key) == MINE:
            name = key.removeprefix("pick.")
            changes[name] = _data(site, name, str(form.get(f"mine.{name}", "null")))
    read_case(changed(base.document, changes), site.rulebook.vocabulary)
    try:
        if changes:
            site.store.save_case(case.id, base.number, changes, visitor.code, seen=seen_in(form))
    except Conflict as again:
        return conflict_page(request, case, again, Answers(), labels(site.rulebook.vocabulary))
    except (NotTheirs, DecidedMeanwhile) as error:
        return not_saved(request, case, error, Answers(changes), form)
    return RedirectResponse(f"{case_path(case)}?saved=case", 303)


def based_on(store: Store, case: StoredCase, form: FormData) -> CaseVersion:
    """The version that a form was made from. Raises PlannerError for a number that is none."""
    number = str(form.get("based_on", ""))
    if not number.isascii() or not number.isdigit() or len(number) > LONGEST_NUMBER:
        raise PlannerError.one("the form does not say which version it was made from", hint="load the page again")
    return store.version(case.id, int(number))


def _data(site: Site, name: str, text: str) -> Any:
    """A value as the page before wrote it; the vocabulary reads those of findings itself."""
    try:
        value = json.loads(text)
    except (ValueError, RecursionError):
        raise _changed_on_its_way() from None
    if name == "none_found_in":
        fits = value is None or (isinstance(value, list) and set(map(str, value)) <= set(_sections(site)))
    else:
        fits = name in site.rulebook.vocabulary.by_id or value is None or isinstance(value, str)
    if not fits:
        raise _changed_on_its_way()
    return value


def _changed_on_its_way() -> PlannerError:
    return PlannerError.one("the form was changed on its way", hint="go back, and choose again")


def _sections(site: Site) -> dict[str, str]:
    return {section.id: section.label for section in site.rulebook.vocabulary.sections}


def _side(site: Site, difference: ThreeWayDifference, names: Mapping[str, str]) -> Side:
    mine_changed, theirs_changed = difference.mine != difference.base, difference.theirs != difference.base
    both = mine_changed and theirs_changed and difference.mine != difference.theirs
    chosen = "" if both else MINE if mine_changed else THEIRS
    base, theirs, mine = (
        shown_value(site.rulebook.vocabulary, difference.name, v)
        for v in (difference.base, difference.theirs, difference.mine)
    )
    return Side(
        difference.name, names.get(difference.name, difference.name), base, theirs, mine,
        json.dumps(difference.mine), chosen,
    )  # fmt: skip
