"""The form of one case: shown, saved field by field, and refused field by field."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.records.changes import CHANGEABLE, Conflict
from planner.records.deciding import DecidedMeanwhile
from planner.records.owning import NotTheirs, may_edit
from planner.records.rows import CaseNow, CaseVersion
from planner.web.cases.answers import FIRST_PART, Answers, CaseForm, read_answers
from planner.web.cases.conflict import conflict_page, not_saved
from planner.web.cases.fields import ShownSection, labels, shown_sections, stamps
from planner.web.security.authorisation import Preparing, Visitor
from planner.web.server.case_state import clock_time, rests_on_it, state_of
from planner.web.server.presenting import environment, is_partial, page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import CASE, CaseAsked, case_path, find

router = APIRouter()


def _values(
    site: Site, visitor: Visitor, now: CaseNow, version: CaseVersion, answers: Answers, said: dict[str, str]
) -> dict[str, Any]:
    """Everything the templates of a case draw on; `said` acknowledges a save, by the part of the form."""
    judged = site.desk.plans.planned(version)
    return {
        "case": now.case,
        "now": now,
        "may_edit": may_edit(now.owners, visitor.code, visitor.role),
        "path": case_path(now.case),
        "version": version,
        # A heading that is not recorded is None to the templates, which refuse a name they do not know.
        "document": dict.fromkeys(CHANGEABLE) | dict(version.document),
        "stages": [(stage.id, stage.label) for stage in site.rulebook.stages.stages],
        "sections": _sections(site, now, version, answers),
        "judged": judged,
        "decided_by": [reason.short for reason in judged.assessment.tier.decided_by] if judged.assessment else [],
        "state": state_of(site, now),
        "rests_on_it": rests_on_it(now),
        "answers": answers,
        "labels": labels(site.rulebook.vocabulary),
        "said": said,
    }


def _sections(site: Site, now: CaseNow, version: CaseVersion, answers: Answers) -> tuple[ShownSection, ...]:
    through, case = stamps(site.store.versions(now.case.id)), site.desk.plans.planned(version).case
    return shown_sections(site.rulebook.vocabulary, version.document, case, answers, through)


@router.get(CASE)
def show(
    request: Request, visitor: Preparing, now: CaseAsked, saved: Annotated[str, Query(max_length=40)] = ""
) -> Response:
    said = {saved: f"Saved {clock_time(now.version.at)}"} if saved else {}
    return page(request, "case.html", **_values(site_of(request), visitor, now, now.version, Answers(), said))


@router.post(CASE)
def save(
    request: Request, visitor: Preparing, reference: str, eye: str, form: Annotated[CaseForm, Depends(CaseForm.read)]
) -> Response:
    site, case = site_of(request), find(request, reference, eye)
    base = site.store.version(case.id, form.based_on)
    stages = [stage.id for stage in site.rulebook.stages.stages]
    answers = read_answers(form, base.document, site.rulebook.vocabulary, stages, site.day_here())
    if is_partial(request) and answers.changes:
        _refuse_operated(site.store.case_now(case.id))
    try:
        saved = base
        if answers.changes:
            saved = site.store.save_case(case.id, base.number, answers.changes, visitor.code, seen=form.seen)
    except Conflict as conflict:
        return conflict_page(request, case, conflict, answers)
    except (NotTheirs, DecidedMeanwhile) as error:
        return not_saved(request, case, error, answers, form)
    said = _acknowledged(site, saved, answers, form.section)
    now = site.store.case_now(case.id)
    if is_partial(request):
        before = _sections(site, now, base, Answers())
        return _parts(request, _values(site, visitor, now, saved, answers, said), before, form.was_wrong)
    if answers.wrong:
        return page(request, "case.html", 422, **_values(site, visitor, now, saved, answers, said))
    return RedirectResponse(f"{case_path(case)}?saved={form.section}#{form.section}", 303)


def _refuse_operated(now: CaseNow) -> None:
    """A page that saves by itself was made before the operation; what was submitted or approved, the store guards."""
    if now.state == "operated":
        why = rests_on_it(now)
        raise PlannerError.one("this page is older than that", now.case.reference, why, "load the page again")


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


def _parts(request: Request, values: dict[str, Any], before: tuple[ShownSection, ...], was_wrong: set[str]) -> Response:
    """Only what differs from the page that sent the form: what its person types meanwhile is left alone."""
    template = environment().get_template("part_section.html")

    def made(section: ShownSection) -> str:
        return template.render(section=section, said={})

    same = {
        new.id
        for old, new in zip(before, values["sections"], strict=True)
        if not was_wrong & {field.finding.id for field in new.fields} and made(old) == made(new)
    }
    return page(request, "part_saved.html", 422 if values["answers"].wrong else 200, same=same, **values)
