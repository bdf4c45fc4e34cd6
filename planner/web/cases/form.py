"""The form of one case: shown, saved field by field, and refused where it is wrong or the case has changed since."""

from __future__ import annotations

import json
from collections.abc import Collection
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import RedirectResponse, Response

from planner.case import read_case
from planner.errors import PlannerError
from planner.records.changes import CHANGEABLE, Conflict, changed
from planner.records.deciding import DecidedMeanwhile
from planner.records.owning import NotTheirs, may_edit
from planner.records.rows import CaseNow, CaseVersion, StoredCase
from planner.vocabulary import Vocabulary
from planner.web.cases.answers import FIRST_PART, Answers, CaseForm, read_answers
from planner.web.cases.fields import ShownSection, labels, shown_sections, shown_value, stamps
from planner.web.security.authorisation import Preparing
from planner.web.server.case_state import clock_time, rests_on_it, state_of
from planner.web.server.forms import Prefixed, SeenForm, VersionNumber
from planner.web.server.presenting import environment, is_partial, page
from planner.web.server.site import CASE, CaseAsked, Site, case_path, find, site_of

router = APIRouter()
# What the page gives anew, or what belongs to the page that was sent.
OWN = ("submission", "approval")


class SettleForm(SeenForm):
    """`pick` says whose value stands for a field, `mine` holds this person's values as JSON."""

    based_on: VersionNumber
    pick: Annotated[dict[str, str], Prefixed("pick.")] = {}
    mine: Annotated[dict[str, str], Prefixed("mine.")] = {}


Saved = Annotated[CaseForm, Depends(CaseForm.read)]
Settled = Annotated[SettleForm, Depends(SettleForm.read)]


@router.get(CASE)
def show(
    request: Request, visitor: Preparing, now: CaseAsked, saved: Annotated[str, Query(max_length=40)] = ""
) -> Response:
    said = {saved: f"Saved {clock_time(now.version.at)}"} if saved else {}
    return _page(request, now, now.version, Answers(), said)


@router.post(CASE)
def save(request: Request, visitor: Preparing, reference: str, eye: str, form: Saved) -> Response:
    site, case, by_itself = site_of(request), find(request, reference, eye), is_partial(request)
    base = site.store.version(case.id, form.based_on)
    stages = [stage.id for stage in site.rulebook.stages.stages]
    answers = read_answers(form, base.document, site.rulebook.vocabulary, stages, site.day_here())
    if by_itself and answers.changes and (now := site.store.case_now(case.id)).state == "operated":
        # The page was made before the operation; what was submitted or approved, the store guards.
        raise PlannerError.one("this page is older than that", case.reference, rests_on_it(now), "load the page again")
    try:
        saved = base
        if answers.changes:
            saved = site.store.save_case(case.id, base.number, answers.changes, visitor.code, seen=form.seen)
    except (Conflict, NotTheirs, DecidedMeanwhile) as error:
        return _not_saved(request, case, error, answers, form)
    now, said = site.store.case_now(case.id), _acknowledged(site, saved, answers, form.section)
    if by_itself:
        return _page(request, now, saved, answers, said, _sections(site, now, base, Answers()), form.was_wrong)
    if answers.wrong:
        return _page(request, now, saved, answers, said)
    return RedirectResponse(f"{case_path(case)}?saved={form.section}#{form.section}", 303)


@router.post(CASE + "/settle")
def settle(request: Request, visitor: Preparing, reference: str, eye: str, form: Settled) -> Response:
    site, case = site_of(request), find(request, reference, eye)
    vocabulary, base = site.rulebook.vocabulary, site.store.version(case.id, form.based_on)
    names = [name for name, whose in form.pick.items() if whose == "mine"]
    changes = {name: _data(vocabulary, name, form.mine.get(name, "null")) for name in names}
    read_case(changed(base.document, changes), vocabulary)
    try:
        if changes:
            site.store.save_case(case.id, base.number, changes, visitor.code, seen=form.seen)
    except Conflict as again:
        return _not_saved(request, case, again, Answers(), form)
    except (NotTheirs, DecidedMeanwhile) as error:
        return _not_saved(request, case, error, Answers(changes), form)
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


