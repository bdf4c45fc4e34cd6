"""The form of one case: shown, saved field by field, and refused field by field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.plans import PlannedVersion
from planner.errors import PlannerError
from planner.records.changes import CHANGEABLE, Conflict
from planner.records.deciding import DecidedMeanwhile
from planner.records.owning import NotTheirs, may_edit
from planner.records.rows import CaseNow, CaseVersion
from planner.web.approvals.standing import state_of
from planner.web.cases.answers import FIRST_PART, Answers, CaseForm, read_answers
from planner.web.cases.conflict import conflict_page
from planner.web.cases.fields import ShownSection, labels, shown_sections, stamps
from planner.web.cases.not_saved import not_saved
from planner.web.security.authorisation import Preparing, Visitor
from planner.web.server.case_state import clock_time, rests_on_it
from planner.web.server.presenting import environment, is_partial, page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import CASE, CaseAsked, case_path, find

router = APIRouter()


@dataclass(frozen=True)
class ShownCase:
    """Everything the templates of a case draw on; `said` acknowledges a save, by the part of the form."""

    site: Site
    now: CaseNow
    version: CaseVersion
    answers: Answers
    said: dict[str, str]
    visitor: Visitor

    def values(self) -> dict[str, Any]:
        judged = self.site.plans.planned(self.version)
        return {
            "case": self.now.case,
            "now": self.now,
            "may_edit": may_edit(self.now.owners, self.visitor.code, self.visitor.role),
            "path": case_path(self.now.case),
            "version": self.version,
            # A heading that is not recorded is None to the templates, which refuse a name they do not know.
            "document": dict.fromkeys(CHANGEABLE) | dict(self.version.document),
            "stages": [(stage.id, stage.label) for stage in self.site.rulebook.stages.stages],
            "sections": self.sections(judged),
            "judged": judged,
            "decided_by": [reason.short for reason in judged.assessment.tier.decided_by] if judged.assessment else [],
            "state": state_of(self.site, self.now),
            "rests_on_it": rests_on_it(self.now),
            "answers": self.answers,
            "labels": labels(self.site.rulebook.vocabulary),
            "said": self.said,
        }

    def sections(self, judged: PlannedVersion) -> tuple[ShownSection, ...]:
        through = stamps(self.site.store.versions(self.now.case.id))
        return shown_sections(self.site.rulebook.vocabulary, self.version.document, judged.case, self.answers, through)


@router.get(CASE)
def show(
    request: Request, visitor: Preparing, now: CaseAsked, saved: Annotated[str, Query(max_length=40)] = ""
) -> Response:
    said = {saved: f"Saved {clock_time(now.version.at)}"} if saved else {}
    shown = ShownCase(site_of(request), now, now.version, Answers(), said, visitor)
    return page(request, "case.html", **shown.values())


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
    shown = ShownCase(site, site.store.case_now(case.id), saved, answers, said, visitor)
    if is_partial(request):
        return _parts(request, shown, base, form.was_wrong)
    if answers.wrong:
        return page(request, "case.html", 422, **shown.values())
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


def _parts(request: Request, shown: ShownCase, base: CaseVersion, was_wrong: set[str]) -> Response:
    """Only what differs from the page that sent the form: what its person types meanwhile is left alone."""
    values = shown.values()
    before = ShownCase(shown.site, shown.now, base, Answers(), {}, shown.visitor)
    template = environment().get_template("part_section.html")

    def made(section: ShownSection) -> str:
        return template.render(section=section, said={})

    same = {
        new.id
        for old, new in zip(before.sections(shown.site.plans.planned(base)), values["sections"], strict=True)
        if not was_wrong & {field.finding.id for field in new.fields} and made(old) == made(new)
    }
    return page(request, "part_saved.html", 422 if shown.answers.wrong else 200, same=same, **values)
