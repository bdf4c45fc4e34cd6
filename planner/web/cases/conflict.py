"""A change that is not taken as typed: somebody changed or decided on the case meanwhile, or it is not theirs."""

from __future__ import annotations

import json
from collections.abc import Mapping
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
from planner.web.security.authorisation import Preparing
from planner.web.server.case_state import rests_on_it
from planner.web.server.forms import Prefixed, SeenForm, VersionNumber
from planner.web.server.presenting import is_partial, page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import CASE, case_path, find

router = APIRouter()
MINE, THEIRS = "mine", "theirs"
# What the page gives anew, or what belongs to the page that was sent.
OWN = ("submission", "approval")


def not_saved(
    request: Request, case: StoredCase, error: NotTheirs | DecidedMeanwhile, answers: Answers, form: SeenForm
) -> Response:
    """The page that refuses: 403 for another's case, 409 with a button to save all the same for one decided on."""
    site = site_of(request)
    acts = error.acts if isinstance(error, DecidedMeanwhile) else ()
    now = site.store.case_now(case.id)
    return page(
        request, "part_not_saved.html" if is_partial(request) else "not_saved.html", 409 if acts else 403,
        case=case, now=now, path=case_path(case), action=request.url.path, sent=form.sent_again(*OWN) if acts else [],
        acts=acts, ends=rests_on_it(now), typed=_typed(site, answers),
    )  # fmt: skip


def _typed(site: Site, answers: Answers) -> list[tuple[str, str]]:
    """What somebody changed, in words, and as it was written what could not be read."""
    vocabulary = site.rulebook.vocabulary
    names = labels(vocabulary)
    read = [(names.get(name, name), shown_value(vocabulary, name, value)) for name, value in answers.changes.items()]
    return read + [(names.get(name, name), ", ".join(answers.written.get(name, []))) for name in answers.wrong]


class SettleForm(SeenForm):
    """`pick` says whose value stands for a field, `mine` holds this person's values as JSON."""

    based_on: VersionNumber
    pick: Annotated[dict[str, str], Prefixed("pick.")] = {}
    mine: Annotated[dict[str, str], Prefixed("mine.")] = {}


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


def _field(vocabulary: Vocabulary, difference: ThreeWayDifference, names: Mapping[str, str]) -> dict[str, str]:
    """One field as each of the two would have it. `chosen` is set where only one of them changed it."""
    name, base, theirs, mine = difference.name, difference.base, difference.theirs, difference.mine
    both = base not in (mine, theirs) and mine != theirs
    sides = {"base": base, "theirs": theirs, "mine": mine}
    return {side: shown_value(vocabulary, name, value) for side, value in sides.items()} | {
        "name": name, "label": names.get(name, name), "mine_as_data": json.dumps(mine),
        "chosen": "" if both else MINE if mine != base else THEIRS,
    }  # fmt: skip