def _sections(site: Site, now: CaseNow, version: CaseVersion, answers: Answers) -> tuple[ShownSection, ...]:
    through, case = stamps(site.store.versions(now.case.id)), site.desk.plans.planned(version).case
    return shown_sections(site.rulebook.vocabulary, version.document, case, answers, through)


def _page(
    request: Request,
    now: CaseNow,
    version: CaseVersion,
    answers: Answers,
    said: dict[str, str],
    before: tuple[ShownSection, ...] | None = None,
    was_wrong: Collection[str] = (),
) -> Response:
    """The form, `said` acknowledging a save by part; where it shows sections `before` only what differs from them."""
    site, visitor = site_of(request), request.state.visitor
    sections, part = _sections(site, now, version, answers), environment().get_template("part_section.html")
    # What the person types meanwhile is left alone.
    same = {
        new.id
        for old, new in zip(before or (), sections, strict=before is not None)
        if not any(field.finding.id in was_wrong for field in new.fields)
        and part.render(section=old, said={}) == part.render(section=new, said={})
    }
    return page(
        request, "case.html" if before is None else "part_saved.html", 422 if answers.wrong else 200,
        case=now.case, now=now, may_edit=may_edit(now.owners, visitor.code, visitor.role), path=case_path(now.case),
        # A heading that is not recorded is None to the templates, which refuse a name they do not know.
        version=version, document=dict.fromkeys(CHANGEABLE) | dict(version.document), sections=sections, same=same,
        judged=site.desk.plans.planned(version), state=state_of(site, now), rests_on_it=rests_on_it(now),
        stages=site.rulebook.stages.stages, answers=answers, labels=labels(site.rulebook.vocabulary), said=said,
    )  # fmt: skip


def _acknowledged(site: Site, saved: CaseVersion, answers: Answers, part: str) -> dict[str, str]:
    """The acknowledgement of each part that the save touched."""
    part_of = {finding.id: finding.section for finding in site.rulebook.vocabulary.findings}
    names = [name for name in (*answers.changes, *answers.wrong) if name != "none_found_in"]
    said = {}
    # The part that was saved from comes first: its words are those kept in sight.
    for section in dict.fromkeys([part, *(part_of.get(name, FIRST_PART) for name in names)]):
        wrong = sum(part_of.get(name, FIRST_PART) == section for name in answers.wrong)
        if wrong and not answers.changes:
            said[section] = f"Not saved: {wrong} marked below"
        else:
            but = f", except {wrong} field{'s' if wrong > 1 else ''} marked below" if wrong else ""
            said[section] = f"Saved {clock_time(saved.at)}{but}"
    return said


def _not_saved(
    request: Request, case: StoredCase, error: Conflict | NotTheirs | DecidedMeanwhile, answers: Answers, form: SeenForm
) -> Response:
    """The page that asks what stands or has a button to save all the same (409), or refuses another's case (403)."""
    site = site_of(request)
    vocabulary, now = site.rulebook.vocabulary, site.store.case_now(case.id)
    names, shown = labels(vocabulary), partial(shown_value, vocabulary)
    start = "part_" if is_partial(request) else ""
    if isinstance(error, Conflict):
        return page(
            request, f"{start}conflict.html", 409,
            case=case, now=now, ends=rests_on_it(now), path=case_path(case), current=error.current,
            fields=error.differences, labels=names, shown=shown, as_data=json.dumps,
            wrong=[(names.get(name, name), why) for name, why in answers.wrong.items()],
        )  # fmt: skip
    typed = [(names.get(name, name), shown(name, value)) for name, value in answers.changes.items()]
    typed += [(names.get(name, name), ", ".join(answers.written.get(name, []))) for name in answers.wrong]
    acts = error.acts if isinstance(error, DecidedMeanwhile) else ()
    return page(
        request, f"{start}not_saved.html", 409 if acts else 403,
        case=case, now=now, path=case_path(case), action=request.url.path, sent=form.sent_again(*OWN) if acts else [],
        acts=acts, ends=rests_on_it(now), typed=typed,
    )  # fmt: skip
