"""Two people changed one case: both values are shown for each field, and whoever saved second chooses."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from planner.case import read_case
from planner.errors import PlannerError
from planner.records.changes import Conflict, ThreeWayDifference, changed
from planner.records.deciding import DecidedMeanwhile
from planner.records.owning import NotTheirs
from planner.records.rows import StoredCase
from planner.vocabulary import Vocabulary
from planner.web.cases.answers import Answers
from planner.web.cases.fields import labels, shown_value
from planner.web.cases.not_saved import not_saved
from planner.web.security.authorisation import Preparing
from planner.web.server.case_state import rests_on_it
from planner.web.server.forms import Prefixed, SeenForm, VersionNumber
from planner.web.server.presenting import is_partial, page
from planner.web.server.site import site_of
from planner.web.server.urls import CASE, case_path, find

router = APIRouter()
MINE, THEIRS = "mine", "theirs"


class SettleForm(SeenForm):
    """`pick` says whose value stands for a field, `mine` holds this person's values as JSON."""

    based_on: VersionNumber
    pick: Annotated[dict[str, str], Prefixed("pick.")] = {}
    mine: Annotated[dict[str, str], Prefixed("mine.")] = {}


@dataclass(frozen=True)
class FieldInConflict:
    """One field as each of the two would have it. `chosen` is set where only one of them changed it."""

    name: str
    label: str
    base: str
    theirs: str
    mine: str
    mine_as_data: str
    chosen: str


def conflict_page(request: Request, case: StoredCase, conflict: Conflict, answers: Answers) -> Response:
    """The page that asks which values stand (409). Nothing of what was sent has been kept yet."""
    site = site_of(request)
    vocabulary, now = site.rulebook.vocabulary, site.store.case_now(case.id)
    names = labels(vocabulary)
    return page(
        request, "part_conflict.html" if is_partial(request) else "conflict.html", 409,
        case=case, now=now, ends=rests_on_it(now), path=case_path(case), current=conflict.current,
        fields=[_field(vocabulary, difference, names) for difference in conflict.differences],
        wrong=[(names.get(name, name), why) for name, why in answers.wrong.items()],
    )  # fmt: skip


@router.post(CASE + "/settle")
def settle(
    request: Request, visitor: Preparing, reference: str, eye: str,
    form: Annotated[SettleForm, Depends(SettleForm.read)],
) -> Response:  # fmt: skip
    site, case = site_of(request), find(request, reference, eye)
    vocabulary, base = site.rulebook.vocabulary, site.store.version(case.id, form.based_on)
    names = [name for name, whose in form.pick.items() if whose == MINE]
    changes = {name: _data(vocabulary, name, form.mine.get(name, "null")) for name in names}
    read_case(changed(base.document, changes), vocabulary)
    try:
        if changes:
            site.store.save_case(case.id, base.number, changes, visitor.code, seen=form.seen)
    except Conflict as again:
        return conflict_page(request, case, again, Answers())
    except (NotTheirs, DecidedMeanwhile) as error:
        return not_saved(request, case, error, Answers(changes), form)
    return RedirectResponse(f"{case_path(case)}?saved=case", 303)


def _data(vocabulary: Vocabulary, name: str, text: str) -> Any:
    """A value as the page before wrote it; the vocabulary reads those of findings itself."""
    try:
        value = json.loads(text)
    except (ValueError, RecursionError):
        value = ...
    fits = value is None or isinstance(value, str)
    if name == "none_found_in":
        sections = {section.id for section in vocabulary.sections}
        fits = value is None or (isinstance(value, list) and set(map(str, value)) <= sections)
    if value is ... or not (fits or name in vocabulary.by_id):
        raise PlannerError.one("the form was changed on its way", hint="go back, and choose again")
    return value


def _field(vocabulary: Vocabulary, difference: ThreeWayDifference, names: Mapping[str, str]) -> FieldInConflict:
    base, theirs, mine = difference.base, difference.theirs, difference.mine
    both = base not in (mine, theirs) and mine != theirs
    began, other, own = (shown_value(vocabulary, difference.name, value) for value in (base, theirs, mine))
    return FieldInConflict(
        difference.name, names.get(difference.name, difference.name), began, other, own, json.dumps(mine),
        "" if both else MINE if mine != base else THEIRS,
    )  # fmt: skip
